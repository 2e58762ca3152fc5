"""The tables of one site as they lie beside those of others: by site and year, renewed in part."""

import re
import shutil
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import duckdb
import pyarrow.parquet as pq
import pytest
from example import EXAMPLE_DAY, copy_example

from ledger import open_site
from ledger.files import save
from ledger.site.report_tables import TABLES_VERSION
from ledger.site.roll_up import Order, asks_for_codes, is_current, read_manifest, renew, site_id
from ledger.site.tables import flat_tables

LATE = "observations/2025/11/2025-11-20T0700-m-osterby.yaml"
NEW = "observations/2026/11/2026-11-25T0700-m-osterby.yaml"


@pytest.fixture(scope="module")
def order(tmp_path_factory) -> Order:
    """The example with the visits of a few weeks, exported once; tests put back what they alter."""
    top = tmp_path_factory.mktemp("roll-up")
    made = Order(
        root=copy_example(top / "quillmere", since="2026-11"),
        ident="quillmere",
        out=top / "sites",
        now=datetime.now(UTC),  # noqa: TID251  held against the times of real files
        day=EXAMPLE_DAY,
    )
    assert not is_current(made)
    assert renew(made).fault == ""
    return made


def files_of(folder: Path) -> dict[str, int]:
    """Each file with its inode: a file that was kept is the same one."""
    return {str(p.relative_to(folder)): p.stat().st_ino for p in folder.rglob("*.parquet")}


def visit(order: Order, path: str) -> Path:
    place = order.root / path
    place.parent.mkdir(parents=True, exist_ok=True)
    at = Path(path).stem[:13] + ":" + Path(path).stem[13:15]
    place.write_text(
        f"at: {at}\nby: m-osterby\nentries:\n  - {{stop: vehicle, stopped_minutes: 4}}\n"
    )
    return place


def test_every_table_lies_there_with_the_site_in_each_row(order):
    ledger = open_site(order.root, order.day).ledger
    for table in flat_tables(ledger, EXAMPLE_DAY)[:-1]:
        parts = [pq.ParquetFile(path).read() for path in order.folder.rglob(f"{table.name}.parquet")]  # fmt: skip
        assert sum(part.num_rows for part in parts) == len(table.rows)
        for part in parts:
            assert part.column_names == ["site", *(column.name for column in table.columns)]
            assert set(part["site"].to_pylist()) <= {"quillmere"}
    (row,) = pq.ParquetFile(order.folder / "site.parquet").read().to_pylist()
    assert (row["zone"], row["as_of"], row["schema_version"]) == (ledger.site.zone.key, EXAMPLE_DAY, TABLES_VERSION)  # fmt: skip


def test_a_year_holds_what_happened_at_the_site_in_it(order):
    """By the local day: a night in December is not moved into January by its time in UTC."""
    found = duckdb.sql(
        f"SELECT DISTINCT year, year(day) FROM read_parquet('{order.out}/site=*/year=*/entries.parquet')"
    ).fetchall()
    assert {2025, 2026} <= {year for year, _ in found}
    assert all(int(year) == of_day for year, of_day in found)


def test_unchanged_is_known_by_a_look_at_the_files(order):
    assert is_current(order)
    before = files_of(order.folder)
    assert (renew(order).written, files_of(order.folder)) == ((), before)
    assert not is_current(replace(order, program="another"))
    assert not is_current(replace(order, without_people=True))
    (order.folder / "due.parquet").write_bytes(b"PAR1")
    assert not is_current(order)
    assert renew(order).written == ("due.parquet",)


@pytest.mark.parametrize(("path", "year", "other"), [(NEW, 2026, 2025), (LATE, 2025, 2026)])
def test_a_visit_rewrites_the_files_of_its_own_year(order, path, year, other):
    before = files_of(order.folder)
    place = visit(order, path)
    assert not is_current(order)
    written = renew(order).written
    assert {f"year={year}/visits.parquet", f"year={year}/entries.parquet"} <= set(written)
    assert not [one for one in written if one.startswith(f"year={other}/")]
    now = files_of(order.folder)
    assert {one for one in now if before.get(one) != now[one]} == set(written)
    place.unlink()
    assert renew(order).written == written


def test_a_fault_is_told_and_leaves_the_last_export(order):
    before = files_of(order.folder)
    place = order.root / "tasks/broken.yaml"
    place.write_text("title: [\n")
    assert renew(order).fault.startswith("tasks/broken.yaml:")
    assert files_of(order.folder) == before
    assert not is_current(order)
    place.unlink()


def test_a_renewal_that_fails_at_the_last_step_leaves_the_last_export(order, monkeypatch):
    before = files_of(order.folder)
    place = visit(order, NEW)

    def refuse(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(save, "_exchange", refuse)
    assert "No space left" in renew(order).fault
    assert files_of(order.folder) == before
    assert [one.name for one in order.out.iterdir()] == ["site=quillmere"]
    place.unlink()


def test_a_folder_of_somebody_else_is_left_alone(order, tmp_path):
    mine = tmp_path / "site=quillmere/notes.txt"
    mine.parent.mkdir()
    mine.write_text("mine")
    assert "was not made by this program" in renew(replace(order, out=tmp_path)).fault
    assert mine.read_text() == "mine"


def cells(order: Order) -> str:
    return "\n".join(
        str(value)
        for path in sorted(order.folder.rglob("*.parquet"))
        for column in pq.ParquetFile(path).read().columns
        for value in column.to_pylist()
    )


def test_people_can_be_left_out_and_are_by_default_where_the_site_says_so(order, tmp_path):
    people = open_site(order.root, order.day).ledger.site.people.values()
    asked = replace(order, out=tmp_path / "asked", without_people=True)
    assert "no key" in renew(asked).fault
    order = replace(order, people_key="a key")
    asked = replace(asked, people_key="a key")
    assert renew(asked).fault == ""
    told, named = cells(asked), cells(order)
    for person in people:
        for word in (person.ident, person.name, person.name.split()[-1], *person.emails):
            assert word not in told
    assert "m-osterby" in named
    # The same person has the same code, in a visit's id as in a column of people.
    codes = set(re.findall(r"person-[0-9a-f]{10}", told))
    ids = set(re.findall(r"\d{4}-\d\d-\d\dT\d{4}-(person-[0-9a-f]{10})", told))
    assert ids <= codes
    assert 1 < len(codes) <= len(people)
    # Nothing else has changed.
    pairs = zip(told.splitlines(), named.splitlines(), strict=True)
    assert all(one == other for one, other in pairs if "person-" not in one)

    # By another key there are others; nobody can work out those of this one from an id.
    assert is_current(asked)
    other = replace(asked, people_key="another")
    assert not is_current(other)
    assert renew(other).fault == ""
    assert codes.isdisjoint(re.findall(r"person-[0-9a-f]{10}", cells(other)))

    site = order.root / "site.yaml"
    text = site.read_text()
    assert not asks_for_codes(order.root)
    site.write_text(text + "group: {id: wash-7, people: codes}\n")
    assert site_id(order.root, order.out) == "wash-7"
    assert asks_for_codes(order.root)
    by_default = replace(order, out=tmp_path / "default")
    assert renew(by_default).fault == ""
    assert cells(by_default).replace("wash-7", "None") == told
    site.write_text(text)
    assert site_id(order.root, order.out) == "quillmere"


def test_a_manifest_of_other_tables_is_as_if_it_were_not_there(order, tmp_path):
    (tmp_path / "_manifest.json").write_text('{"tables_version": 0}')
    assert read_manifest(tmp_path) is None
    assert read_manifest(order.folder).day == "2026-11-25"


def test_a_site_that_cannot_be_read_keeps_the_id_of_its_last_export(order, tmp_path):
    shutil.copytree(order.folder, tmp_path / "site=wash-9")
    site = order.root / "site.yaml"
    text = site.read_text()
    site.write_text("name: [\n")
    assert site_id(order.root, tmp_path) == "wash-9"
    assert site_id(order.root, tmp_path / "none") == "quillmere"
    site.write_text(text)
