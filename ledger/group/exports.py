"""The exports of a group's sites: renewed, laid together, and asked.

They are renewed by other processes, here or on a cluster that exists. The rows of all sites lie in
one file a table: a query opens ten files then, and not ten a site.

    FOLDER/due.parquet     the rows of every site
    FOLDER/_made_of.json   of which files of which site

The folder is put in place in one step, and only where a site has changed, come or gone. The
questions are plain SQL files.
"""

import glob
import json
import multiprocessing
import os
import re
import tempfile
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import suppress
from importlib.resources import files
from itertools import zip_longest
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any, TypeAlias

from ledger.files.names import SITE_FILE
from ledger.files.save import replace_folder
from ledger.files.survey import content_hash
from ledger.site.roll_up import Manifest, Order, Renewed, is_current, renew

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

Answer: TypeAlias = list[dict[str, Any]]

_GONE = "the process that renewed it ended before it was done"


def sites_named(named: Path) -> list[Path]:
    """The folders of a group: those below a folder that hold site.yaml, or those that a list names.

    A list has one folder a line, from where it lies; lines that begin with `#` are left out.
    Raises OSError, and UnicodeDecodeError for a list that is no UTF-8 text.
    """
    if named.is_dir():
        return sorted(path.parent for path in named.glob(f"*/{SITE_FILE}"))
    lines = (line.strip() for line in named.read_text("utf-8").splitlines())
    return [(named.parent / line).resolve() for line in lines if line and line[0] != "#"]


def renew_all(orders: Sequence[Order], scheduler: str = "") -> dict[str, str]:
    """Renew each export that is not current; by id why it could not be, "" where it could.

    `scheduler` is the address of a Dask cluster whose workers see the same folders; without one
    the processes are of this machine. A site during which a process ends is tried once more, alone.
    Raises OSError where no cluster answers.
    """
    stale = [order for order in orders if not is_current(order)]
    if not stale:
        return {}
    if scheduler:
        # Nobody else needs it, and it takes a second to load.
        from distributed import Client  # noqa: PLC0415

        with Client(scheduler, set_as_default=False) as client:  # type: ignore[no-untyped-call]
            done = _run(client.get_executor(), stale)
    else:
        with _pool(min(len(stale), os.cpu_count() or 1)) as pool:
            done = _run(pool, stale)
        for number, order in enumerate(stale):
            if done[number].fault == _GONE:
                with _pool(1) as alone:
                    (done[number],) = _run(alone, [order])
    return {one.ident: one.fault for one in done}


def _pool(workers: int) -> ProcessPoolExecutor:
    # A fork would copy the threads of what reads Parquet here, at whatever they hold.
    ways = multiprocessing.get_all_start_methods()
    way = multiprocessing.get_context("forkserver" if "forkserver" in ways else "spawn")
    return ProcessPoolExecutor(workers, mp_context=way)


def _run(pool: Executor, orders: Sequence[Order]) -> list[Renewed]:
    """What became of each, in their order."""
    futures: list[Future[Renewed]] = []
    with suppress(RuntimeError):  # the pool is broken already
        for order in orders:
            futures.append(pool.submit(renew, order))  # noqa: PERF401  those before stay
    return [_result(order, future) for order, future in zip_longest(orders, futures)]


def _result(order: Order, future: "Future[Renewed] | None") -> Renewed:
    # `renew` tells its own; a failure is of the process, by any library.
    with suppress(Exception):
        if future is not None:
            return future.result()
    return Renewed(ident=order.ident, fault=_GONE)


_MADE_OF = "_made_of.json"


def files_by_table(exports: Iterable[tuple[Path, Manifest]]) -> dict[str, list[str]]:
    """The Parquet files of each table, of all sites; only of tables that a query asks."""
    asked = asked_tables()
    found: dict[str, list[str]] = defaultdict(list)
    for folder, manifest in exports:
        for path in manifest.files:
            name = PurePosixPath(path).stem
            if name in asked:
                found[name].append(str(folder / path))
    return found


def merged_tables(folder: Path, exports: Sequence[tuple[Path, Manifest]]) -> dict[str, str]:
    """The one file of each table that a query asks; only files of changed sites are opened."""
    asked = asked_tables()
    now = {_site(export): _as_it_is(manifest, asked) for export, manifest in exports}
    before = _states_in(folder)
    tables = {name: str(folder / f"{name}.parquet") for name in sorted(asked)}
    stay = {site for site, state in before.items() if now.get(site) == state}
    if not stay == now.keys() == before.keys():
        changed = [export for export in exports if _site(export[0]) not in stay]
        new = _merge(tables if stay else {}, sorted(stay), changed)
        made_of = {"sites": now, "bytes": {name: len(content) for name, content in new.items()}}
        text = json.dumps(made_of, indent=0, sort_keys=True)
        replace_folder(folder, {**new, _MADE_OF: text.encode()})
    return tables


def _site(folder: Path) -> str:
    return folder.name.removeprefix("site=")


def _as_it_is(manifest: Manifest, asked: AbstractSet[str]) -> str:
    held = (f"{p} {h}" for p, h in manifest.hashes.items() if PurePosixPath(p).stem in asked)
    return content_hash("\n".join(held).encode())


def _states_in(folder: Path) -> Mapping[str, str]:
    """By site a hash of what its files held when the ones here were made.

    Empty where not each table that is asked for now lies here, whole.
    """
    try:
        made_of = json.loads((folder / _MADE_OF).read_bytes())
        states: dict[str, str] = made_of["sites"]
        there = {name: (folder / name).stat().st_size for name in made_of["bytes"]}
        names = {f"{name}.parquet" for name in asked_tables()}
        return states if there == made_of["bytes"] and there.keys() == names else {}
    except (OSError, ValueError, TypeError, KeyError):
        return {}


def _merge(
    old: Mapping[str, str], stay: Sequence[str], changed: Sequence[tuple[Path, Manifest]]
) -> dict[str, bytes]:
    """The bytes of each file: what `old` has of the sites that stay, and the rows of the others."""
    may_differ = len({manifest.program for _, manifest in changed}) > 1
    files = files_by_table(changed)
    found = {}
    with connection() as database, tempfile.TemporaryDirectory() as there:
        for name in sorted(old.keys() | files.keys()):
            parts = []
            if name in old:
                sites = ", ".join(map(_quoted, stay))
                parts.append(f"FROM {_reading([old[name]])} WHERE site IN ({sites})")
            if name in files:
                parts.append(f"FROM {_reading(files[name], may_differ=may_differ)}")
            target = Path(there, f"{name}.parquet")
            rows = " UNION ALL BY NAME ".join(parts)
            database.execute(f"COPY ({rows}) TO {_quoted(str(target))} (FORMAT parquet)")
            found[target.name] = target.read_bytes()
    return found


def _reading(paths: Iterable[str], *, may_differ: bool = False) -> str:
    """`may_differ`: some were written by another version, and may lack a column."""
    listed = ", ".join(_quoted(glob.escape(path)) for path in paths)
    return f"read_parquet([{listed}], hive_partitioning = false, union_by_name = {may_differ})"


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


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
