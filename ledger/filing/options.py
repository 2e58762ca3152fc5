"""Entries from the options of a command: short words for what a technician files most.

And the entry that takes the place of one filed before; the original is never touched.
"""

import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from ledger.filing import fields
from ledger.model.ledger import Ledger
from ledger.model.references import EntryRef, Place
from ledger.model.tasks import Task
from ledger.model.visits import STOP_CAUSES, Entry
from ledger.values import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """The work that the options of these names state, as typed."""

    done: Sequence[str] = ()
    not_done: Sequence[str] = ()
    speed: Sequence[str] = ()
    finding: Sequence[str] = ()
    stop: Sequence[str] = ()
    tied_back: Sequence[str] = ()
    urgency: str = "soon"
    close: Sequence[str] = ()
    entry: Sequence[str] = ()


def entries_of(ledger: Ledger, options: Options, day: date) -> list[dict[str, Any]]:
    """The entries of a visit on a day; ValueError, in words, at the first that cannot be one.

    A speed goes into the entry of a done task that asks for one at its place. By itself it does
    the one task that asks there for what it holds; with no such task, or several, it names none.
    """
    speeds = [_speed(ledger, text) for text in options.speed]
    entries: list[dict[str, Any]] = []
    for text in options.done:
        ident, _, where = text.partition("@")
        task = ledger.tasks.get(ident)
        named = _places(ledger, where)
        read = [one for one in speeds if _belongs(task, named, one)]
        speeds = [one for one in speeds if one not in read]
        rest = _without(ledger, task, named, [str(one["at"]) for one in read], day)
        if rest is not None:
            entries.append({"task": ident, **rest})
        entries.extend({"task": ident, **one} for one in read)
    entries.extend(with_its_task(ledger, one, day) for one in speeds)

    def at(where: str) -> dict[str, Any]:
        return _at(_places(ledger, where))

    for text in options.not_done:
        what, reason = _halves(text, "--not-done TASK@PLACE=REASON")
        ident, _, where = what.partition("@")
        entries.append({"task": ident, **at(where), "outcome": "not-done", "reason": reason})
    for text in options.finding:
        where, finding = _halves(text, "--finding PLACE=TEXT")
        entries.append({"finding": finding, **at(where), "urgency": options.urgency})
    for text in options.stop:
        cause, of = _halves(text, "--stop CAUSE=MINUTES[@MACHINE]")
        if cause not in STOP_CAUSES:
            known = f"; its causes: {', '.join(STOP_CAUSES)}"
            hint = fields.did_you_mean(cause, STOP_CAUSES) or known
            raise ValueError(f"--stop cannot be `{cause}`{hint}")
        minutes, _, where = of.partition("@")
        taken = fields.number_in(minutes, "stopped_minutes")
        entries.append({"stop": cause, "stopped_minutes": taken, **at(where)})
    for text in options.tied_back:
        where, why = _halves(text, "--tied-back MACHINE=WHY")
        entries.append({"tied_back": why, **at(where)})
    for closed in (entry_named(ledger, text) for text in options.close):
        of_closed = {"at": closed.raw["at"]} if "at" in closed.raw else {}
        entries.append({"closes": str(closed.ref), **of_closed})
    entries.extend(fields.entry_from_yaml(text) for text in options.entry)
    for entry in entries:
        fields.hold_to_drives(entry, ledger.machines)
    return entries


def meters_of(texts: Sequence[str]) -> dict[str, int | float]:
    """`NAME=VALUE`, each; ValueError in words."""
    found: dict[str, int | float] = {}
    for name, value in (_halves(text, "--meter NAME=VALUE") for text in texts):
        if name in found:
            raise ValueError(f"--meter {name} is given twice; say it once")
        found[name] = fields.number(value)
    return found


def _speed(ledger: Ledger, text: str) -> dict[str, Any]:
    """`PLACE=PASSES/SECONDS`, and `@SETTING` behind it where the drive's value was noted.

    `/on-pass` behind the seconds where the watch was started on a pass, `/turns` for whole turns.
    """
    shape = "--speed PLACE=PASSES/SECONDS[/on-pass][@SETTING], such as brush-1=43/30@44"
    place, count = _halves(text, shape)
    counted, at_setting, setting = count.partition("@")
    if "/" not in counted:
        raise ValueError(f"`{text}` is not of the form {shape}")
    try:
        entry = {"at": place, **fields.count_values(counted)}
    except ValueError as wrong:
        raise ValueError(f"{wrong}, but --speed is {shape.removeprefix('--speed ')}") from None
    machine = ledger.machines.get(_places(ledger, place)[0].partition("/")[0])
    if at_setting and machine is not None:
        entry |= fields.setting_values(setting, machine, ledger.site.units)
    return entry


def _belongs(task: Task | None, named: Sequence[str], speed: Mapping[str, Any]) -> bool:
    if task is None or "speed" not in task.reads:
        return False
    place = Place.parse(speed["at"])
    if place not in task.places:
        return False
    return not named or str(place) in named or place.machine in named


def with_its_task(ledger: Ledger, speed: Mapping[str, Any], day: date) -> dict[str, Any]:
    """The entry of a speed with the one task that asks there for what it holds, if it is one."""
    place = Place.parse(speed["at"])
    can_be_set = ledger.machines[place.machine].has_setpoint
    asking = [
        task.ident
        for task in ledger.tasks.values()
        if _belongs(task, (), speed)
        and task.in_use(day)
        and not task.missing_readings(speed.keys(), can_be_set=can_be_set)
    ]
    return {"task": asking[0], **speed} if len(asking) == 1 else dict(speed)


def _without(
    ledger: Ledger, task: Task | None, named: Sequence[str], read: Sequence[str], day: date
) -> dict[str, Any] | None:
    """Where the task was done beside the places of its readings; None where nothing is left."""
    if task is None or not read:
        return _at(named)
    if named:
        left = [place for place in named if place not in read]
        return _at(left) if left else None
    machines = ledger.machines
    places = [str(p) for p in task.places if machines[p.machine].service(p.point).in_use(day)]
    return {"except": list(read)} if set(places) - set(read) else None


def _at(named: Sequence[str]) -> dict[str, Any]:
    if not named:
        return {}
    return {"at": named[0] if len(named) == 1 else list(named)}


def _places(ledger: Ledger, text: str) -> list[str]:
    """Places as typed; a bare name of a point is refused with the place it may mean."""
    machines = ledger.machines
    places = [place.strip() for place in text.split(",") if place.strip()]
    for place in places:
        machine = place.partition("/")[0]
        if machine not in machines:
            points = (f"{one.ident}/{point}" for one in machines.values() for point in one.points)
            there = [f"`{one.ident}`" for one in machines.values() if f"{one.station:g}" == machine]
            hint = f"; at station {machine}: {', '.join(there)}" if there else ""
            hint = hint or fields.did_you_mean(place, (*machines, *points))
            raise ValueError(f"there is no machine `{machine}`{hint}")
    return places


def _halves(text: str, shape: str) -> tuple[str, str]:
    before, sign, after = text.partition("=")
    if not (sign and before.strip() and after.strip()):
        raise ValueError(f"`{text}` is not of the form {shape}")
    return before.strip(), after.strip()


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
    raise ValueError(
        f"there is no entry `{text}`{fields.did_you_mean(ref, map(str, ledger.entry))}"
    )


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
        entry[key] = fields.parse_value(key, value)
    for key in removals:
        if key not in entry:
            raise ValueError(f"`{original.ref}` has no `{key}`{fields.did_you_mean(key, entry)}")
        del entry[key]
    if not changes and not removals:
        raise ValueError("say what was wrong: --set KEY=VALUE, --unset KEY, or --void")
    if entry == as_filed:
        raise ValueError(f"`{original.ref}` already says that; nothing would change")
    fields.hold_to_drives(entry, ledger.machines)
    if entry.get("outcome") == "not-done" and original.reason:
        reason = f"{reason} Not done: {original.reason}"
    return {"corrects": str(original.ref), "reason": reason, **entry}


def void(original: Entry, reason: str) -> dict[str, Any]:
    """The entry by which nothing takes the place of the original."""
    return {"corrects": str(original.ref), "void": True, "reason": reason}
