"""The questions of the roll-up: plain SQL files, asked of one Parquet file a table."""

import glob
import re
from collections.abc import Mapping
from importlib.resources import files
from typing import TYPE_CHECKING, Any, TypeAlias

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

Answer: TypeAlias = list[dict[str, Any]]

# Nothing is fetched: what the library does not bring is not there.
_SETTINGS: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
    "threads": "1",
}


def queries() -> dict[str, str]:
    """The SQL by the name of its file."""
    found = (path for path in (files("ledger.group") / "queries").iterdir())
    return {
        path.name.removesuffix(".sql"): path.read_text("utf-8")
        for path in sorted(found, key=lambda path: path.name)
        if path.name.endswith(".sql")
    }


def asked_tables() -> frozenset[str]:
    """The tables that a query asks."""
    return frozenset(re.findall(r"(?:FROM|JOIN) ([a-z_]+)", " ".join(queries().values())))


def connection() -> "DuckDBPyConnection":
    """An empty database, of one thread so that sums are the same each time."""
    import duckdb  # noqa: PLC0415 - optional, and slow to load

    return duckdb.connect(config=_SETTINGS)


def ask(tables: Mapping[str, str]) -> dict[str, Answer]:
    """Every answer by the name of its query; `tables` has the file of each table."""
    with connection() as database:
        for name, path in tables.items():
            database.read_parquet(glob.escape(path), hive_partitioning=False).create_view(name)
        found = {}
        for name, query in queries().items():
            database.execute(query)
            columns = [column[0] for column in database.description or ()]
            rows = database.fetchall()
            found[name] = [dict(zip(columns, row, strict=True)) for row in rows]
    return found
