"""A machine that leaves and comes back: what is due, in time, counted and asked of it meanwhile."""

from collections import Counter

import pytest
from small_site import ELECTRIC, LOOK, ledger_of, on, visit

from ledger.compute.schedule import Outcome, State
from ledger.model.machines import Absence
from ledger.model.meters import Watches
from ledger.model.references import Place
from ledger.site.tables import flat_tables
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.intime.found import in_time

MOTOR = Place("brush", "motor")
TASK = {"title": "Look", "on": {"ids": ["brush/motor"]}, "every": "1 week", "window": "1 day"}


def away(*spans):
    """The brush, out of service from the first day of each span to its last."""
    names = ("from", "to")
    periods = [
        {name: on(day).isoformat() for name, day in zip(names, span, strict=False)}
        for span in spans
    ]
    return ELECTRIC | {"out_of_service": periods}


def with_brush(machine, *visits, **rest):
    return ledger_of(visits, tasks={"look": TASK}, machines={"brush": machine}, **rest)


def looked(day):
    return visit(day, {"task": "look", "at": "brush/motor"})


def due_on(ledger, day):
    (work,) = Schedule(ledger, on(day)).all_due()
    return work.due


def test_a_period_may_have_an_end_and_a_single_day_has_none():
    back = with_brush(away((10, 19), (30,))).machines["brush"]
    assert back.absences == (Absence(first=on(10), last=on(19)), Absence(first=on(30)))
    assert [day for day in range(40) if not back.in_use(on(day))] == [*range(10, 20), *range(30, 40)]  # fmt: skip
    assert back.out_of_service == on(30)
    gone = with_brush(ELECTRIC | {"out_of_service": on(10).isoformat()}).machines["brush"]
    assert gone.absences == (Absence(first=on(10)),)


def test_nothing_is_due_while_it_is_away():
    ledger = with_brush(away((8, 30)), looked(7))
    assert Schedule(ledger, on(20)).all_due() == ()


@pytest.mark.parametrize(
    ("as_of", "state", "overdue_days"),
    [(31, State.IN_WINDOW, 0), (32, State.IN_WINDOW, 0), (33, State.OVERDUE, 1)],
)
def test_what_came_due_meanwhile_is_due_on_the_day_it_comes_back(as_of, state, overdue_days):
    due = due_on(with_brush(away((8, 20), (21, 30)), looked(7)), as_of)
    assert (due.due_on, due.state, due.overdue_days) == (on(31), state, overdue_days)


def test_what_was_overdue_when_it_left_is_overdue_still():
    due = due_on(with_brush(away((20, 30)), looked(7)), 31)
    assert (due.due_on, due.state) == (on(14), State.OVERDUE)


def test_work_after_it_came_back_counts_on():
    assert due_on(with_brush(away((8, 30)), looked(7), looked(31)), 32).due_on == on(38)


def test_due_dates_while_it_was_away_are_no_part_of_the_share_in_time():
    """Due on days 7, 14, 21, 28 and 35; the windows of 14 and 21 close while it is away."""
    ledger = with_brush(away((10, 25)), looked(7), looked(28), looked(35))
    (only,) = in_time(ledger, Schedule(ledger, on(40)), on(40))
    assert sum(only.months.values(), Counter()) == {Outcome.IN_WINDOW: 3}
    always = with_brush(ELECTRIC, looked(7), looked(28), looked(35))
    (only,) = in_time(always, Schedule(always, on(40)), on(40))
    assert sum(month.total() for month in only.months.values()) == 5


def test_it_did_not_run_while_it_was_away():
    meter = [visit(d, LOOK, meters={"conveyor_hours": 10 * d}) for d in (0, 100)]

    def watch_of(machine):
        ledger = with_brush(machine, *meter)
        return Watches(ledger).of(ledger.machines["brush"])

    watch = watch_of(away((20, 39)))
    assert watch.hours == pytest.approx(watch_of(ELECTRIC).hours - 200)
    assert watch.hours_at(on(39)) == pytest.approx(200)
    assert watch.hours_at(on(60)) == pytest.approx(405)
    assert [watch.holds(on(day)) for day in (19, 20, 39, 40)] == [True, False, False, True]


def test_work_that_names_no_place_is_not_done_on_it_while_it_is_away():
    either = {"task": "look"}
    ledger = with_brush(away((10, 19)), visit(9, either), visit(10, either), visit(20, either))
    assert [entry.places for entry in ledger.entries] == [(MOTOR,), (), (MOTOR,)]


def test_the_export_has_the_periods():
    ledger = with_brush(away((10, 19), (25, 26), (30,)))
    (machines,) = [table for table in flat_tables(ledger, on(5)) if table.name == "machines"]
    row = dict(zip([column.name for column in machines.columns], machines.rows[0], strict=True))
    assert row["out_of_service"] == on(30)
    assert row["away"] == "2026-01-15/2026-01-24 2026-01-30/2026-01-31"
