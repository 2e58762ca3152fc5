"""Days in an order that cannot be are asked about, for such work is never due and never missed."""

from datetime import date

import pytest
import small_site

from ledger.files.document import Document
from ledger.rules.rules import CHECKS
from ledger.rules.site_check import SiteCheck
from ledger.rules.times import order_warnings
from ledger.site.pipeline import load

SITE_PEOPLE = {
    "a-holt": {"name": "A. Holt", "roles": ["technician"], "from": "2026-03-01", "until": "2026-02-01"},
    "b-marsh": {"name": "B. Marsh", "roles": ["lead"], "approves": ["setpoints"], "from": "2026-02-01", "until": "2026-02-01"},
}  # fmt: skip
GREASING = {"title": "Grease", "on": {"points": "rotating-bearing"}, "every": "1 week"}


def warned(files: dict[str, object]) -> list[tuple[str, str, int]]:
    every = {"site.yaml": small_site.SITE, "equipment/brush.yaml": small_site.ELECTRIC} | files
    loaded = load(small_site._Files(every))
    assert not loaded.has_errors, loaded.diagnostics
    assert loaded.ledger is not None
    documents: dict[str, Document] = dict(loaded.documents)
    check = SiteCheck(ledger=loaded.ledger, documents=documents, as_of=date(2026, 6, 1))
    order_warnings(check)
    return [(one.rule, one.position.path, one.position.column) for one in check.problems.kept()]


def test_what_ends_before_it_begins_is_asked_about_in_each_kind_of_file():
    brush = small_site.ELECTRIC | {"in_service": "2026-05-01", "out_of_service": "2026-01-31"}
    task = GREASING | {"starts": "2026-05-01", "ends": "2026-04-30"}
    setting = small_site.setpoint(0, 44, proposed_on="2026-02-02", approved_on="2026-02-01")
    found = warned(
        {
            "site.yaml": small_site.SITE | {"people": SITE_PEOPLE},
            "equipment/brush.yaml": brush,
            "tasks/greasing.yaml": task,
            "setpoints/brush.yaml": [setting],
        }
    )
    assert [(rule, path) for rule, path, _ in found] == [
        ("ends-before-start", "equipment/brush.yaml"),
        ("ends-before-start", "tasks/greasing.yaml"),
        ("ends-before-start", "site.yaml"),
        ("ends-before-start", "setpoints/brush.yaml"),
    ]
    assert all(column > 1 for _, _, column in found)


def test_periods_out_of_service_that_cannot_be_are_asked_about():
    periods = [
        {"from": "2025-12-01", "to": "2026-01-31"},
        {"from": "2026-03-01", "to": "2026-02-01"},
        {"from": "2026-04-01"},
        {"from": "2026-05-01", "to": "2026-05-31"},
    ]
    found = warned({"equipment/brush.yaml": small_site.ELECTRIC | {"out_of_service": periods}})
    assert [rule for rule, _, _ in found] == [
        "ends-before-start",
        "ends-before-start",
        "periods-overlap",
    ]
    assert warned({"equipment/brush.yaml": small_site.ELECTRIC | {"out_of_service": [
        {"from": "2026-02-01", "to": "2026-02-02"}, {"from": "2026-02-03"},
    ]}}) == []  # fmt: skip


def test_a_finding_closed_by_a_visit_before_it_is_asked_about():
    found = small_site.visit(8, {"finding": "no grease goes in", "at": "brush/bearing-top"})
    early = small_site.visit(7, {"closes": "2026-01-13T1000-a-holt#1", "at": "brush"})
    late = small_site.visit(9, {"closes": "2026-01-13T1000-a-holt#1", "at": "brush"})
    home = "observations/2026/01/2026-01-{}T1000-a-holt.yaml"
    assert warned({home.format(13): found, home.format(14): late}) == []
    assert [rule for rule, _, _ in warned({home.format(13): found, home.format(12): early})] == [
        "closed-before-found"
    ]


def test_the_check_of_a_site_asks():
    assert order_warnings in CHECKS


@pytest.mark.parametrize(
    ("every", "dates", "warnings"),
    [
        ({"rule": "FREQ=WEEKLY;BYDAY=MO"}, {}, 0),
        ({"rule": "FREQ=WEEKLY;UNTIL=20251231"}, {}, 1),
        (["1 month", {"rule": "FREQ=WEEKLY;UNTIL=20251231"}], {}, 1),
        ({"rule": "FREQ=WEEKLY;UNTIL=20260301"}, {"starts": "2026-03-02"}, 1),
        ({"rule": "FREQ=WEEKLY;UNTIL=20260302"}, {"starts": "2026-03-02"}, 0),
        ({"rule": "FREQ=MONTHLY;BYMONTHDAY=15"}, {"starts": "2026-03-02", "ends": "2026-03-14"}, 1),
        ({"rule": "FREQ=MONTHLY;BYMONTHDAY=15"}, {"starts": "2026-03-02", "ends": "2026-03-15"}, 0),
        ({"rule": "FREQ=YEARLY;INTERVAL=4;BYMONTH=2;BYMONTHDAY=29"}, {"starts": "2026-03-02"}, 1),
        ({"rule": "FREQ=YEARLY;INTERVAL=4;BYMONTH=2;BYMONTHDAY=29"}, {"starts": "2028-01-03"}, 0),
        ("1 month", {}, 0),
    ],
    ids=[
        "comes-due", "until-before-service", "one-of-two", "until-before-starts", "until-the-first-day",
        "ends-before-it-comes", "ends-on-its-day", "years-that-never-meet-it", "years-that-do", "no-rule",
    ],
)  # fmt: skip
def test_a_rule_that_gives_no_day_from_where_it_counts_is_asked_about(every, dates, warnings):
    found = warned({"tasks/greasing.yaml": GREASING | {"every": every} | dates})
    assert [(rule, path) for rule, path, _ in found] == [
        ("never-due", "tasks/greasing.yaml") for _ in range(warnings)
    ]
