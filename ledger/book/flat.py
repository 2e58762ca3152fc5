"""The record as flat tables of plain values, each column with its meaning, kind and unit."""

import math
from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime
from enum import StrEnum
from typing import Any, Generic, TypeAlias, TypeVar

from ledger.model.references import EntryRef, Place
from ledger.values import dataclass

Value: TypeAlias = str | int | float | bool | date | datetime | None

Row: TypeAlias = tuple[Value, ...]


class ColumnKind(StrEnum):
    """What the values of a column are; any of them may be missing."""

    TEXT = "text"
    NUMBER = "number"
    WHOLE = "whole number"
    DAY = "day"
    INSTANT = "instant"
    YES_NO = "yes or no"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """`unit` is empty where the values have none, or name theirs in a column of its own."""

    name: str
    kind: ColumnKind
    meaning: str
    unit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatTable:
    """Rows of one kind of thing, in a fixed order; one value a column.

    The values of the columns of `key` are together those of one row alone. A column of `refers` is
    also the key of the table whose key it is. The year of a row is what the column `dated` begins
    with: a day, a local time, or the id of a visit or entry; without one the rows say how things
    stand.
    """

    name: str
    meaning: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    key: tuple[str, ...] = ()
    refers: tuple[str, ...] = ()
    dated: str = ""


_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Field(Generic[_T]):
    """A column, and the value that a thing of the table has in it."""

    column: Column
    value: Callable[[_T], Value]


def text(name: str, meaning: str, value: Callable[[_T], str | None]) -> Field[_T]:
    """A column of text; empty text is a missing value."""
    column = Column(name=name, kind=ColumnKind.TEXT, meaning=meaning)
    return Field(column, lambda thing: value(thing) or None)


def number(name: str, unit: str, meaning: str, value: Callable[[_T], float | None]) -> Field[_T]:
    column = Column(name=name, kind=ColumnKind.NUMBER, meaning=meaning, unit=unit)
    return Field(column, lambda thing: None if (x := value(thing)) is None else float(x))


def whole(name: str, unit: str, meaning: str, value: Callable[[_T], int | None]) -> Field[_T]:
    return Field(Column(name=name, kind=ColumnKind.WHOLE, meaning=meaning, unit=unit), value)


def day(name: str, meaning: str, value: Callable[[_T], date | None]) -> Field[_T]:
    return Field(Column(name=name, kind=ColumnKind.DAY, meaning=meaning), value)


def instant(name: str, meaning: str, value: Callable[[_T], datetime | None]) -> Field[_T]:
    return Field(Column(name=name, kind=ColumnKind.INSTANT, meaning=meaning), value)


def yes_no(name: str, meaning: str, value: Callable[[_T], bool | None]) -> Field[_T]:
    return Field(Column(name=name, kind=ColumnKind.YES_NO, meaning=meaning), value)


def table(
    name: str,
    meaning: str,
    things: Iterable[_T],
    fields: Sequence[Field[_T]],
    *,
    key: str = "",
    refers: str = "",
    dated: str = "",
) -> FlatTable:
    """One row a thing, in their order; `key` and `refers` name columns, with blanks between."""
    return FlatTable(
        key=tuple(key.split()),
        refers=tuple(refers.split()),
        dated=dated,
        name=name,
        meaning=meaning,
        columns=tuple(field.column for field in fields),
        rows=tuple(tuple(field.value(thing) for field in fields) for thing in things),
    )


def json_rows(of: FlatTable) -> list["JsonRow"]:
    """The rows as values by column; days and instants by ISO 8601."""
    return [
        {
            column.name: value.isoformat() if isinstance(value, date) else value
            for column, value in zip(of.columns, values, strict=True)
        }
        for values in of.rows
    ]


def fields_of(thing: object, *names: str) -> "JsonRow":
    """Values of a thing under their own names, for JSON."""
    return {name: json_value(getattr(thing, name)) for name in names}


def json_value(value: Any) -> Any:
    """As JSON has it: days by ISO 8601, endless numbers as none, places and entries by name."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, date):
        return value.isoformat()
    return str(value) if isinstance(value, Place | EntryRef) else value


def dictionary(tables: Sequence[FlatTable]) -> FlatTable:
    """What every column of the tables means, as a table of its own."""
    pairs = [(of, column) for of in tables for column in of.columns]
    fields: tuple[Field[tuple[FlatTable, Column]], ...] = (
        text("table_name", "The table.", lambda pair: pair[0].name),
        text("rows_are", "What one row of the table is.", lambda pair: pair[0].meaning),
        text("column_name", "The column.", lambda pair: pair[1].name),
        text("kind", "What the values are.", lambda pair: pair[1].kind.value),
        text("unit", "The unit of the values.", lambda pair: pair[1].unit),
        text("meaning", "What the values say.", lambda pair: pair[1].meaning),
    )
    return table(
        "dictionary", "One column of one table.", pairs, fields, key="table_name column_name"
    )


JsonRow = dict[str, Any]
