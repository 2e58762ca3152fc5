"""The questions of the roll-up: plain SQL files, asked of the Parquet files where they lie."""

import glob
import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from importlib.resources import files
from pathlib import Path, PurePosixPath
from typing import Any, TypeAlias

from ledger.site.roll_up import Manifest

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


def files_by_table(exports: Iterable[tuple[Path, Manifest]]) -> dict[str, list[str]]:
    """The Parquet files of each table, of all sites; only of tables that a query asks."""
    asked = set(re.findall(r"[a-z_]+", " ".join(queries().values())))
    found: dict[str, list[str]] = defaultdict(list)
    for folder, manifest in exports:
        for path in manifest.files:
            name = PurePosixPath(path).stem
            if name in asked:
                found[name].append(str(folder / path))
    return found


def ask(tables: Mapping[str, Iterable[str]], *, may_differ: bool = False) -> dict[str, Answer]:
    """Every answer by the name of its query, one thread, so that sums are the same each time.

    `may_differ`: some files were written by another version, and may lack a column.
    """
    import duckdb  # noqa: PLC0415 - optional, and slow to load

    with duckdb.connect(config=_SETTINGS) as database:
        for name, paths in tables.items():
            listed = ", ".join(_quoted(glob.escape(path)) for path in paths)
            database.execute(
                f"CREATE VIEW {name} AS SELECT * FROM read_parquet([{listed}], "  # noqa: S608  paths, quoted
                f"hive_partitioning = false, union_by_name = {may_differ})"
            )
        found = {}
        for name, query in queries().items():
            database.execute(query)
            columns = [column[0] for column in database.description or ()]
            rows = database.fetchall()
            found[name] = [dict(zip(columns, row, strict=True)) for row in rows]
    return found


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
