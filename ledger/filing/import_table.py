"""The cells of a log as text, row by row: of a text file with separators, or of a workbook."""

import csv
import io
from collections.abc import Sequence
from datetime import datetime, time, timedelta
from itertools import zip_longest
from typing import Any

from ledger.values import dataclass

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
