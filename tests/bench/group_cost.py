"""What a group costs: to renew one site-year, and to ask many sites; processor seconds of one core.

The many are copies of one small site's export under ids of their own. TUNNELBOOK_BENCH_SITES says
how many; 10,100,1000 by default.
"""

import os
import resource
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TypeAlias

import pyarrow as pa
import pyarrow.parquet as pq
from sitegen.sites import FIRST_DAY, generate

from ledger.files.survey import survey_of_files
from ledger.group.exports import ask, files_by_table, merged_tables
from ledger.site.roll_up import MANIFEST, Manifest, Order, is_current, read_manifest, renew

TITLE = "a group: 12 machines, 2 visits a day for a year; and copies of a site of 3 machines"
SITES = [int(n) for n in os.environ.get("TUNNELBOOK_BENCH_SITES", "10,100,1000").split(",")]
ROUNDS = 5
Exports: TypeAlias = list[tuple[Path, Manifest]]
_YEAR = 365


def figures() -> Iterator[str]:
    with tempfile.TemporaryDirectory() as folder:
        yield from _renewal(Path(folder))
    with tempfile.TemporaryDirectory() as folder:
        yield from _queries(Path(folder))


def _renewal(top: Path) -> Iterator[str]:
    generate(top / "wash", seed=1, machines=12, days=_YEAR, visits_per_day=2)
    day = FIRST_DAY + timedelta(days=_YEAR - 1)
    order = _order(top, "wash", day)
    yield f"cold: {_seconds(lambda: renew(order)):.2f} s for {2 * _YEAR} visits"
    looked = _least(lambda: survey_of_files(str(order.root)))
    current = _least(lambda: is_current(order))
    yield (
        f"nothing changed: {1000 * current:.1f} ms, {current / looked:.2f} × the look at each "
        f"file's times alone ({1000 * looked:.1f} ms)"
    )
    visit = order.root / f"observations/{day:%Y/%m}/{day}T2359-a-onnevale.yaml"
    visit.write_text(
        f"at: {day}T23:59\nby: a-onnevale\nentries:\n  - {{stop: vehicle, stopped_minutes: 4}}\n"
    )
    yield f"one visit more: {_seconds(lambda: renew(order)):.2f} s"
    yield f"most memory so far: {_peak_mb():.0f} MB"


def _order(top: Path, name: str, day: date) -> Order:
    # Later than the last write, so that times vouch for all files.
    now = datetime.now(UTC) + timedelta(seconds=10)  # noqa: TID251
    return Order(root=top / name, ident=name, out=top / "export", now=now, day=day)


def _queries(top: Path) -> Iterator[str]:
    generate(top / "wash", seed=2, machines=3, days=60, visits_per_day=1)
    order = _order(top, "wash", FIRST_DAY + timedelta(days=60))
    renew(order)
    folders: list[Path] = []
    for many in SITES:
        folders += [_copied(order, f"copy-{n}") for n in range(len(folders), many)]
        exports = [(folder, found) for folder in folders if (found := read_manifest(folder))]
        merged = order.out / "_merged"

        def answered(exports: Exports = exports, merged: Path = merged) -> object:
            return ask(merged_tables(merged, exports))

        shutil.rmtree(merged, ignore_errors=True)
        first, again = _seconds(answered), _least(answered)
        exports[0] = folders[0], replace(exports[0][1], hashes={"due.parquet": "another"})
        files = sum(map(len, files_by_table(exports).values()))
        yield (
            f"{many} sites, {files:,} files: all queries {again:.2f} s, {1000 * again / many:.2f} "
            f"ms a site; {_seconds(answered):.2f} s where one site has changed, {first:.2f} s "
            f"where all have; most memory {_peak_mb():.0f} MB"
        )


def _copied(order: Order, ident: str) -> Path:
    """The export of a site under another id, in its rows too; of the tables that queries ask."""
    made = replace(order, ident=ident).folder
    made.mkdir()
    shutil.copy(order.folder / MANIFEST, made)
    found = read_manifest(order.folder)
    for paths in files_by_table([(order.folder, found)] if found else []).values():
        for path in map(Path, paths):
            table = pq.ParquetFile(path).read()
            sites = pa.array([ident] * table.num_rows, pa.string())
            target = made / path.relative_to(order.folder)
            target.parent.mkdir(exist_ok=True)
            pq.write_table(table.set_column(0, table.schema.field(0), sites), target)
    return made


def _seconds(work: Callable[[], object]) -> float:
    begun = time.process_time()
    work()
    return time.process_time() - begun


def _least(work: Callable[[], object]) -> float:
    return min(_seconds(work) for _ in range(ROUNDS))


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
