from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_site import ELECTRIC, ledger_of, visit

from ledger.compute.numbers import NotEnoughData
from ledger.compute.reliability import IntervalEffect, IntervalValue
from ledger.upkeep.reliability.tasks import service_spans, task_values

NOON = datetime(2026, 1, 5, 12, tzinfo=UTC)
BOTTOM = "brush/bearing-bottom"


def after(*days):
    return [NOON + timedelta(days=day) for day in days]


def test_a_span_runs_from_a_service_to_the_next_and_the_last_to_the_end():
    spans = service_spans(after(0, 7, 14), after(3, 8, 9, 20), *after(20))

    assert [(span.days, span.failure_days) for span in spans] == [
        (7, (3,)),
        (7, (1, 2)),
        (6, (6,)),
    ]


def test_a_failure_before_the_first_service_is_in_no_span():
    (span,) = service_spans(after(5), after(1), *after(10))

    assert (span.days, span.failure_days) == (5, ())


def test_a_failure_at_the_time_of_a_service_came_after_it():
    first, second = service_spans(after(0, 7), after(7), *after(10))

    assert (first.failure_days, second.failure_days) == ((), (0,))


@given(
    st.lists(st.floats(0, 300), max_size=12),
    st.lists(st.floats(0, 300), max_size=12),
    st.floats(301, 400),
)
def test_spans_fill_the_time_since_the_first_service(services, failures, end):
    spans = service_spans(after(*services), after(*failures), *after(end))

    assert (spans == ()) == (not services)
    if services:
        first, last = after(min(services), end)
        assert sum(span.days for span in spans) == pytest.approx((last - first) / timedelta(days=1))
        held = sum(len(span.failure_days) for span in spans)
        assert held == sum(moment >= first for moment in after(*failures))


def record(failing_on, *, every="1 week", weeks=40):
    """A bearing greased each Monday at six, that fails so many days after some of them."""
    visits = [
        visit(7 * week, {"task": "grease", "at": BOTTOM}, time="06:00") for week in range(weeks)
    ]
    visits += [
        visit(7 * week + days, {"finding": "Seized.", "at": BOTTOM, "failed": True}, time="06:30")
        for week, days in failing_on
    ]
    task = {
        "title": "Grease",
        "on": {"points": "rotating-bearing"},
        "every": every,
        "steps": "Grease.",
    }
    return ledger_of(visits, tasks={"grease": task}, machines={"brush": ELECTRIC})


def test_failures_late_in_the_interval_speak_for_a_shorter_one():
    (value,) = task_values(record([(week, 6) for week in range(1, 9)]))

    assert (value.task.ident, value.interval_days, value.from_record) == ("grease", 7, False)
    assert isinstance(value.value, IntervalValue)
    assert (value.value.early_failures, value.value.late_failures) == (0, 8)
    assert value.value.effect is IntervalEffect.LATE


def test_failures_right_after_the_service_accuse_the_service():
    (value,) = task_values(record([(week, 0) for week in range(1, 9)]))

    assert isinstance(value.value, IntervalValue)
    assert value.value.effect is IntervalEffect.EARLY


def test_a_few_failures_are_not_enough():
    (value,) = task_values(record([(1, 6), (2, 6)]))

    assert isinstance(value.value, NotEnoughData)
    assert len(value.failures) == 2


def test_the_plan_and_how_it_was_done_are_two_things():
    """A yearly rule has its 365 days, however often it was done."""
    (value,) = task_values(record([(1, 6)], every={"rule": "FREQ=YEARLY;BYMONTH=2;BYDAY=2MO"}))

    assert value.interval_days == pytest.approx(365.25, abs=1.5)
    assert (value.done_days, value.from_record) == (7, False)


def test_done_once_tells_no_days_between():
    (value,) = task_values(record([(0, 6)], weeks=1))

    assert value.done_days is None


def test_an_interval_by_a_meter_is_taken_from_the_record():
    (value,) = task_values(record([(1, 6)], every={"vehicles": 8000}))

    assert (value.interval_days, value.from_record) == (7, True)


def test_a_task_at_whose_places_nothing_failed_is_left_out():
    assert task_values(record([])) == ()


def test_a_task_never_done_has_nothing_to_count_from():
    (value,) = task_values(record([(1, 6)], weeks=0))

    assert isinstance(value.value, NotEnoughData)
    assert value.spans == 0
