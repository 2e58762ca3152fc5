"""The fields of an entry as the visit schema describes them, and typed words as their values."""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from ledger.model.machines import ElectricDrive, Machine
from ledger.model.problems import nearest
from ledger.model.site import Units
from ledger.schema.registry import shipped_schemas, uri_of
from ledger.source.discover import Kind, Source
from ledger.source.reading import parse_document

_WHOLE = re.compile(r"[+-]?\d{1,15}")
_NUMBER = re.compile(r"[+-]?(\d{1,15}(\.\d{0,15})?|\.\d{1,15})([eE][+-]?\d{1,3})?")
_US = {"volume": "oz", "pressure": "psi", "length": "in", "force": "lbf", "temperature": "f"}
_SI = {"volume": "ml", "pressure": "kpa", "length": "mm", "force": "n", "temperature": "c"}
_UNIT_WORDS = {
    "hz": "Hz", "gpm": "gpm", "lpm": "L/min", "psi": "psi", "kpa": "kPa", "mm": "mm", "in": "in",
    "n": "N", "lbf": "lbf", "a": "A", "c": "°C", "f": "°F", "percent": "%", "mohm": "MΩ",
    "ml": "mL", "oz": "fl oz", "seconds": "s", "minutes": "min",
}  # fmt: skip


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
    wanted = list(reads)
    if "speed" in wanted and "setting" not in wanted and machine.has_setpoint:
        wanted.insert(wanted.index("speed") + 1, "setting")
    unit = _US if units is Units.US else _SI
    groups = [_group(kind, machine, unit) for kind in wanted if kind != "speed"]
    catches = "catch" in wanted
    return tuple(
        group
        for group in groups
        if group is not None and not (catches and group.kind == "pressure")
    )


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
    """The title of a field and its unit: `As-found frequency, Hz`."""
    title = str(entry_fields()[key]["title"])
    unit = _UNIT_WORDS.get(key.rpartition("_")[2])
    return f"{title}, {unit}" if unit else title


def choices_of(key: str) -> tuple[str, ...]:
    """The words a field may hold; empty where it is free."""
    return tuple(entry_fields()[key].get("enum", ()))


def parse_value(key: str, text: str) -> Any:
    """What a person typed for a field of an entry, as the value the file holds.

    Raises ValueError, in words for that person, for an unknown field or an impossible value. The
    finer limits are the schema's, which is asked before anything is written.
    """
    fields = entry_fields()
    if key not in fields:
        near = nearest(key, fields)
        hint = f"; did you mean `{near}`?" if near else f"; known are {', '.join(sorted(fields))}"
        raise ValueError(f"an entry has no `{key}`{hint}")
    field = fields[key]
    text = text.strip()
    if key in ("at", "except"):
        places = [place.strip() for place in text.split(",") if place.strip()]
        return places[0] if key == "at" and len(places) == 1 else places
    if "enum" in field:
        if text not in field["enum"]:
            near = nearest(text, field["enum"])
            hint = f"; did you mean `{near}`?" if near else ""
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


def number(text: str) -> int | float:
    """A finite number as typed; ValueError in words where it is none."""
    typed = text.strip()
    if _WHOLE.fullmatch(typed):
        return int(typed)
    value = float(typed) if _NUMBER.fullmatch(typed) else math.inf
    if not math.isfinite(value):
        raise ValueError(f"`{typed}` is no number; write it like 44.5")
    return value


def whole_number(text: str) -> int:
    typed = text.strip()
    if not _WHOLE.fullmatch(typed):
        raise ValueError(f"`{typed}` is no whole number")
    return int(typed)


def entry_from_yaml(text: str) -> dict[str, Any]:
    """An entry typed as YAML, `{task: ..., at: ...}`; ValueError where it is none."""
    source = Source(kind=Kind.VISIT, path="--entry", ident="")
    document, found = parse_document(source, f"{text.strip()}\n".encode("utf-8", "replace"))
    if found:
        raise ValueError(f"`{text}`: {found[0].message}")
    if document is None or not isinstance(document.value, dict):
        raise ValueError(f"`{text}` is no entry; write it like {{task: look-at-nozzles}}")
    return document.value


def _group(kind: str, machine: Machine, unit: Mapping[str, str]) -> FieldGroup | None:
    match kind:
        case "setting":
            ending = setting_unit_key(machine, Units.US if unit is _US else Units.SI)
            if not ending:
                return None
            return FieldGroup(
                kind=kind, required=(f"found_{ending}",), optional=(f"left_{ending}",)
            )
        case "catch":
            return FieldGroup(
                kind=kind,
                required=(f"caught_{unit['volume']}", "seconds"),
                optional=(f"pressure_{unit['pressure']}",),
            )
        case "chain":
            return FieldGroup(kind=kind, required=("pitches", f"length_{unit['length']}"))
        case "belt":
            return FieldGroup(
                kind=kind,
                required=(f"deflection_{unit['length']}",),
                optional=(f"force_{unit['force']}",),
            )
        case _:
            return FieldGroup(kind=kind, required=(_SINGLE[kind].format(**unit),))


_SINGLE = {
    "turning": "turning",
    "strip": "strip_length_{length}",
    "current": "current_a",
    "temperature": "temperature_{temperature}",
    "pressure": "pressure_{pressure}",
    "level": "level_percent",
    "insulation": "insulation_mohm",
    "bounces": "bounces",
}


@cache
def entry_fields() -> Mapping[str, Any]:
    """The schema of each key of an entry."""
    visit = shipped_schemas().by_uri[uri_of(Kind.VISIT)]
    fields: Mapping[str, Any] = visit["properties"]["entries"]["items"]["properties"]
    return fields


def _kind_of(field: Mapping[str, Any]) -> str:
    reference = str(field.get("$ref", ""))
    return "number" if reference.endswith("/line-rate") else str(field.get("type", "string"))
