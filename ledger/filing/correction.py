"""The entry that takes the place of one filed before; the original is never touched."""

import re
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from ledger.filing.fields import did_you_mean, hold_to_drives, parse_value
from ledger.model.ledger import Ledger
from ledger.model.references import EntryRef
from ledger.model.visits import Entry

_OF_A_CORRECTION = ("corrects", "void", "reason")


def entry_to_correct(ledger: Ledger, text: str) -> tuple[Entry, Entry]:
    """The entry named, and the last correction of it, which may be itself.

    `text` may also name the visit's file. ValueError, in words, where there is no such entry.
    """
    entry = entry_named(ledger, text)
    last = ledger.last_word(entry)
    if last.void:
        raise ValueError(f"`{text}` was struck out already, by `{last.ref}`")
    return entry, last


def entry_named(ledger: Ledger, text: str) -> Entry:
    """The entry that `VISIT#NUMBER` names; ValueError, in words, where there is none."""
    visit, mark, number = text.partition("#")
    # A visit may be named by its file, as a folder shows it.
    ident = re.split(r"[/\\]", visit)[-1].removesuffix(".yaml")
    ref = f"{ident}{mark}{number}"
    try:
        entry = ledger.entry.get(EntryRef.parse(ref))
    except ValueError:
        entry = None
    if entry is not None:
        return entry
    held = [entry for entry in ledger.entry.values() if entry.ref.visit == ident]
    if held:
        lines = "".join(f"\n  {one.ref}  {_short(one)}" for one in held)
        raise ValueError(f"say which entry of `{ident}`, by its number:{lines}")
    if not mark:
        raise ValueError(f"`{text}` is not an entry; write VISIT#NUMBER as in the book")
    raise ValueError(f"there is no entry `{text}`{did_you_mean(ref, map(str, ledger.entry))}")


def _short(entry: Entry) -> str:
    from ledger.files.yaml_write import in_one_line, yaml_text  # noqa: PLC0415 - brings ruamel

    return yaml_text(in_one_line(entry.raw)).strip()


def hold_to_order(original: Entry, when: datetime, visit: str) -> None:
    """Raise ValueError, in words, for a correction that would not stand after its original.

    Visits sort by time, then file name.
    """
    if (when, visit) > (original.when, original.ref.visit):
        return
    next_minute = original.when + timedelta(minutes=1)
    raise ValueError(
        f"`{original.ref}` is of {original.when:%Y-%m-%d %H:%M}, and a correction must be "
        f"later: wait a minute, or use --at {next_minute:%Y-%m-%dT%H:%M}"
    )


def correction(
    ledger: Ledger, original: Entry, reason: str, changes: Sequence[str], removals: Sequence[str]
) -> dict[str, Any]:
    """The whole entry again with `key=value` changed and keys removed; ValueError in words.

    The reason of work not done is kept behind that of the correction, since a file has one place
    for both.
    """
    as_filed = {k: v for k, v in original.raw.items() if k not in _OF_A_CORRECTION}
    entry: dict[str, Any] = dict(as_filed)
    for text in changes:
        key, sign, value = text.partition("=")
        key = key.strip()
        if not sign:
            raise ValueError(f"`{text}` is not of the form --set KEY=VALUE")
        if key in _OF_A_CORRECTION:
            raise ValueError(f"`{key}` belongs to the correction itself")
        entry[key] = parse_value(key, value)
    for key in removals:
        if key not in entry:
            raise ValueError(f"`{original.ref}` has no `{key}`{did_you_mean(key, entry)}")
        del entry[key]
    if not changes and not removals:
        raise ValueError("say what was wrong: --set KEY=VALUE, --unset KEY, or --void")
    if entry == as_filed:
        raise ValueError(f"`{original.ref}` already says that; nothing would change")
    hold_to_drives(entry, ledger.machines)
    if entry.get("outcome") == "not-done" and original.reason:
        reason = f"{reason} Not done: {original.reason}"
    return {"corrects": str(original.ref), "reason": reason, **entry}


def void(original: Entry, reason: str) -> dict[str, Any]:
    """The entry by which nothing takes the place of the original."""
    return {"corrects": str(original.ref), "void": True, "reason": reason}
