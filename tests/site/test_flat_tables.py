"""What the exported tables say, before any form is given to them."""

import re
import sqlite3
from contextlib import closing

import pytest
from example import EXAMPLE_DAY, example_ledger
from small_site import ledger_of, on, setpoint

from ledger.book.flat_forms import render_sqlite
from ledger.site.tables import VIEWS, flat_tables
from ledger.upkeep.drift.found import drift
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.grease.found import lubrication
from ledger.upkeep.intime.found import in_time
from ledger.upkeep.speeds.found import speed_results
from ledger.upkeep.tuning.found import tunings
from ledger.upkeep.wear.found import wear


def rows_of(name, ledger, day):
    (found,) = [table for table in flat_tables(ledger, day) if table.name == name]
    names = [column.name for column in found.columns]
    return [dict(zip(names, row, strict=True)) for row in found.rows]


def test_an_approval_that_does_not_count_says_so_beside_its_name():
    """Whoever counts the rows with an approver would take the claim for an approval."""
    changes = [setpoint(0, 44), setpoint(2, 45, approved_by="a-holt"), setpoint(3, 46)]
    rows = rows_of("setpoints", ledger_of(setpoints=changes), on(5))
    told = [(row["approved_by"], row["does_not_count"], row["in_force"]) for row in rows]
    assert told == [
        ("b-marsh", None, False),
        ("a-holt", "self-approved may-not-approve", False),
        ("b-marsh", None, True),
    ]


RESERVED = set(
    """abort action add after all alter always analyze and as asc attach autoincrement before begin
    between by cascade case cast check collate column commit conflict constraint create cross current
    current_date current_time current_timestamp database default deferrable deferred delete desc
    detach distinct do drop each else end escape except exclude exclusive exists explain fail filter
    first following for foreign from full generated glob group groups having if ignore immediate in
    index indexed initially inner insert instead intersect into is isnull join key last left like
    limit match materialized natural no not nothing notnull null nulls of offset on or order others
    outer over partition plan pragma preceding primary query raise range recursive references regexp
    reindex release rename replace restrict returning right rollback row rows savepoint select set
    table temp temporary then ties to transaction trigger unbounded union unique update using vacuum
    values view virtual when where window with without""".split()
)
"""SQLite documentation, "SQLite Keywords" (sqlite.org/lang_keywords.html)."""


@pytest.fixture(scope="module")
def tables():
    return flat_tables(example_ledger(), EXAMPLE_DAY)


def test_no_column_has_to_be_quoted(tables):
    named = {column.name for one in tables for column in one.columns} | {one.name for one in tables}
    assert named & RESERVED == set()
    assert all(re.fullmatch("[a-z][a-z0-9_]*", name) for name in named)


def test_a_database_has_keys_indexes_and_views(tables):
    with closing(sqlite3.connect(":memory:")) as database:
        database.deserialize(render_sqlite(tables, VIEWS))
        assert database.execute("PRAGMA foreign_key_check").fetchall() == []
        (number,) = database.execute(
            "SELECT count(*) FROM pragma_foreign_key_list('wear')"
        ).fetchone()
        assert number == 2
        plan = database.execute(
            "EXPLAIN QUERY PLAN SELECT * FROM readings WHERE entry = 'x'"
        ).fetchall()
        assert "readings_by_entry" in plan[0][3]
        for view in VIEWS:
            (rows,) = database.execute(f"SELECT count(*) FROM {view}").fetchone()
            assert rows, view
        with pytest.raises(sqlite3.IntegrityError):
            database.execute("INSERT INTO machines SELECT * FROM machines LIMIT 1")


def test_the_reports_stand_in_tables(tables):
    """One row for each thing of the report, with the numbers that its page is made of."""
    rows = {one.name: [dict(zip([c.name for c in one.columns], row, strict=True)) for row in one.rows] for one in tables}  # fmt: skip
    ledger = example_ledger()
    results = speed_results(ledger)
    for tuning in tunings(ledger, results):
        for at in tuning.rates:
            (row,) = [r for r in rows["recommendations"] if (r["machine"], r["line_rate_per_h"]) == (tuning.machine.ident, at.line_rate_per_h)]  # fmt: skip
            assert (row["setting"], row["band_low_rpm"]) == (at.recommended.setting, at.band.low)
    drifting = drift(ledger, results).results
    assert [row["signals"] for row in rows["drift"]] == [len(one.signals) for one in drifting]
    assert [row["place"] for row in rows["grease"]] == [str(p.place) for p in lubrication(ledger)]
    needing = {str(item.place) for item in wear(ledger).items if item.needs_work}
    assert {row["place"] for row in rows["wear"] if row["needs_work"]} == needing
    missed = sum(row["not_done"] for row in rows["obligations"])
    kept = in_time(ledger, Schedule(ledger, EXAMPLE_DAY), EXAMPLE_DAY)
    assert missed == sum(len(one.not_done) for one in kept) > 0
