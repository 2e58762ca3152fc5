"""`tunnelbook group`: many sites in one book; one that fails is named and holds up no other."""

import os
import re
import shutil
import signal
import threading
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import UTC
from multiprocessing import get_context
from pathlib import Path

import datafusion
import pytest
from example import EXAMPLE_DAY, copy_example
from pinned_clock import pinned_clock
from sitegen.sites import generate
from tools import NOT_RUN, TOOLS_REQUIRED

from ledger import open_site
from ledger.cli.main import main
from ledger.compute.schedule import State
from ledger.files.book_files import has_marker
from ledger.group import exports as group_exports
from ledger.group.book import beside_others
from ledger.group.exports import (
    ask,
    files_by_table,
    merged_tables,
    queries,
    renew_all,
    sites_named,
)
from ledger.site.roll_up import Manifest, Order, is_current, read_manifest
from ledger.upkeep.due.found import Schedule

SITES = ("north", "quillmere", "south")


def group(top: Path, *words: object) -> int:
    return main(["group", *map(str, (top, *words)), "--as-of", str(EXAMPLE_DAY)], pinned_clock)


def files_of(top: Path) -> dict[str, bytes]:
    return {str(path.relative_to(top)): path.read_bytes() for part in ("export", "book") for path in (top / part).rglob("*") if path.is_file()}  # fmt: skip


@pytest.fixture(scope="module")
def top(tmp_path_factory) -> Path:
    """The example with few visits and two generated sites, in one folder, rolled up once."""
    made = tmp_path_factory.mktemp("group") / "washes"
    copy_example(made / "quillmere", since="2026-11-15")
    generate(made / "north", seed=2, machines=2, days=70, visits_per_day=1)
    generate(made / "south", seed=3, machines=3, days=40, visits_per_day=1)
    assert group(made, "--html") == 0
    return made


def cells(page: Path, heading: str = "") -> list[list[str]]:
    """The rows of the first table behind a heading of a page, without that of its titles."""
    text = page.read_text().partition(heading)[2] if heading else page.read_text()
    rows = re.search(r"(?:^\|.*\n)+", text, re.MULTILINE)[0].splitlines()
    return [[cell.strip() for cell in row.strip("|").split("|")] for row in rows[2:]]


def number(cell: str) -> int:
    return int((re.findall(r"\d+", cell) or ["0"])[0])


def test_the_front_page_counts_what_each_site_says_of_itself(top):
    rows = {row[0]: row for row in cells(top / "book/README.md", "## Sites")}
    assert tuple(rows) == SITES
    for site in SITES:
        ledger = open_site(top / site, EXAMPLE_DAY).ledger
        work = Schedule(ledger, EXAMPLE_DAY).all_due()
        overdue = sum(one.due.state is State.OVERDUE for one in work)
        assert (rows[site][1], number(rows[site][4])) == (ledger.site.name, overdue)
        listed = [row for row in cells(top / "book/work.md", "## Overdue") if row[0] == site]
        assert sum(number(row[2]) for row in listed) == overdue > 0
    assert (top / "book/html/index.html").exists()
    assert not list((top / "book/html").glob("round*"))


def test_like_machines_that_are_set_otherwise_stand_side_by_side(top):
    rows = cells(top / "book/settings.md", "### side-brush, Hz, 110")
    assert tuple(row[0] for row in rows) == SITES
    for site, machines, lowest, highest in rows:
        ledger = open_site(top / site, EXAMPLE_DAY).ledger
        values = [
            drive.in_force.value
            for name, drive in ledger.setpoints.items()
            if ledger.machines[name].kind == "side-brush"
        ]
        assert (int(machines), float(lowest.split()[0]), float(highest.split()[0])) == (len(values), min(values), max(values))  # fmt: skip


def test_machines_and_tasks_are_matched_by_the_word_of_their_file(top, tmp_path):
    """One site sets a machine and a task apart with `like`: it stands beside no other any more."""
    there = shutil.copytree(top, tmp_path / "washes")
    for kind, words in (("equipment", "kind: side-brush\n"), ("tasks", "every: 1 week\n")):
        for path in (there / "north" / kind).glob("*.yaml"):
            path.write_text(path.read_text().replace(words, f"{words}like: of-north\n"))
    before, task = like_tasks(there), "Count the speed"
    assert group(there) == 0
    rows = cells(there / "book/settings.md", "### side-brush, Hz, 110")
    assert [row[0] for row in rows] == ["quillmere", "south"]
    after = like_tasks(there)
    assert int(before[task][1]) - int(after[task][1]) == 1


def like_tasks(top: Path) -> dict[str, list[str]]:
    return {row[0]: row for row in cells(top / "book/work.md", "## Like tasks")}


def test_unchanged_sites_start_no_process_and_give_the_same_bytes(top, monkeypatch, capsys):
    def refuse(_):
        raise AssertionError("a process was started")

    monkeypatch.setattr(group_exports, "_pool", refuse)
    before = files_of(top)
    assert group(top, "--html") == 0
    assert "3 sites, 0 renewed" in capsys.readouterr().out
    assert files_of(top) == before


def test_codes_of_people_are_the_same_each_time_and_made_with_a_key(top, tmp_path, monkeypatch):
    """A key that only its user can read, made for the first codes and by no dry run."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    there = shutil.copytree(top, tmp_path / "washes")

    def codes() -> set[bytes]:
        found = [path.read_bytes() for path in (there / "export").rglob("visits.parquet")]
        return {code for content in found for code in re.findall(rb"person-[0-9a-f]{10}", content)}

    assert group(there) == group(there, "--without-people", "--dry-run") == 0
    assert (codes(), list(tmp_path.glob("data/*"))) == (set(), [])
    assert group(there, "--without-people") == 0
    first = codes()
    assert first
    shutil.rmtree(there / "export")
    assert group(there, "--without-people") == 0
    assert codes() == first
    (tmp_path / "data/tunnelbook/people.key").unlink()
    assert group(there, "--without-people") == 0
    assert first.isdisjoint(codes())


def test_a_site_that_fails_is_named_and_hides_no_other(top, tmp_path, capsys):
    """Broken after an export, broken from the start, the same id twice, and not there at all."""
    there = shutil.copytree(top, tmp_path / "washes")
    list_ = there / "sites.txt"
    for name in ("never", "twin"):
        shutil.copytree(there / "north", there / name)
    (there / "never/tasks/broken.yaml").write_text("title: [\n")
    with (there / "twin/site.yaml").open("a") as site:
        site.write("group: {id: north}\n")
    list_.write_text("# ours\nnorth\nsouth\ntwin\nquillmere\nnever\nnowhere\n")
    (there / "south/setpoints/brush-001.yaml").write_text("- from: soon\n")
    assert group(list_) == 1
    told = capsys.readouterr().err
    rows = {row[0].rpartition("/")[2]: row[1:] for row in cells(there / "book/README.md", "## Not current")}  # fmt: skip
    assert rows.keys() == {"never", "nowhere", "south", "twin"}
    assert rows["south"][0] == "as of 2026-11-25"
    assert rows["never"][0] == "nothing"
    for site, why in (("south", "setpoints/brush-001.yaml:1"), ("never", "tasks/broken.yaml:1"), ("twin", "id `north` of"), ("nowhere", "holds no site.yaml")):  # fmt: skip
        assert re.search(rf"not renewed: \S*{site}: .*{re.escape(why)}", told)
    assert [row[0] for row in cells(there / "book/README.md", "## Sites")] == list(SITES)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("nowhere",), "there is no folder or list"),
        (("washes/north",), "names no site"),
        (("washes/list", "--out", "washes/north"), "is the folder of a site"),
        (("washes", "--scheduler", "tcp://127.0.0.1:1"), "no Dask cluster answers"),
    ],
)
def test_a_call_that_cannot_be_used(top, monkeypatch, capsys, words, said):
    monkeypatch.chdir(top.parent)
    monkeypatch.setattr("ledger.group.exports.is_current", lambda _: False)
    monkeypatch.setenv("DASK_DISTRIBUTED__COMM__TIMEOUTS__CONNECT", "200ms")
    (top / "list").write_text("north\n")
    if "--scheduler" in words:
        dask = pytest.importorskip("dask")
        with dask.config.set({"distributed.comm.timeouts.connect": "200ms"}):
            assert main(["group", *words], pinned_clock) == 2
    else:
        assert main(["group", *words], pinned_clock) == 2
    assert said in capsys.readouterr().err


def orders_of(top: Path, out: Path) -> list[Order]:
    now = pinned_clock(UTC)
    return [Order(root=root, ident=root.name, out=out, now=now, day=EXAMPLE_DAY) for root in sites_named(top)]  # fmt: skip


class LosesAProcess(ProcessPoolExecutor):
    """A pool of which one process ends in the midst of the work."""

    def submit(self, *work):
        future = super().submit(*work)
        super().submit(os._exit, 9)
        return future


def test_work_that_went_with_a_process_is_done_again(top, tmp_path, monkeypatch):
    usual, pools = group_exports._pool, []

    def pool(workers: int) -> ProcessPoolExecutor:
        pools.append(workers)
        return (
            usual(workers)
            if len(pools) > 1
            else LosesAProcess(1, mp_context=get_context("forkserver"))
        )

    monkeypatch.setattr(group_exports, "_pool", pool)
    orders = [one for one in orders_of(top, tmp_path / "export") if one.ident != "quillmere"]
    assert renew_all(orders) == {"north": "", "south": ""}
    assert len(pools) > 1
    assert all(map(is_current, orders))


def exports(top: Path, *sites: str) -> list[tuple[Path, Manifest]]:
    folders = [top / f"export/site={site}" for site in sites or SITES]
    return [(folder, read_manifest(folder)) for folder in folders]


def test_two_engines_give_the_same_answers(top):
    """DuckDB, which the command asks, and DataFusion, which shares no code with it.

    The one asks the merged files, the other those of each site.
    """
    tables = files_by_table(exports(top))
    context = datafusion.SessionContext()
    for name, paths in tables.items():
        context.register_parquet(name, str(paths[0])) if len(paths) == 1 else context.register_view(
            name, union(context, paths)
        )
    answers = ask(merged_tables(top / "export/_merged", exports(top)))
    assert answers.keys() == queries().keys()
    for name, query in queries().items():
        other = [row for batch in context.sql(query).collect() for row in batch.to_pylist()]
        assert [dict(row) for row in other] == answers[name], name
    assert all(answers[name] for name in answers.keys() - {"drift"})


def test_only_the_files_of_changed_sites_are_opened_again(top, tmp_path, monkeypatch):
    """A site that has changed, gone or come; the answers are those of a merge of nothing."""
    there = shutil.copytree(top, tmp_path / "washes")
    folder, opened = there / "export/_merged", []
    reading = group_exports._reading
    monkeypatch.setattr(group_exports, "_reading", lambda paths, **how: opened.extend(paths) or reading(paths, **how))  # fmt: skip

    def sites_opened(*sites: str) -> set[str]:
        opened.clear()
        before = ask(merged_tables(there / "afresh", exports(there, *sites)))
        shutil.rmtree(there / "afresh")
        opened.clear()
        assert ask(merged_tables(folder, exports(there, *sites))) == before
        return {part for path in opened for part in path.split("/") if part.startswith("site=")}

    assert sites_opened() == set()
    site = there / "south/site.yaml"
    site.write_text(site.read_text().replace("Generated wash", "South wash"))
    assert group(there) == 0
    assert sites_opened() == set()
    order = orders_of(there, there / "export")[2]
    site.write_text(site.read_text().replace("South wash", "Southern wash"))
    assert group_exports.renew(order).written
    assert sites_opened() == {"site=south"}
    assert sites_opened("north", "south") == set()
    assert {row["site"] for row in ask(merged_tables(folder, exports(there, "north", "south")))["sites"]} == {"north", "south"}  # fmt: skip
    assert sites_opened() == {"site=quillmere"}
    (folder / "due.parquet").write_bytes(b"PAR1")
    assert sites_opened() == {f"site={site}" for site in SITES}


def union(context: datafusion.SessionContext, paths: Iterable[str]) -> datafusion.DataFrame:
    first, *others = [context.read_parquet(path) for path in paths]
    for other in others:
        first = first.union(other)
    return first


def test_nothing_is_fetched_for_a_query(top, monkeypatch, tmp_path):
    """Extensions would go below the home folder; a query that needs one is refused."""
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setattr("ledger.group.exports.queries", lambda: {"x": "SELECT * FROM 'https://wash.example/x.parquet'"})  # fmt: skip
    with pytest.raises(Exception, match="httpfs"):
        ask({})
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("failures", "said"),
    [(0, "cannot say"), (3, "cannot say"), (30, "more often")],
)
def test_a_site_is_ranked_only_where_its_limits_tell_it_from_the_others(failures, said):
    """Others: 40 in 400 thousand. With 3 in 10 thousand 90 % limits are 0.08 to 0.78 a thousand.

    By the chi-square limits of NIST/SEMATECH e-Handbook 8.4.5.1, as `mean_time_between_failures`.
    """
    others = [{"failures": 20, "vehicles": 200_000.0}] * 2
    own = {"failures": failures, "vehicles": 10_000.0}
    assert beside_others(own, [own, *others]) == said
    many = {"failures": 4, "vehicles": 400_000.0}
    assert beside_others(many, [many, *others]) == "less often"


@pytest.mark.filterwarnings("ignore")
def test_a_cluster_that_loses_a_worker_writes_the_same_bytes(top, tmp_path):
    """A real cluster of two processes; one is killed while it has a site to renew.

    Both are halted until the site is handed out: work that is done at once could not be lost.
    """
    if not TOOLS_REQUIRED:
        pytest.skip(f"{NOT_RUN}a cluster of two workers has its turn in .ci/run")
    from distributed import Client, LocalCluster  # noqa: PLC0415

    orders = orders_of(top, tmp_path / "export")
    results = {}
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster, Client(cluster) as client:  # fmt: skip
        pids = client.run(os.getpid)
        for pid in pids.values():
            os.kill(pid, signal.SIGSTOP)
        working = threading.Thread(
            target=lambda: results.update(renew_all(orders, cluster.scheduler_address))
        )
        working.start()
        while not (busy := [worker for worker, tasks in client.processing().items() if tasks]):
            assert working.is_alive()
        os.kill(pids.pop(busy[0]), signal.SIGKILL)
        for pid in pids.values():
            os.kill(pid, signal.SIGCONT)
        working.join()
    assert results == dict.fromkeys(SITES, "")
    written = {path: content for path, content in files_of(tmp_path).items() if "_manifest" not in path}  # fmt: skip
    assert written == {path: content for path, content in files_of(top).items() if path.startswith("export/site=") and "_manifest" not in path}  # fmt: skip


def test_pages_carry_the_mark_by_which_they_are_renewed(top):
    pages = [path for path in (top / "book").rglob("*") if path.suffix in {".md", ".html"}]
    assert len(pages) == 12
    assert all(has_marker(path.read_text()) for path in pages)
    assert not is_current(replace(orders_of(top, top / "export")[0], program="another"))
