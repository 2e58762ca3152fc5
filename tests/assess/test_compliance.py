from datetime import date

from small_site import ELECTRIC, ledger_of, on, visit

from ledger.assess.compliance import MonthOfTask, compliance
from ledger.assess.due import Schedule
from ledger.compute.schedule import Outcome

TASK = {
    "title": "Look",
    "on": {"points": "motor"},
    "every": "1 week",
    "window": "1 day",
    "steps": ".",
}


def done(day):
    return visit(day, {"task": "look", "at": "brush/motor"})


def months(visits, as_of, *, task=TASK, machine=ELECTRIC) -> dict[date, MonthOfTask]:
    ledger = ledger_of(visits, tasks={"look": task}, machines={"brush": machine})
    (only,) = compliance(ledger, Schedule(ledger, on(as_of)), on(as_of))
    return dict(only.months)


def test_work_each_week_is_all_in_time():
    """The record begins on Monday 5 January 2026; due on the Mondays after it."""
    found = months([done(7 * week) for week in range(1, 7)], as_of=44)

    assert found == {
        date(2026, 1, 1): MonthOfTask(outcomes={Outcome.IN_WINDOW: 3}),
        date(2026, 2, 1): MonthOfTask(outcomes={Outcome.IN_WINDOW: 3}),
    }


def test_a_due_date_counts_in_the_month_it_falls_in_and_only_once_settled():
    """Due on 12 January, its window open until the 13th."""
    assert months([], as_of=8) == {}
    (missed_so_far,) = months([], as_of=10).values()
    assert missed_so_far.in_time == 0
    assert missed_so_far.settled == 1


def test_late_work_is_not_in_time():
    found = months([done(11)], as_of=12)

    assert found == {date(2026, 1, 1): MonthOfTask(outcomes={Outcome.LATE: 1})}


def test_nothing_is_due_after_a_machine_or_a_task_has_gone():
    gone = ELECTRIC | {"out_of_service": on(14).isoformat()}
    ended = TASK | {"ends": on(13).isoformat()}

    for found in (
        months([done(7)], as_of=60, machine=gone),
        months([done(7)], as_of=60, task=ended),
    ):
        assert sum(month.settled for month in found.values()) == 1


def test_a_month_s_share_is_of_what_settled():
    month = MonthOfTask(outcomes={Outcome.IN_WINDOW: 3, Outcome.MISSED: 1})

    assert (month.in_time, month.settled) == (3, 4)
