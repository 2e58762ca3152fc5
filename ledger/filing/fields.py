"""The fields of an entry as the visit schema describes them, and what a person types for them."""

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import Any

from ledger.compute.numbers import convert
from ledger.files.document import as_list
from ledger.files.paths import Kind, Source
from ledger.files.reading import parse_document
from ledger.files.schemas import shipped_schemas, uri_of
from ledger.files.units import is_in, split_amount, unit_of_key
from ledger.model import readings
from ledger.model.machines import ElectricDrive, HydraulicDrive, Machine
from ledger.model.problems import nearest
from ledger.model.site import Units
from ledger.values import dataclass

_WHOLE = re.compile(r"[+-]?\d{1,15}")

_NUMBER = re.compile(r"[+-]?(\d{1,15}(\.\d{0,15})?|\.\d{1,15})([eE][+-]?\d{1,3})?")


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldGroup:
    """The keys that one kind of reading fills; without the `required` ones there is no reading."""

    kind: str
    required: tuple[str, ...]
    optional: tuple[str, ...] = ()


def reading_groups(reads: Sequence[str], machine: Machine, units: Units) -> tuple[FieldGroup, ...]:
    """What to ask for the readings of a task at a machine, in the units of the site.

    The speed itself is left out: it is counted or tapped. With it goes the setting of a drive
    that can be set, without which a speed teaches little.
    """
    kinds = list(reads)
    if "speed" in kinds and "setting" not in kinds and machine.has_setpoint:
        kinds.insert(kinds.index("speed") + 1, "setting")
    left_out = {"speed", "pressure"} if "catch" in kinds else {"speed"}
    ending = setting_unit_key(machine, units)
    groups = []
    for kind in kinds:
        if kind == "setting" and ending:
            found, left = f"found_{ending}", f"left_{ending}"
            groups.append(FieldGroup(kind=kind, required=(found,), optional=(left,)))
        elif kind not in (*left_out, "setting"):
            groups.append(group_of(readings.KIND_OF_WORD[kind], units))
    return tuple(groups)


def setting_unit_key(machine: Machine, units: Units) -> str:
    """The end of the keys of a machine's setting, such as `hz`; nothing without a drive."""
    if machine.drive is None:
        return ""
    if isinstance(machine.drive, ElectricDrive):
        return "hz"
    return "flow_gpm" if units is Units.US else "flow_lpm"


def takes_number(key: str) -> bool:
    """Whether a field of an entry holds one number."""
    return _kind_of(entry_fields()[key]) in ("integer", "number")


def label_of(key: str) -> str:
    """The title of a field and its unit: `As-found frequency, Hz`; `Seconds` says it itself."""
    title = str(entry_fields()[key]["title"])
    ending = readings.ENDING_OF_KEY.get(key, key.rpartition("_")[2])
    unit = (
        readings.written(ending)
        if key in readings.ENDING_OF_KEY
        else readings.UNITS_WRITTEN.get(ending, "")
    )
    return f"{title}, {unit}" if unit and not title.lower().startswith(unit) else title


COUNT_WORDS = {"on-pass": "counted", "turns": "turns"}
"""Words behind a count, and the key of its first number: `38 30 on-pass`, `20 15.1 turns`."""


def count_values(text: str) -> dict[str, Any]:
    """A count as typed, with blanks or slashes between: passes and seconds, and a word at most.

    `38 30` was started at any moment, `38 30 on-pass` on a pass that was not counted; `20 15.1
    turns` are whole turns, timed from a pass to a pass. ValueError, in words, for anything else.
    """
    typed = text.replace("/", " ").lower().split()
    word = typed.pop() if len(typed) == 3 else ""
    if len(typed) != 2 or (word and word not in COUNT_WORDS):
        raise ValueError(
            "write the passes and the seconds, such as 38 30; 38 30 on-pass where the watch was "
            "started on a pass; 20 15.1 turns for whole turns"
        )
    count, seconds = whole_number(typed[0]), number_in(typed[1], "seconds")
    found: dict[str, Any] = {COUNT_WORDS.get(word, "counted"): count, "seconds": seconds}
    return found | ({"start": "on-pass"} if word == "on-pass" else {})


def choices_of(key: str) -> tuple[str, ...]:
    """The words a field may hold; empty where it is free."""
    return tuple(entry_fields()[key].get("enum", ()))


def parse_value(key: str, text: str) -> Any:
    """What a person typed for a field of an entry, as the value the file holds.

    Raises ValueError, in words for that person, for an unknown field or an impossible value. The
    finer limits are the schema's, which is asked before anything is readings.written.
    """
    fields = entry_fields()
    if key not in fields:
        hint = did_you_mean(key, fields) or f"; known: {', '.join(sorted(fields))}"
        raise ValueError(f"an entry has no `{key}`{hint}")
    field = fields[key]
    text = text.strip()
    if key == readings.STEPS:
        return entry_from_yaml(f"{{{key}: {text}}}")[key]
    if key in ("at", "except"):
        places = [place.strip() for place in text.split(",") if place.strip()]
        return places[0] if key == "at" and len(places) == 1 else places
    if "enum" in field:
        if text not in field["enum"]:
            hint = did_you_mean(text, field["enum"])
            raise ValueError(f"`{key}` is one of {', '.join(field['enum'])}, not `{text}`{hint}")
        return text
    match _kind_of(field):
        case "integer":
            return whole_number(text)
        case "number":
            return number(text)
        case "boolean":
            if text not in ("true", "false"):
                raise ValueError(f"`{key}` is true or false, not `{text}`")
            return text == "true"
        case "array":
            return [number(item) for item in text.strip("[]").split(",")]
        case _:
            return text


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """The nearest of the words that are known, to go on a message; nothing where none is near."""
    near = nearest(word, known)
    return f"; did you mean `{near}`?" if near else ""


def number(text: str) -> int | float:
    """A finite number as typed; ValueError in words where it is none."""
    typed = text.strip()
    if _WHOLE.fullmatch(typed):
        return int(typed)
    value = float(typed) if _NUMBER.fullmatch(typed) else math.inf
    if not math.isfinite(value):
        raise ValueError(f"`{typed}` is not a number; write it like 44.5")
    return value


def as_written(value: float) -> float:
    """A number as a person writes it: a whole one without a point."""
    return int(value) if float(value).is_integer() else value


def number_in(text: str, key: str) -> int | float:
    """A number as typed, alone or with the unit of a key behind it; ValueError in words."""
    amount, unit = split_amount(text)
    if unit and not is_in(unit, key):
        raise ValueError(f"`{text.strip()}` is not in {unit_of_key(key)}")
    return number(amount)


def whole_number(text: str) -> int:
    typed = text.strip()
    if not _WHOLE.fullmatch(typed):
        raise ValueError(f"`{typed}` is not a whole number")
    return int(typed)


def entry_from_yaml(text: str) -> dict[str, Any]:
    """An entry typed as YAML, `{task: ..., at: ...}`; ValueError where it is none."""
    source = Source(kind=Kind.VISIT, path="--entry", ident="")
    document, found = parse_document(source, f"{text.strip()}\n".encode("utf-8", "replace"))
    if found:
        raise ValueError(f"`{text}`: {found[0].message}")
    if document is None or not isinstance(document.value, dict):
        raise ValueError(f"`{text}` is not an entry; write it like {{task: look-at-nozzles}}")
    return document.value


def group_of(kind: readings.ReadingKind[object], units: Units) -> FieldGroup:
    """What a kind of reading asks for, in units of that system."""
    us = units is Units.US
    return FieldGroup(
        kind=kind.word,
        required=tuple(amount.key(us=us) for amount in kind.amounts),
        optional=tuple(amount.key(us=us) for amount in kind.optional),
    )


@cache
def entry_fields() -> Mapping[str, Any]:
    """The schema of each key of an entry."""
    visit = shipped_schemas().by_uri[uri_of(Kind.VISIT)]
    fields: Mapping[str, Any] = visit["properties"]["entries"]["items"]["properties"]
    return fields


def _kind_of(field: Mapping[str, Any]) -> str:
    reference = str(field.get("$ref", ""))
    return "number" if reference.endswith("/line-rate") else str(field.get("type", "string"))


_VALUE = re.compile(r"([\d.]+)\s*([a-z/]*)", re.IGNORECASE)

_ENDINGS = {"hz": "hz", "gpm": "flow_gpm", "lpm": "flow_lpm", "l/min": "flow_lpm"}

_FAR = 2.0
"""A flow so many times beyond the valve's upper limit is a number of another unit."""


def format_setting(machine: Machine, units: Units) -> str:
    """The unit of a machine's setting, `Hz`, `gpm` or `L/min`; nothing without a drive."""
    return readings.SETTING_ENDINGS.get(setting_unit_key(machine, units), "")


NO_METER_WORDS = "no meter"


def setting_values(text: str, machine: Machine, units: Units) -> dict[str, int | float]:
    """`44`, or `44 42.5` where it was left at another value, by their keys in an entry.

    The unit may be typed behind a value: `44 Hz`, `3.8 gpm`; `no meter` is a valve that nothing
    reads. Raises ValueError, in words, where
    the drive is set in another unit, or in none.
    """
    ending = setting_unit_key(machine, units)
    if not ending:
        raise ValueError(f"{machine.name} has no drive; leave the setting out")
    if text.strip().lower().replace("-", " ") == NO_METER_WORDS:
        if ending == "hz":
            raise ValueError(f"the drive of {machine.name} shows its Hz; a valve may have no meter")
        return {readings.NO_METER: True}
    typed = _VALUE.findall(text)
    rest = _VALUE.sub("", text).strip(" ,")
    if rest or not 1 <= len(typed) <= 2:
        raise ValueError(
            f"`{text}` is no setting in {readings.SETTING_ENDINGS[ending]}; "
            "write what was found, and behind it what you left it at, if another"
        )
    found: dict[str, int | float] = {}
    for stem, (value, unit) in zip(("found", "left"), typed, strict=False):
        typed_in = _ENDINGS.get(unit.lower(), "") if unit else ending
        if (typed_in == "hz") != (ending == "hz") or not typed_in:
            raise ValueError(_set_in(machine))
        found[f"{stem}_{typed_in}"] = number(value)
        _hold_to_flow_limits(machine, number(value), typed_in)
    return found


def hold_to_drives(entry: Mapping[str, Any], machines: Mapping[str, Machine]) -> None:
    """Raise ValueError, in words, for a setting in a unit that the drive named is not set in."""
    typed = [key for key in entry if key.partition("_")[2] in readings.SETTING_ENDINGS]
    for place in as_list(entry.get("at")):
        machine = machines.get(str(place).partition("/")[0])
        if machine is None:
            continue
        for key in typed:
            stem, _, ending = key.partition("_")
            if machine.drive is None:
                raise ValueError(f"{machine.name} has no drive; leave `{key}` out")
            if (ending == "hz") != isinstance(machine.drive, ElectricDrive):
                right = (
                    f"`{stem}_flow_gpm` or `{stem}_flow_lpm`" if ending == "hz" else f"`{stem}_hz`"
                )
                raise ValueError(f"{_set_in(machine)}: write {right}, not `{key}`")


def _set_in(machine: Machine) -> str:
    if isinstance(machine.drive, ElectricDrive):
        return f"{machine.name} has an electric drive; its setting is in Hz"
    return f"{machine.name} is hydraulic and has no Hz; its setting is a flow in gpm or L/min"


def _hold_to_flow_limits(machine: Machine, value: float, ending: str) -> None:
    if not isinstance(machine.drive, HydraulicDrive) or machine.drive.flow_limits_lpm is None:
        return
    unit = "gpm" if ending == "flow_gpm" else "l_min"
    low, high = (convert(limit, "l_min", unit) for limit in machine.drive.flow_limits_lpm)
    if value > _FAR * high:
        raise ValueError(
            f"{_set_in(machine)}; {value:g} {readings.SETTING_ENDINGS[ending]} is far beyond its "
            f"{low:.3g} to {high:.3g}"
        )
