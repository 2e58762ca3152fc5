from collections import Counter
from datetime import date

import pytest
from small_site import ELECTRIC, ledger_of, on, visit

from ledger.compute.schedule import Outcome
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.intime.found import Frequency, TaskGroup, in_time

TASK = {
    "title": "Look",
    "on": {"points": "motor"},
    "every": "1 week",
    "window": "1 day",
    "steps": ".",
}


def done(day):
    return visit(day, {"task": "look", "at": "brush/motor"})


def months(visits, as_of, *, task=TASK, machine=ELECTRIC) -> dict[date, Counter[Outcome]]:
    ledger = ledger_of(visits, tasks={"look": task}, machines={"brush": machine})
    (only,) = in_time(ledger, Schedule(ledger, on(as_of)), on(as_of))
    return dict(only.months)


def test_work_each_week_is_all_in_time():
    """The record begins on Monday 5 January 2026; due on the Mondays after it."""
    found = months([done(7 * week) for week in range(1, 7)], as_of=44)

    assert found == {
        date(2026, 1, 1): {Outcome.IN_WINDOW: 3},
        date(2026, 2, 1): {Outcome.IN_WINDOW: 3},
    }


def test_a_due_date_counts_in_the_month_it_falls_in_and_only_once_settled():
    """Due on 12 January, its window open until the 13th."""
    assert months([], as_of=8) == {}
    (missed_so_far,) = months([], as_of=10).values()
    assert missed_so_far == {Outcome.MISSED: 1}


def test_late_work_is_not_in_time():
    found = months([done(11)], as_of=12)

    assert found == {date(2026, 1, 1): {Outcome.LATE: 1}}


def test_nothing_is_due_after_a_machine_or_a_task_has_gone():
    gone = ELECTRIC | {"out_of_service": on(14).isoformat()}
    ended = TASK | {"ends": on(13).isoformat()}

    for found in (
        months([done(7)], as_of=60, machine=gone),
        months([done(7)], as_of=60, task=ended),
    ):
        assert sum(month.total() for month in found.values()) == 1


def only(task, machine=ELECTRIC):
    ledger = ledger_of([], tasks={"look": task}, machines={"brush": machine}, parts={"ep2": EP2})
    (found,) = in_time(ledger, Schedule(ledger, on(15)), on(15))
    return found


EP2 = {"name": "Grease", "kind": "consumable", "unit": "g"}


@pytest.mark.parametrize(
    ("task", "group"),
    [
        ({"basis": "law"}, TaskGroup.SAFETY),
        ({"safety": True}, TaskGroup.SAFETY),
        ({"on": {"points": "guard"}}, TaskGroup.SAFETY),
        ({"uses": {"ep2": "5 g"}, "basis": "maker"}, TaskGroup.LUBRICATION),
        ({"on": {"points": "fluid"}}, TaskGroup.LUBRICATION),
        ({"reads": ["speed"], "on": {"machines": ["side-brush"]}}, TaskGroup.SPEED),
        ({"basis": "maker"}, TaskGroup.MAKER),
        ({}, TaskGroup.OTHER),
    ],
    ids=["law", "its own word", "guard", "grease", "oil level", "speed", "maker", "none of these"],
)
def test_what_a_task_is_for(task, group):
    guarded = ELECTRIC | {
        "points": ELECTRIC["points"] | {"guard": {"kind": "guard"}, "oil": {"kind": "fluid"}}
    }

    assert only(TASK | task, guarded).group is group


@pytest.mark.parametrize(
    ("every", "often"),
    [
        ("1 day", Frequency.DAILY),
        ("1 week", Frequency.WEEKLY),
        ("1 month", Frequency.MONTHLY),
        ("1 year", Frequency.RARER),
    ],
)
def test_how_often_a_task_comes_round(every, often):
    task = {**TASK, "every": every}
    del task["window"]

    assert only(task).frequency is often


def test_each_due_date_that_nothing_answered_is_named():
    assert only(TASK).not_done == (on(7),)
