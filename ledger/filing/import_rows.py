"""The rows of an existing log, each with a mark of what it says, and their cells as values."""

import csv
import hashlib
import io
import json
import re
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from ledger.compute.numbers import convert
from ledger.filing.fields import did_you_mean, number, parse_value, takes_number
from ledger.filing.import_map import CellSource, ImportMap

MARK_DIGITS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRow:
    """One row: the line of the log it ends on, its cells by heading; or its flaw."""

    line: int
    cells: Mapping[str, str]
    flaw: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Log:
    """The rows that are not empty, and the columns that the map does not name."""

    rows: tuple[LogRow, ...]
    unnamed: tuple[str, ...]

    def marks(self, without: Collection[str] = ()) -> Mapping[int, str]:
        """The mark of each row by its line: a digest of its cells, but those of some columns.

        Of rows that say the very same, each has a mark of its own; one with a flaw has none.
        """
        seen: Counter[str] = Counter()
        return {row.line: _mark(row.cells, without, seen) for row in self.rows if not row.flaw}


def read_log(content: bytes, by_map: ImportMap) -> Log:
    """The log in a file's bytes. Raises ValueError, in words, where it cannot be read."""
    try:
        text = content.decode(by_map.encoding)
    except UnicodeDecodeError as wrong:
        raise ValueError(
            f"byte {wrong.start + 1} is not {by_map.encoding.removesuffix('-sig')}; "
            "say which `encoding` the log has in the map"
        ) from None
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=by_map.delimiter, strict=True)
    try:
        headings = [heading.strip() for heading in next(reader, [])]
        _check_headings(headings, by_map)
        rows = [(reader.line_num, cells) for cells in reader if any(cell.strip() for cell in cells)]
    except csv.Error as wrong:
        raise ValueError(f"line {reader.line_num}: {wrong}") from None
    return Log(
        rows=tuple(_row(line, headings, cells) for line, cells in rows),
        unnamed=tuple(_unnamed(headings, [cells for _, cells in rows], by_map)),
    )


def _unnamed(
    headings: Sequence[str], rows: Sequence[Sequence[str]], by_map: ImportMap
) -> Iterator[str]:
    """Columns that the map passes over; one without a heading by its number, if it says a thing."""
    named = by_map.columns()
    for place, heading in enumerate(headings):
        if heading and heading not in named:
            yield f"`{heading}`"
        elif not heading and any(cells[place].strip() for cells in rows if place < len(cells)):
            yield f"column {place + 1}, which has no heading"


def _check_headings(headings: list[str], by_map: ImportMap) -> None:
    twice = sorted({heading for heading in headings if heading and headings.count(heading) > 1})
    if twice:
        raise ValueError(f"the heading `{twice[0]}` is over two columns; rename one")
    for column in by_map.columns():
        if column not in headings:
            hint = did_you_mean(column, headings) or f"; it has {', '.join(headings)}"
            raise ValueError(f"the log has no column `{column}`{hint}")


def _row(line: int, headings: list[str], cells: list[str]) -> LogRow:
    if len(cells) != len(headings):
        return LogRow(
            line=line, cells={}, flaw=f"{len(cells)} cells under {len(headings)} headings"
        )
    named = {
        heading: cell.strip().replace("\r\n", "\n").replace("\r", "\n")
        for heading, cell in zip(headings, cells, strict=True)
        if heading
    }
    return LogRow(line=line, cells=named)


def _mark(cells: Mapping[str, str], without: Collection[str], seen: Counter[str]) -> str:
    told = sorted(item for item in cells.items() if item[0] not in without)
    content = json.dumps(told, ensure_ascii=False)
    seen[content] += 1
    numbered = f"{seen[content]} {content}".encode("utf-8", "surrogatepass")
    return hashlib.sha256(numbered).hexdigest()[:MARK_DIGITS]


_DIGITS_KEPT = 10

_SAMPLE = datetime(2026, 11, 25, 6, 40)  # noqa: DTZ001 - shows a form, and is no one's time

_WORDLIKE = frozenset({"by", "task", "at", "except", "part"})

_ID = re.compile(r"[a-z0-9-]+(/[a-z0-9-]+)?")


class BadCellError(ValueError):
    """A cell that says nothing possible, or several as one: their headings, text, and why not."""

    def __init__(self, columns: tuple[str, ...], cell: str, why: str) -> None:
        super().__init__(why)
        self.columns = columns
        self.cell = cell
        self.why = why


def read_when(row: LogRow, by_map: ImportMap, zone: ZoneInfo) -> datetime:
    """When the work of a row was done. Raises BadCellError."""
    text = " ".join(row.cells[column] for column in by_map.when_columns).strip()
    try:
        found = datetime.strptime(text, by_map.written)  # noqa: DTZ007 - local to the site
    except ValueError:
        raise BadCellError(
            by_map.when_columns,
            text,
            f"`{text}` is no day or time of the form {by_map.written}, "
            f"such as {_SAMPLE.strftime(by_map.written)}",
        ) from None
    if by_map.time is not None:
        found = datetime.combine(found.date(), by_map.time)
    return found.replace(second=0, microsecond=0, tzinfo=zone)


def read_cell(row: LogRow, by_map: ImportMap, source: CellSource) -> Any:
    """The value of a field or a meter; None for an empty cell. Raises BadCellError."""
    if not source.column:
        return source.always
    cell = row.cells[source.column]
    if not cell:
        return None
    if cell in source.words:
        return source.words[cell]
    try:
        return _value(cell, by_map, source)
    except ValueError as wrong:
        raise BadCellError((source.column,), cell, str(wrong)) from None


def _value(cell: str, by_map: ImportMap, source: CellSource) -> Any:
    if source.is_reckoned:
        return _reckoned(number(_plain_number(cell, by_map)), source)
    if not source.key:
        return number(_plain_number(cell, by_map))
    if source.key in _WORDLIKE:
        _need_ids(cell)
    if source.key in ("by", "note"):
        return cell
    return parse_value(
        source.key, _plain_number(cell, by_map) if takes_number(source.key) else cell
    )


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
                f"`{word.strip()}` is no id of the site; "
                "say under `words` in the map which id it stands for"
            )


def _reckoned(value: float, source: CellSource) -> int | float:
    if source.unit and source.unit != source.to_unit:
        value = convert(value, source.unit, source.to_unit)
    value = value * (1 if source.times is None else source.times) + (source.plus or 0)
    # The digits that arithmetic in binary adds to a typed number say nothing.
    return number(f"{value:.{_DIGITS_KEPT}g}")
