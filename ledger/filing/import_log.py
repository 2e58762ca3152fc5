"""Rows of an existing log as visits, each known again by a mark of what the row says.

The mark stands in the note of the visit that a row became, so that the record itself tells where
it came from, and a row that is there already is not filed twice, whatever was put above or below
it in the log since.

How the columns of an existing log become visits: the map, checked, as typed values.
"""

import csv
import hashlib
import io
import json
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from ledger.compute.numbers import (
    celsius_from_fahrenheit,
    convert,
    fahrenheit_from_celsius,
    quantity_of,
)
from ledger.files.diagnostics import Diagnostic
from ledger.files.document import Document, Pointer
from ledger.files.paths import Kind, Source
from ledger.files.reading import parse_document
from ledger.files.schema_check import check_document
from ledger.filing.fields import entry_fields, number, parse_value, takes_number
from ledger.filing.visit_file import instant_text
from ledger.model.problems import nearest
from ledger.model.visits import Visit

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
    for index, entry in enumerate(document.value["entries"]):
        for key, source in entry["fields"].items():
            pointer: Pointer = ("entries", index, "fields", key)
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


_MARK_DIGITS = 12

_MARK = re.compile(rf"Imported from .*, line \d+, mark ([0-9a-f]{{{_MARK_DIGITS}}})\.")

_DIGITS_KEPT = 10

_SAMPLE = datetime(2026, 11, 25, 6, 40)  # noqa: DTZ001 - shows a form, and is no one's time

_WORDLIKE = frozenset({"by", "task", "at", "except", "part"})

_ID = re.compile(r"[a-z0-9-]+(/[a-z0-9-]+)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRow:
    """One row: the line of the log it ends on, its cells by heading, its mark; or its flaw."""

    line: int
    cells: Mapping[str, str]
    mark: str = ""
    flaw: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RowVisit:
    when: datetime
    visit: Mapping[str, Any]


def log_rows(content: bytes, by_map: ImportMap) -> list[LogRow]:
    """Every row that is not empty. Raises ValueError, in words, where the log cannot be read."""
    try:
        text = content.decode(by_map.encoding)
    except UnicodeDecodeError as wrong:
        raise ValueError(
            f"byte {wrong.start + 1} is not {by_map.encoding.removesuffix('-sig')}; "
            "say which `encoding` the log has in the map"
        ) from None
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=by_map.delimiter, strict=True)
    rows: list[LogRow] = []
    seen: Counter[str] = Counter()
    try:
        headings = [heading.strip() for heading in next(reader, [])]
        _check_headings(headings, by_map)
        rows.extend(
            _row(reader.line_num, headings, cells, seen)
            for cells in reader
            if any(cell.strip() for cell in cells)
        )
    except csv.Error as wrong:
        raise ValueError(f"line {reader.line_num}: {wrong}") from None
    return rows


def row_visit(row: LogRow, by_map: ImportMap, zone: ZoneInfo, log_name: str) -> RowVisit:
    """The visit of a row; ValueError, naming the column, where a cell says nothing possible."""
    when = _when(row, by_map, zone)
    by = _value(row, by_map, "by", by_map.by)
    if by is None:
        raise ValueError(f"column `{by_map.by.column}` is empty: nobody did it")
    meters = {
        name: value
        for name, source in by_map.meters.items()
        if (value := _value(row, by_map, "", source)) is not None
    }
    note = None if by_map.note is None else _value(row, by_map, "note", by_map.note)
    origin = f"Imported from {_printable(log_name)}, line {row.line}, mark {row.mark}."
    entries = []
    for mapped in by_map.entries:
        if mapped.only_if and not row.cells[mapped.only_if]:
            continue
        found = {
            key: value
            for key, source in mapped.fields.items()
            if (value := _value(row, by_map, key, source)) is not None
        }
        if found:
            entries.append(found)
    if not entries:
        raise ValueError("the row says nothing that the map takes for an entry")
    visit: dict[str, Any] = {"at": instant_text(when), "by": str(by)}
    if meters:
        visit["meters"] = meters
    visit["note"] = f"{note}\n\n{origin}" if note else origin
    visit["entries"] = entries
    return RowVisit(when=when, visit=visit)


def marks_filed(visits: Iterable[Visit]) -> frozenset[str]:
    """The marks of all rows that visits of the record came from."""
    return frozenset(mark for visit in visits for mark in _MARK.findall(visit.note))


def _check_headings(headings: list[str], by_map: ImportMap) -> None:
    twice = sorted({heading for heading in headings if heading and headings.count(heading) > 1})
    if twice:
        raise ValueError(f"the heading `{twice[0]}` stands over two columns; rename one")
    for column in by_map.columns():
        if column not in headings:
            near = nearest(column, headings)
            hint = f"did you mean `{near}`?" if near else f"it has {', '.join(headings)}"
            raise ValueError(f"the log has no column `{column}`; {hint}")


def _row(line: int, headings: list[str], cells: list[str], seen: Counter[str]) -> LogRow:
    if len(cells) != len(headings):
        return LogRow(
            line=line, cells={}, flaw=f"{len(cells)} cells under {len(headings)} headings"
        )
    named = {
        heading: cell.strip().replace("\r\n", "\n").replace("\r", "\n")
        for heading, cell in zip(headings, cells, strict=True)
        if heading
    }
    said = json.dumps(sorted(named.items()), ensure_ascii=False)
    # Of rows that say the very same, each is one of its own.
    seen[said] += 1
    digest = hashlib.sha256(f"{seen[said]} {said}".encode("utf-8", "surrogatepass")).hexdigest()
    return LogRow(line=line, cells=named, mark=digest[:_MARK_DIGITS])


def _when(row: LogRow, by_map: ImportMap, zone: ZoneInfo) -> datetime:
    text = " ".join(row.cells[column] for column in by_map.when_columns).strip()
    try:
        found = datetime.strptime(text, by_map.written)  # noqa: DTZ007 - local to the site
    except ValueError:
        columns = " ".join(by_map.when_columns)
        raise ValueError(
            f"`{text}` under `{columns}` is no day or time of the form {by_map.written}, "
            f"such as {_SAMPLE.strftime(by_map.written)}"
        ) from None
    if by_map.time is not None:
        found = datetime.combine(found.date(), by_map.time)
    return found.replace(second=0, microsecond=0, tzinfo=zone)


def _value(row: LogRow, by_map: ImportMap, key: str, source: CellSource) -> Any:
    """The value of a field, of a meter where `key` is empty; None for an empty cell."""
    if not source.column:
        return source.always
    cell = row.cells[source.column]
    if not cell:
        return None
    if cell in source.words:
        return source.words[cell]
    try:
        if source.is_reckoned:
            return _reckoned(number(_plain_number(cell, by_map)), source)
        if not key:
            return number(_plain_number(cell, by_map))
        if key in _WORDLIKE:
            _need_ids(cell)
        if key in ("by", "note"):
            return cell
        return parse_value(key, _plain_number(cell, by_map) if takes_number(key) else cell)
    except ValueError as wrong:
        raise ValueError(f"column `{source.column}`: {wrong}") from None


def _plain_number(cell: str, by_map: ImportMap) -> str:
    """A number of the log as a program writes it. ValueError where a sign is not as the map says.

    A point among decimal commas is not read as one: 793.120 may be thousands.
    """
    text = cell.replace("\N{NO-BREAK SPACE}", " ").replace("\N{NARROW NO-BREAK SPACE}", " ")
    text = text.replace("\N{RIGHT SINGLE QUOTATION MARK}", "'")
    sign = by_map.thousands
    if sign and sign in text:
        whole, decimal, rest = text.partition(by_map.decimal)
        if not re.fullmatch(rf"[+-]?[0-9]{{1,3}}({re.escape(sign)}[0-9]{{3}})+", whole):
            raise ValueError(f"`{cell}` is not in groups of three digits")
        text = whole.replace(sign, "") + decimal + rest
    other = "." if by_map.decimal == "," else ","
    if other in text:
        name = {".": "point", ",": "comma"}[other]
        raise ValueError(
            f"`{cell}` has a {name}; say in the map `thousands: {name}` or `decimal: {name}`, "
            "whichever it is"
        )
    return text.replace(by_map.decimal, ".")


def _need_ids(cell: str) -> None:
    for word in cell.split(","):
        if not _ID.fullmatch(word.strip()):
            raise ValueError(
                f"`{word.strip()}` is no id of the site; say in the map what it stands for, as in "
                f"words: {{{word.strip()}: brush-p2}}"
            )


def _reckoned(value: float, source: CellSource) -> int | float:
    if source.unit and source.unit != source.to_unit:
        if source.unit == "f":
            value = celsius_from_fahrenheit(value)
        elif source.unit == "c":
            value = fahrenheit_from_celsius(value)
        else:
            value = convert(value, source.unit, source.to_unit)
    value = value * (1 if source.times is None else source.times) + (source.plus or 0)
    # The digits that arithmetic in binary adds to a typed number say nothing.
    return number(f"{value:.{_DIGITS_KEPT}g}")


def _printable(name: str) -> str:
    return "".join(sign if sign.isprintable() else "_" for sign in name)
