"""The rows of an existing log, each with a mark of what it says, and their cells as values.

A log is a text with separators, or a sheet of a workbook.
"""

import csv
import hashlib
import io
import json
import re
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import date, datetime, time, timedelta
from itertools import zip_longest
from typing import Any
from zoneinfo import ZoneInfo

from ledger.compute.numbers import convert
from ledger.files.spelling import is_word_for
from ledger.files.typed_moments import ORDERS, moments, sign_of_date
from ledger.files.units import is_in, split_amount, unit_of_key
from ledger.filing.fields import did_you_mean, number, parse_value, takes_number
from ledger.filing.import_map import HOUR, CellSource, ImportMap, convertible, is_moment, unit_of
from ledger.values import dataclass, replace

_WORKBOOKS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
"""What a workbook begins with: a zip archive (xlsx, ods), or an OLE file (xls)."""


class TypedNumber(str):
    """A number that a workbook holds as one: with a decimal point, whatever sign its texts have."""

    __slots__ = ()


def plain_text(cell: str) -> str:
    """A cell without blanks around it, its lines ended alike; a typed number stays one."""
    if isinstance(cell, TypedNumber):
        return cell
    return cell.strip().replace("\r\n", "\n").replace("\r", "\n")


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """The rows that are not empty, each with the line it ends on; `sheet` of a workbook.

    `sheets` are those that hold more than one line.
    """

    rows: tuple[tuple[int, tuple[str, ...]], ...]
    sheet: str = ""
    sheets: tuple[str, ...] = ()


def is_workbook(content: bytes) -> bool:
    return content.startswith(_WORKBOOKS)


def read_text(text: str, delimiter: str) -> Table:
    """The table in a text. Raises ValueError, in words, where it cannot be read."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        return Table(rows=_not_empty([(reader.line_num, cells) for cells in reader]))
    except csv.Error as wrong:
        raise ValueError(f"line {reader.line_num}: {wrong}") from None


def read_workbook(content: bytes, sheet: str = "") -> Table:
    """A sheet of a workbook, the first with more than one line unless it is named.

    A day, a time and a number are as they would be typed: 2026-11-02, 06:40, 44.5. What stands in
    cells that are merged over several lines stands on each of them. Raises ValueError, in words,
    and ImportError without the optional reader.
    """
    import python_calamine  # noqa: PLC0415 - optional

    try:
        book = python_calamine.load_workbook(io.BytesIO(content))
        sheets = {name: book.get_sheet_by_name(name) for name in book.sheet_names}
        full = tuple(name for name, found in sheets.items() if found.total_height)
        if sheet and sheet not in sheets:
            raise ValueError(f"it has no sheet `{sheet}`; it has {', '.join(sheets)}")
        if not full:
            raise ValueError("no sheet has more than one line")
        chosen = sheets[sheet or full[0]]
        cells = [list(map(_text, row)) for row in chosen.to_python(skip_empty_area=False)]
    except python_calamine.CalamineError as wrong:
        raise ValueError(f"it is no workbook that can be read: {wrong}") from None
    for (top, left), (bottom, right) in chosen.merged_cell_ranges or ():
        if left == right:
            for row in cells[top + 1 : bottom + 1]:
                row[left] = cells[top][left]
    rows = _not_empty(list(enumerate(cells, 1)))
    return Table(rows=rows, sheet=sheet or full[0], sheets=full)


def under_headings(
    table: Table, first: int, last: int
) -> tuple[list[str], list[tuple[int, tuple[str, ...]]]]:
    """The headings in the first line that is not empty from `first` on, and the rows below.

    Or in that and the next if `last` is another: the upper one stands before the lower, and over
    several columns where the lower is repeated. A long list often has its headings on each page.
    """
    rows = [row for row in table.rows if row[0] >= first]
    lines = [[cell.strip() for cell in cells] for _, cells in rows[: 1 + (last > first)]]
    rows = [row for row in rows[len(lines) :] if [cell.strip() for cell in row[1]] not in lines]
    return _joined(lines), rows


def _joined(lines: Sequence[Sequence[str]]) -> list[str]:
    *above, lower = lines or [[]]
    if not above:
        return [*lower]
    found, over = [], ""
    for top, heading in zip_longest(above[0], lower, fillvalue=""):
        over = top or over
        is_shared = heading and lower.count(heading) > 1
        found.append(" ".join(filter(None, dict.fromkeys((over if is_shared else top, heading)))))
    return found


def _not_empty(rows: Sequence[tuple[int, list[str]]]) -> tuple[tuple[int, tuple[str, ...]], ...]:
    return tuple((line, tuple(cells)) for line, cells in rows if any(map(str.strip, cells)))


_SIGNIFICANT = 15
"""The decimal digits that a workbook's number holds."""


def _text(value: Any) -> str:
    match value:
        case bool():
            return "yes" if value else "no"
        case int() | float():
            return TypedNumber(f"{value:.{_SIGNIFICANT}g}")
        case datetime() if value.time() == time():
            return value.date().isoformat()
        case datetime():
            return value.isoformat(sep=" ", timespec="minutes")
        case time():
            return value.isoformat(timespec="minutes")
        case timedelta():
            minutes = value // timedelta(minutes=1)
            return f"{minutes // 60:02}:{minutes % 60:02}"
        case _:
            return str(value)


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
    table = (
        read_workbook(content, by_map.sheet)
        if is_workbook(content)
        else read_text(_decoded(content, by_map.encoding), by_map.delimiter)
    )
    headings, rows = under_headings(table, *by_map.headings)
    _check_headings(headings, by_map)
    return Log(
        rows=tuple(_row(line, headings, cells) for line, cells in rows),
        unnamed=tuple(_unnamed(headings, [cells for _, cells in rows], by_map)),
    )


def _decoded(content: bytes, encoding: str) -> str:
    try:
        return content.decode(encoding)
    except UnicodeDecodeError as wrong:
        raise ValueError(
            f"byte {wrong.start + 1} is not {encoding.removesuffix('-sig')}; "
            "say which `encoding` the log has in the map"
        ) from None


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


def _row(line: int, headings: list[str], cells: Sequence[str]) -> LogRow:
    if len(cells) != len(headings):
        return LogRow(
            line=line, cells={}, flaw=f"{len(cells)} cells under {len(headings)} headings"
        )
    named = {
        heading: plain_text(cell) for heading, cell in zip(headings, cells, strict=True) if heading
    }
    return LogRow(line=line, cells=named)


def _mark(cells: Mapping[str, str], without: Collection[str], seen: Counter[str]) -> str:
    content_cells = sorted(item for item in cells.items() if item[0] not in without)
    content = json.dumps(content_cells, ensure_ascii=False)
    seen[content] += 1
    numbered = f"{seen[content]} {content}".encode("utf-8", "surrogatepass")
    return hashlib.sha256(numbered).hexdigest()[:MARK_DIGITS]


_DIGITS_KEPT = 10

_SAMPLE = datetime(2026, 11, 25, 6, 40)  # noqa: DTZ001 - shows a form, and is no one's time

_WORDLIKE = frozenset({"by", "task", "at", "except", "part"})

_COUNTED = re.compile(r"(.*[0-9])\s*([^\W\d_]+)[.]?")

_FRACTION = re.compile(r"([0-9]+)[ -]([1-9][0-9]?)/(2|4|8|16|32)")
"""Inches as a rule shows them: `17 1/2`."""

_ID = re.compile(r"[a-z0-9-]+(/[a-z0-9-]+)?")


class BadCellError(ValueError):
    """A cell that says nothing possible, or several as one.

    `args` are their headings, what stands there, and why it cannot be.
    """


def read_when(row: LogRow, by_map: ImportMap, zone: ZoneInfo) -> datetime:
    """When the work of a row was done. Raises BadCellError."""
    text = " ".join(filter(None, (row.cells[column] for column in by_map.when_columns)))
    try:
        found = _written(text, by_map) if by_map.written else _moment(text, by_map)
    except ValueError as wrong:
        raise BadCellError(by_map.when_columns, text, str(wrong)) from None
    local = found.astimezone(zone) if found.tzinfo else found.replace(tzinfo=zone)
    return local.replace(second=0, microsecond=0)


def _written(text: str, by_map: ImportMap) -> datetime:
    try:
        found = datetime.strptime(text, by_map.written)  # noqa: DTZ007 - local to the site
    except ValueError:
        raise ValueError(
            f"`{text}` is no day or time of the form {by_map.written}, "
            f"such as {_SAMPLE.strftime(by_map.written)}"
        ) from None
    if by_map.time is None or HOUR.search(by_map.written):
        return found
    return datetime.combine(found.date(), by_map.time)


def _moment(text: str, by_map: ImportMap) -> datetime:
    """A day or time in any usual form. ValueError where it can be read in two ways, or in none."""
    readings = moments(text, is_moment)
    sign = sign_of_date(text)
    order = by_map.order.get(sign)
    if order and readings.keys() & ORDERS.keys():
        readings = {one: found for one, found in readings.items() if ORDERS.get(one) == order}
        if not readings:
            raise ValueError(f"`{text}` is no day if it is {order}, as the map says of a {sign}")
    if not readings:
        raise ValueError(f"`{text}` is no day or time; write it like {_SAMPLE:%Y-%m-%d %H:%M}")
    found, *others = dict.fromkeys(readings.values())
    if others:
        raise ValueError(
            f"`{text}` can be read month-first or day-first; say in the map which it is, "
            f"as in order: {{{sign}: month-first}}"
        )
    if "T" in found:
        return datetime.fromisoformat(found)
    if by_map.time is None:
        raise ValueError(f"`{text}` has no time of day; give `time` in the map for such a row")
    return datetime.combine(date.fromisoformat(found), by_map.time)


def read_cell(row: LogRow, by_map: ImportMap, source: CellSource) -> Any:
    """The value of a field or a meter; None for an empty cell. Raises BadCellError."""
    if not source.column:
        return source.always if not source.only_if or row.cells[source.only_if] else None
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
    if not source.key:
        plain = number(_plain_number(cell, by_map))
        return _reckoned(plain, source) if source.is_reckoned else plain
    if source.key in _WORDLIKE:
        _need_ids(cell)
    if source.key in ("by", "note"):
        return cell
    if source.is_reckoned or takes_number(source.key):
        return _amount(cell, by_map, source)
    return parse_value(source.key, cell)


def _amount(cell: str, by_map: ImportMap, source: CellSource) -> Any:
    """The number in a cell, which may have its unit behind it, or a word for what it counts.

    The unit of the cell is believed before that of the map.
    """
    amount, unit = split_amount(cell)
    counted = _COUNTED.fullmatch(amount)
    if counted and is_word_for(source.key, counted[2]):
        amount = counted[1]
    if unit:
        from_unit, to_unit = _conversion(unit, cell, source.key)
        source = replace(source, unit=from_unit, to_unit=to_unit)
    plain = _plain_number(amount, by_map)
    return (
        _reckoned(number(plain), source) if source.is_reckoned else parse_value(source.key, plain)
    )


def _conversion(unit: str, cell: str, key: str) -> tuple[str, str]:
    """The unit that was typed and that of the key, for conversion; twice "" where they agree."""
    if is_in(unit, key):
        return "", ""
    known = convertible(unit, key)
    if not known:
        kind = f"is in {unit_of_key(key)}" if unit_of_key(key) else "has no unit"
        raise ValueError(f"`{cell}` is in {unit}, and `{key}` {kind}")
    return known, unit_of(key)


def _plain_number(cell: str, by_map: ImportMap) -> str:
    """A number of the log as a program writes it. ValueError where a sign is not as the map says.

    A point among decimal commas is not read as one: 793.120 may be thousands. A space or an
    apostrophe can stand between thousands alone.
    """
    if isinstance(cell, TypedNumber):
        return cell
    text = cell.replace("\N{NO-BREAK SPACE}", " ").replace("\N{NARROW NO-BREAK SPACE}", " ")
    text = text.replace("\N{RIGHT SINGLE QUOTATION MARK}", "'")
    if fraction := _FRACTION.fullmatch(text):
        inches, part, of = map(int, fraction.groups())
        return f"{inches + part / of}"
    for sign in filter(None, dict.fromkeys((by_map.thousands, " ", "'"))):
        whole, decimal, rest = text.partition(by_map.decimal)
        if re.fullmatch(rf"[+-]?[0-9]{{1,3}}({re.escape(sign)}[0-9]{{3}})+", whole):
            text = whole.replace(sign, "") + decimal + rest
        elif sign == by_map.thousands and sign in text:
            raise ValueError(f"`{cell}` is not in groups of three digits")
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
