"""Flat tables as one SQLite database, the same bytes for the same tables and SQLite."""

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from datetime import date, datetime

from ledger.report.flat import ColumnKind, FlatTable, Value

_TYPES = {
    ColumnKind.TEXT: "TEXT",
    ColumnKind.NUMBER: "REAL",
    ColumnKind.WHOLE: "INTEGER",
    ColumnKind.DAY: "TEXT",
    ColumnKind.INSTANT: "TEXT",
    ColumnKind.YES_NO: "INTEGER",
}
_PAGE_BYTES = 4096


def render(tables: Sequence[FlatTable]) -> bytes:
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
