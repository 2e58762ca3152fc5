"""The cells of a row of an existing log as the values that a visit holds."""

import re
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from ledger.compute.units import celsius_from_fahrenheit, convert, fahrenheit_from_celsius
from ledger.edit.fields import number, parse_value, takes_number
from ledger.edit.import_map import CellSource, ImportMap
from ledger.edit.import_rows import LogRow

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
        if source.unit == "f":
            value = celsius_from_fahrenheit(value)
        elif source.unit == "c":
            value = fahrenheit_from_celsius(value)
        else:
            value = convert(value, source.unit, source.to_unit)
    value = value * (1 if source.times is None else source.times) + (source.plus or 0)
    # The digits that arithmetic in binary adds to a typed number say nothing.
    return number(f"{value:.{_DIGITS_KEPT}g}")
