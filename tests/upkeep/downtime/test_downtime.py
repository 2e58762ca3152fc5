"""Stops by cause, months of them, and the owner's page."""

import pytest
from example import EXAMPLE_DAY, example_ledger, example_pages
from small_site import LOOK, SITE, ledger_of, on, visit

from ledger.book import terminal
from ledger.model.visits import STOP_CAUSES
from ledger.upkeep.downtime.found import cost_per_h, months, stops

FAILED = {"finding": "Seized.", "at": "brush/motor", "failed": True, "stopped_minutes": 30}
JAMMED = {"stop": "vehicle", "stopped_minutes": 12}
NO_WATER = {"stop": "supply", "stopped_minutes": 45, "at": "low"}


def test_a_stop_has_its_cause_whether_or_not_a_part_failed():
    ledger = ledger_of([visit(1, FAILED, JAMMED), visit(2, NO_WATER, LOOK)])
    assert [(one.cause, one.minutes, one.machine) for one in stops(ledger)] == [
        ("machine", 30, "brush"),
        ("vehicle", 12, ""),
        ("supply", 45, "low"),
    ]


def test_a_month_of_stops_and_the_share_in_which_the_line_could_run():
    """310 min in 28 days of 11.2 h: 98.35 %, a worked example. The small site opens 20 x 10 h."""
    read = [visit(d, LOOK, time="06:00", meters={"vehicles": 100 * d}) for d in (0, 27, 55)]
    planned = {"stop": "planned", "stopped_minutes": 60}
    ledger = ledger_of(
        [*read, visit(30, JAMMED), visit(31, FAILED, planned), visit(60, NO_WATER)],
        site={"costs": {"currency": "EUR", "down_per_h": 600}},
    )
    (february,) = months(ledger)
    assert february.first.isoformat() == "2026-02-01"
    assert (february.vehicles, february.open_h) == (2800, 200)
    told = {"machine": 30, "vehicle": 12, "planned": 60}
    assert february.stopped == dict.fromkeys(STOP_CAUSES, 0) | told
    assert february.available == pytest.approx(1 - 102 / 60 / 200)
    assert february.cost == pytest.approx((420, 420))
    assert pytest.approx(0.9835, abs=5e-5) == 1 - 310 / 60 / (11.2 * 28)


def test_a_machine_tied_back_is_down_while_the_line_runs():
    """By opening hours, 08:00 to 18:00 on weekdays, from its being tied back to the closing entry.

    Tied back from Friday 16:00 to Tuesday 10:00: 2 + 10 + 2 h; a second time meanwhile adds nothing.
    What is still open counts to the end of the month.
    """
    tied = {"tied_back": "Bent.", "at": "brush", "since": f"{on(32)}T16:00"}
    torn, low = ({"tied_back": "Torn.", "at": at} for at in ("brush", "low"))
    closing = [{"closes": f"{on(32)}T{at}-a-holt#1"} for at in ("1630", "1700")]
    ledger = ledger_of(
        [
            *(visit(day, LOOK, time="06:00") for day in (0, 86)),
            visit(32, tied, time="16:30"),
            visit(32, torn, time="17:00"),
            visit(36, *closing),
            visit(52, low),
        ]
    )
    march, february = months(ledger)
    assert (february.tied_back, march.tied_back) == ({"brush": 14, "low": 18}, {"low": 220})
    assert (february.stopped_minutes, february.available) == (0, 1)


def test_the_cost_of_an_hour():
    def costs(**told):
        return cost_per_h(ledger_of([], site={"costs": {"currency": "EUR", **told}}))

    assert costs() is None
    assert costs(down_per_h=480, margin_per_vehicle=8) == (480, 480)
    assert costs(margin_per_vehicle=8) == pytest.approx((0, 880))
    assert costs(margin_per_vehicle=8, leave_percent=[25, 50]) == pytest.approx((220, 440))
    assert SITE["line"]["line_rate_per_h"] == 110


def test_the_owners_page_of_the_example():
    page = terminal.render(example_pages(EXAMPLE_DAY)["months.md"])
    october = next(line for line in page.splitlines() if line.startswith("2026-10"))
    told = next(one for one in months(example_ledger()) if one.first.isoformat() == "2026-10-01")
    assert f"{told.vehicles:,.0f}" in october
    assert all(told.stopped[cause] for cause in ("machine", "vehicle"))
    assert "To decide first" in page
