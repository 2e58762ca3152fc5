"""Rows of an existing log as visits, each known again by a mark of what the row says.

The mark stands in the note of the visit that a row became, so that the record itself tells where
it came from, and a row that is there already is not filed twice, whatever was put above or below
it in the log since.
"""

import csv
import hashlib
import io
import json
import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from ledger.compute.units import celsius_from_fahrenheit, convert, fahrenheit_from_celsius
from ledger.edit.fields import number, parse_value, takes_number
from ledger.edit.import_map import CellSource, ImportMap
from ledger.edit.visit_file import instant_text
from ledger.model.problems import nearest
from ledger.model.visits import Visit

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
