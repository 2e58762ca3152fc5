"""The entry that takes the place of one filed before; the original is never touched."""

import re
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from ledger.files.yaml_write import in_one_line, yaml_text
from ledger.filing.fields import hold_to_drives, parse_value
from ledger.model.ledger import Ledger
from ledger.model.problems import nearest
from ledger.model.references import EntryRef
from ledger.model.visits import Entry

_OF_A_CORRECTION = ("corrects", "void", "reason")


def entry_to_correct(ledger: Ledger, text: str) -> tuple[Entry, Entry]:
    """The entry named, and the last correction of it, which may be itself.

    `text` may also name the visit's file. ValueError, in words, where there is no such entry.
    """
    entry = _named(ledger, text)
    last = ledger.last_word(entry)
    if last.void:
        raise ValueError(f"`{text}` was struck out already, by `{last.ref}`")
    return entry, last


def _named(ledger: Ledger, text: str) -> Entry:
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
        raise ValueError(f"`{text}` is no entry; write VISIT#NUMBER as in the book")
    near = nearest(ref, map(str, ledger.entry))
    hint = f"; did you mean `{near}`?" if near else ""
    raise ValueError(f"there is no entry `{text}`{hint}")


def _short(entry: Entry) -> str:
    return yaml_text(in_one_line(entry.raw)).strip()


def hold_to_order(original: Entry, when: datetime, visit: str) -> None:
    """Raise ValueError, in words, for a correction that would not stand after its original.

    Visits stand by their time, and those of one minute by their names.
    """
    if (when, visit) > (original.when, original.ref.visit):
        return
    next_minute = original.when + timedelta(minutes=1)
    raise ValueError(
        f"`{original.ref}` is of {original.when:%Y-%m-%d %H:%M}, and what puts it right comes "
        f"after it: wait a minute, or say --at {next_minute:%Y-%m-%dT%H:%M}"
    )


def correction(
    ledger: Ledger, original: Entry, reason: str, changes: Sequence[str], removals: Sequence[str]
) -> dict[str, Any]:
    """The whole entry again with `key=value` changed and keys removed; ValueError in words.

    The reason of work not done is kept behind that of the correction, since a file has one place
    for both.
    """
    entry: dict[str, Any] = {
        key: value for key, value in original.raw.items() if key not in _OF_A_CORRECTION
    }
    for text in changes:
        key, sign, value = text.partition("=")
        if not sign:
            raise ValueError(f"`{text}` is not of the form --set KEY=VALUE")
        if key.strip() in _OF_A_CORRECTION:
            raise ValueError(f"`{key.strip()}` belongs to the correction itself")
        entry[key.strip()] = parse_value(key.strip(), value)
    for key in removals:
        if key not in entry:
            near = nearest(key, entry)
            hint = f"; did you mean `{near}`?" if near else ""
            raise ValueError(f"`{original.ref}` has no `{key}`{hint}")
        del entry[key]
    if not changes and not removals:
        raise ValueError("say what was wrong: --set KEY=VALUE, --unset KEY, or --void")
    if entry == {key: original.raw[key] for key in original.raw if key not in _OF_A_CORRECTION}:
        raise ValueError(f"`{original.ref}` reads so already; nothing would change")
    hold_to_drives(entry, ledger.machines)
    return {"corrects": str(original.ref), "reason": _reason(original, reason, entry), **entry}


def void(original: Entry, reason: str) -> dict[str, Any]:
    """The entry by which nothing takes the place of the original."""
    return {"corrects": str(original.ref), "void": True, "reason": reason}


def _reason(original: Entry, reason: str, entry: Mapping[str, Any]) -> str:
    if entry.get("outcome") != "not-done" or not original.reason:
        return reason
    return f"{reason} Not done: {original.reason}"
