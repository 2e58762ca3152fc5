"""How the columns of an existing log become visits: the map, checked, as typed values."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import time
from typing import Any

from ledger.compute.units import quantity_of
from ledger.diagnostics import Diagnostic
from ledger.edit.fields import entry_fields
from ledger.model.problems import nearest
from ledger.schema.check import check_document
from ledger.source.discover import Kind, Source
from ledger.source.document import Document, Pointer
from ledger.source.reading import parse_document

_DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}
_SIGNS = {"comma": ",", "point": ".", "space": " ", "apostrophe": "'"}
_UNIT_OF_ENDING = {
    "mm": "mm", "in": "in", "gpm": "gpm", "lpm": "l_min", "psi": "psi", "kpa": "kpa",
    "ml": "ml", "oz": "floz", "n": "n", "lbf": "lbf", "c": "c", "f": "f",
}  # fmt: skip
_YEAR = re.compile(r"%[YyFDxcG]")
_HOUR = re.compile(r"%[HITRXcr]")
_TEMPERATURES = frozenset("cf")


@dataclass(frozen=True, slots=True, kw_only=True)
class CellSource:
    """Where a value comes from: a column, or `always` the same where `column` is empty.

    `unit` is that of the log and `to_unit` that of the field; both are empty where none is
    converted.
    """

    column: str = ""
    always: Any = None
    words: Mapping[str, str | int | float] = field(default_factory=dict)
    unit: str = ""
    to_unit: str = ""
    times: float | None = None
    plus: float | None = None

    @property
    def is_reckoned(self) -> bool:
        return bool(self.unit) or self.times is not None or self.plus is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class MappedEntry:
    only_if: str
    fields: Mapping[str, CellSource]


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportMap:
    """`written` is the strftime form of the `when_columns` joined by spaces."""

    delimiter: str
    encoding: str
    decimal: str
    thousands: str
    when_columns: tuple[str, ...]
    written: str
    time: time | None
    by: CellSource
    meters: Mapping[str, CellSource]
    note: CellSource | None
    entries: tuple[MappedEntry, ...]

    def columns(self) -> tuple[str, ...]:
        """Every heading that the map names, once, in order."""
        return tuple(dict.fromkeys(filter(None, self._named())))

    def _named(self) -> Iterator[str]:
        yield from self.when_columns
        yield self.by.column
        yield from (source.column for source in self.meters.values())
        if self.note is not None:
            yield self.note.column
        for entry in self.entries:
            yield entry.only_if
            yield from (source.column for source in entry.fields.values())


def read_map(path: str, raw: bytes) -> tuple[ImportMap | None, tuple[Diagnostic, ...]]:
    """The map in a file's bytes, or None and everything that is wrong with it."""
    document, found = parse_document(Source(kind=Kind.IMPORT_MAP, path=path, ident="map"), raw)
    if document is None:
        return None, found
    found = (*found, *check_document(document))
    found = found or tuple(_faults(document))
    return (None, found) if found else (_map(document.value), ())


def _faults(document: Document) -> Iterator[Diagnostic]:
    """What a schema cannot see: keys of an entry, and units that measure something else."""
    when = document.value["when"]
    if document.value.get("thousands") == document.value.get("decimal", "point"):
        yield document.diagnose(
            ("thousands",),
            rule="one-sign-twice",
            message="the decimals and the thousands have the same sign",
            expected="two signs",
            remedy="take one of the two keys away, or correct it",
        )
    if not _YEAR.search(when["written"]):
        yield document.diagnose(
            ("when", "written"),
            rule="no-year",
            message="the form has no year, so no day can be told",
            expected="a form with %Y, such as %m/%d/%Y %H:%M",
            remedy="name the column that holds the date",
        )
    if "time" not in when and not _HOUR.search(when["written"]):
        yield document.diagnose(
            ("when", "written"),
            rule="no-time",
            message="the form has no hour, and no time stands for it",
            expected="a form with %H:%M, or a time beside it",
            remedy="add time: 06:00, or whenever the rounds were walked",
        )
    known = entry_fields()
    for number, entry in enumerate(document.value["entries"]):
        for key, source in entry["fields"].items():
            pointer: Pointer = ("entries", number, "fields", key)
            if key not in known:
                yield document.diagnose(
                    pointer,
                    key=True,
                    rule="unknown-key",
                    message=f"an entry has no `{key}`",
                    expected="a key of an entry of a visit",
                    remedy="correct the spelling, or take the key away",
                    nearest=nearest(key, known),
                )
            elif isinstance(source, dict) and "unit" in source:
                yield from _unit_faults(document, pointer, key, source["unit"])


def _unit_faults(document: Document, pointer: Pointer, key: str, unit: str) -> Iterator[Diagnostic]:
    to_unit = _unit_of(key)
    if not to_unit or _measured(unit) != _measured(to_unit):
        yield document.diagnose(
            (*pointer, "unit"),
            rule="unit-does-not-fit",
            message=f"`{unit}` cannot be converted into the unit of `{key}`",
            expected=f"a unit of {_measured(to_unit)}" if to_unit else "no unit for this key",
            remedy="correct the unit, or leave it out and use `times`",
        )


def _measured(unit: str) -> str:
    return "temperature" if unit in _TEMPERATURES else quantity_of(unit)


def _unit_of(key: str) -> str:
    return _UNIT_OF_ENDING.get(key.rpartition("_")[2], "") if "_" in key else ""


def _map(value: Mapping[str, Any]) -> ImportMap:
    when = value["when"]
    return ImportMap(
        delimiter=_DELIMITERS[value.get("delimiter", "comma")],
        encoding=value.get("encoding", "utf-8").replace("utf-8", "utf-8-sig"),
        decimal=_SIGNS[value.get("decimal", "point")],
        thousands=_SIGNS[value["thousands"]] if "thousands" in value else "",
        when_columns=tuple(when["columns"]),
        written=when["written"],
        time=time.fromisoformat(when["time"]) if "time" in when else None,
        by=_source("by", value["by"]),
        meters=dict(_sources(value.get("meters", {}).items())),
        note=_source("note", value["note"]) if "note" in value else None,
        entries=tuple(
            MappedEntry(
                only_if=entry.get("only_if", ""), fields=dict(_sources(entry["fields"].items()))
            )
            for entry in value["entries"]
        ),
    )


def _sources(items: Iterable[tuple[str, Any]]) -> Iterator[tuple[str, CellSource]]:
    for key, source in items:
        yield key, _source(key, source)


def _source(key: str, source: Any) -> CellSource:
    if isinstance(source, str):
        return CellSource(column=source)
    unit = source.get("unit", "")
    return CellSource(
        column=source.get("column", ""),
        always=source.get("always"),
        words=source.get("words", {}),
        unit=unit,
        to_unit=_unit_of(key) if unit else "",
        times=source.get("times"),
        plus=source.get("plus"),
    )
