"""A flat table as comma-separated values (RFC 4180), with nothing a spreadsheet would obey.

A text that begins with one of `= + - @`, their full-width forms, a tab, a carriage return or a
line feed would be taken for a formula by a spreadsheet. It gets an apostrophe before it, and so
does a text that begins with an apostrophe: who reads by program takes one leading apostrophe off
again. Numbers stay numbers, negative ones too, with ten digits: more than any reading carries, and
fewer than show how a computer adds. A missing value is an empty cell; days and instants are ISO
8601, instants with their offset; yes and no are `true` and `false`.

Flat tables as one SQLite database, the same bytes for the same tables and SQLite.
"""

import csv
import io
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from datetime import date, datetime

from ledger.book.flat import ColumnKind, FlatTable, Value

_GUARD = "'"

_DIGITS = 10

_ACTIVE = tuple("=+-@\t\r\n'＝＋－＠")


def render_csv(table: FlatTable) -> str:
    """The table with a line of column names, lines ending in CRLF."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow([column.name for column in table.columns])
    writer.writerows([cell_text(value) for value in row] for row in table.rows)
    return text.getvalue()


def cell_text(value: Value) -> str:
    match value:
        case None:
            return ""
        case bool():
            return "true" if value else "false"
        case float():
            is_whole = value.is_integer() and abs(value) < 1e15
            return str(int(value)) if is_whole else f"{value:.{_DIGITS}g}"
        case date() | datetime():
            return value.isoformat()
        case str():
            return guarded(value)
        case _:
            return str(value)


def guarded(text: str) -> str:
    """The text, with an apostrophe before it where a spreadsheet would obey it."""
    return f"{_GUARD}{text}" if text.startswith(_ACTIVE) else text


_TYPES = {
    ColumnKind.TEXT: "TEXT",
    ColumnKind.NUMBER: "REAL",
    ColumnKind.WHOLE: "INTEGER",
    ColumnKind.DAY: "TEXT",
    ColumnKind.INSTANT: "TEXT",
    ColumnKind.YES_NO: "INTEGER",
}

_PAGE_BYTES = 4096


def render_sqlite(tables: Sequence[FlatTable]) -> bytes:
    """The database. Days and instants are ISO 8601 text, yes and no are 1 and 0."""
    with closing(sqlite3.connect(":memory:")) as database:
        database.execute(f"PRAGMA page_size = {_PAGE_BYTES}")
        with database:
            for table in tables:
                _put(database, table)
        return database.serialize()


def _put(database: sqlite3.Connection, table: FlatTable) -> None:
    columns = ", ".join(f"{_quoted(c.name)} {_TYPES[c.kind]}" for c in table.columns)
    database.execute(f"CREATE TABLE {_quoted(table.name)} ({columns})")
    marks = ", ".join("?" for _ in table.columns)
    # The names are those of this program, never those of a file.
    database.executemany(
        f"INSERT INTO {_quoted(table.name)} VALUES ({marks})",  # noqa: S608
        ([_stored(value) for value in row] for row in table.rows),
    )


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _stored(value: Value) -> str | int | float | None:
    return value.isoformat() if isinstance(value, date | datetime) else value
