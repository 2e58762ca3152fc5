"""Work is asked for from the day the record begins; what is remembered counts, with its doubt."""

from datetime import date

import pytest
from small_site import ELECTRIC, SITE, ledger_of, on, visit

from ledger.book import markdown
from ledger.compute.schedule import Outcome, State
from ledger.model.references import Place
from ledger.model.tasks import remembered
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.due.page import due_page
from ledger.upkeep.intime.found import in_time

GREASE = {"title": "Grease", "on": {"points": "rotating-bearing"}, "every": "1 week", "steps": "."}
STOPS = GREASE | {"title": "Test the stops", "on": {"machines": "side-brush"}, "basis": "law"}
TOP, WHOLE = Place("brush", "bearing-top"), Place("brush")


def ledger(visits=(), **tasks):
    """A tunnel ten years older than its record, which begins on the first day."""
    site = {"in_service": "2016-01-04", "record_begins": SITE["in_service"]}
    return ledger_of(
        visits, tasks=tasks or {"grease": GREASE}, site=site, machines={"brush": ELECTRIC}
    )


def due(found, task, place, day):
    return Schedule(found, on(day)).due(found.tasks[task], place)


def outcomes(found, task, day):
    (one,) = [o for o in in_time(found, Schedule(found, on(day)), on(day)) if o.task.ident == task]
    return sum(one.months.values(), start=type(next(iter(one.months.values()), {}))())


def test_an_old_tunnel_owes_nothing_from_before_its_record():
    found = ledger()

    assert due(found, "grease", TOP, 0).due.due_on == on(7)
    assert outcomes(found, "grease", 9) == {Outcome.MISSED: 2}


def test_what_is_remembered_is_due_by_its_first_day_and_late_only_by_its_last():
    """The record begins on a Monday; "the week before" was that week's Monday, or its Sunday."""
    found = ledger(grease=GREASE | {"last_done": [{"when": "2026-W01"}]})

    work = due(found, "grease", TOP, 0)

    assert (work.due.due_on, work.due.state) == (on(0), State.IN_WINDOW)
    assert not work.is_never_on_record
    # From Sunday a week is Sunday: closed, so Friday.
    assert due(found, "grease", TOP, 4).due.state is State.IN_WINDOW
    assert due(found, "grease", TOP, 5).due.overdue_days == 1
    assert outcomes(found, "grease", 5) == {Outcome.MISSED: 2}
    page = markdown.render(due_page(found, Schedule(found, on(0)).all_due(), (), on(0)))
    assert "last done between 2025-12-29 and 2026-01-04, as remembered" in page


def test_work_due_before_the_record_is_overdue_and_only_what_fell_due_since_is_counted():
    found = ledger(
        [visit(3, {"task": "grease", "at": "brush"})],
        grease=GREASE | {"last_done": [{"when": "2025-12-01"}]},
    )

    assert due(ledger(grease=GREASE | {"last_done": [{"when": "2025-12-01"}]}), "grease", TOP, 2).due.state is State.OVERDUE  # fmt: skip
    # Two places, each due on day 0 and done on day 3, before the next on day 7.
    assert outcomes(found, "grease", 9) == {Outcome.LATE: 2}


def test_a_later_line_holds_at_the_places_it_names():
    lines = [{"when": "2026-01-03"}, {"when": "never", "at": ["brush/bearing-top"]}]
    found = ledger(grease=GREASE | {"last_done": lines})

    assert due(found, "grease", TOP, 0).is_never_on_record
    assert due(found, "grease", Place("brush", "bearing-bottom"), 0).due.due_on == on(
        4
    )  # closed on Saturdays


def test_safety_tasks_that_nobody_can_date_are_due_on_the_first_day_and_no_other():
    found = ledger(grease=GREASE, stops=STOPS)

    assert due(found, "stops", WHOLE, 0).due.state is State.IN_WINDOW
    assert due(found, "stops", WHOLE, 1).due.state is State.OVERDUE
    assert due(found, "grease", TOP, 0).due.state is State.NOT_DUE
    assert outcomes(found, "stops", 8) == {Outcome.MISSED: 2}


def test_a_safety_task_done_on_the_first_day_is_in_time_and_rolls_from_there():
    found = ledger([visit(0, {"task": "stops", "at": "brush"})], stops=STOPS)

    assert due(found, "stops", WHOLE, 0).due.due_on == on(7)
    assert outcomes(found, "stops", 6) == {Outcome.IN_WINDOW: 1}


def test_a_remembered_safety_task_is_not_due_at_once():
    found = ledger(stops=STOPS | {"last_done": [{"when": "2026-01-03"}]})

    assert due(found, "stops", WHOLE, 0).due.due_on == on(4)  # closed on Saturdays


def test_what_is_never_on_record_has_a_place_of_its_own():
    lines = [{"when": "never", "at": ["brush/bearing-top"]}]
    found = ledger(grease=GREASE | {"last_done": lines})

    page = markdown.render(due_page(found, Schedule(found, on(0)).all_due(), (), on(0)))

    table = page.split("## Never on record")[1].split("## ")[0]
    assert "| [Grease](tasks/grease.md) | Side brush | 1 |  | 2026-01-12 |" in table
    assert "| [Grease](tasks/grease.md) | Side brush | 1 | never | 2026-01-12 |" in table


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        ("2024", date(2024, 1, 1), date(2024, 12, 31)),
        ("2024-02", date(2024, 2, 1), date(2024, 2, 29)),
        ("2025-12", date(2025, 12, 1), date(2025, 12, 31)),
        # ISO 8601: the week of the year's first Thursday is the first.
        ("2026-W01", date(2025, 12, 29), date(2026, 1, 4)),
        ("2026-11-20", date(2026, 11, 20), date(2026, 11, 20)),
        ("never", None, None),
    ],
)
def test_a_time_leaves_open_the_days_that_it_can_mean(text, first, last):
    assert (remembered(text).first, remembered(text).last) == (first, last)


@pytest.mark.parametrize(
    ("changes", "task", "message"),
    [
        ({"record_begins": "2015-01-01"}, {}, "the record begins on 2015-01-01, before the site"),
        (
            {},
            {"last_done": [{"when": "2026-02"}]},
            "`2026-02` is not a time before the record began",
        ),
        ({}, {"last_done": [{"when": "2025-02-30"}]}, "`2025-02-30` is not a time before"),
        ({}, {"last_done": [{"when": "2026-W01", "at": ["brsh"]}]}, "there is no machine `brsh`"),
    ],
)
def test_an_answer_that_cannot_be_is_an_error(changes, task, message):
    with pytest.raises(AssertionError, match=message):
        ledger_of(tasks={"grease": GREASE | task}, site={"in_service": "2016-01-04", "record_begins": "2026-01-05"} | changes, machines={"brush": ELECTRIC})  # fmt: skip
