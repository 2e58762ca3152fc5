"""A flat table as comma-separated values (RFC 4180), with nothing a spreadsheet would obey.

A text that begins with one of `= + - @`, their full-width forms, a tab, a carriage return or a
line feed would be taken for a formula by a spreadsheet. It gets an apostrophe before it, and so
does a text that begins with an apostrophe: who reads by program takes one leading apostrophe off
again. Numbers stay numbers, negative ones too, with ten digits: more than any reading carries, and
fewer than show how a computer adds. A missing value is an empty cell; days and instants are ISO
8601, instants with their offset; yes and no are `true` and `false`.

Flat tables as one SQLite database, the same bytes for the same tables and SQLite.

A flat table as Parquet, through the optional pyarrow; meanings and units go with the columns.
"""

import csv
import io
import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import closing
from datetime import UTC, date, datetime

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


def render_sqlite(tables: Sequence[FlatTable], views: Mapping[str, str] | None = None) -> bytes:
    """The database. Days and instants are ISO 8601 text, yes and no are 1 and 0.

    `views` are queries of the tables, by name.
    """
    # The first table with a key is the one of the thing itself.
    key_of = {table.key[0]: table.name for table in reversed(tables) if len(table.key) == 1}
    with closing(sqlite3.connect(":memory:")) as database:
        database.execute(f"PRAGMA page_size = {_PAGE_BYTES}")
        with database:
            for table in tables:
                _put(database, table, key_of)
            for name, query in (views or {}).items():
                database.execute(f"CREATE VIEW {_quoted(name)} AS {query}")
        return database.serialize()


def _put(database: sqlite3.Connection, table: FlatTable, key_of: Mapping[str, str]) -> None:
    parts = [f"{_quoted(c.name)} {_TYPES[c.kind]}" for c in table.columns]
    if table.key:
        parts.append(f"PRIMARY KEY ({', '.join(map(_quoted, table.key))})")
    parts += [
        f"FOREIGN KEY ({_quoted(one)}) REFERENCES {_quoted(key_of[one])} ({_quoted(one)})"
        for one in table.refers
    ]
    database.execute(f"CREATE TABLE {_quoted(table.name)} ({', '.join(parts)})")
    for one in table.refers:
        index = _quoted(f"{table.name}_by_{one}")
        database.execute(f"CREATE INDEX {index} ON {_quoted(table.name)} ({_quoted(one)})")
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


def render_parquet(table: FlatTable) -> bytes:
    """The table as one file; instants in UTC. Raises ImportError without pyarrow."""
    import pyarrow as pa  # type: ignore[import-untyped]  # noqa: PLC0415 - optional, and slow to load
    import pyarrow.parquet as pq  # type: ignore[import-untyped]  # noqa: PLC0415

    types = {
        ColumnKind.TEXT: pa.string(),
        ColumnKind.NUMBER: pa.float64(),
        ColumnKind.WHOLE: pa.int64(),
        ColumnKind.DAY: pa.date32(),
        ColumnKind.INSTANT: pa.timestamp("s", tz="UTC"),
        ColumnKind.YES_NO: pa.bool_(),
    }
    fields = [
        pa.field(c.name, types[c.kind], metadata={"meaning": c.meaning, "unit": c.unit})
        for c in table.columns
    ]
    rows = [[_in_utc(value) for value in row] for row in table.rows]
    made = pa.Table.from_arrays(
        [pa.array([row[n] for row in rows], field.type) for n, field in enumerate(fields)],
        schema=pa.schema(fields, metadata={"meaning": table.meaning}),
    )
    content = io.BytesIO()
    pq.write_table(made, content)
    return content.getvalue()


def _in_utc(value: Value) -> Value:
    return value.astimezone(UTC) if isinstance(value, datetime) else value
