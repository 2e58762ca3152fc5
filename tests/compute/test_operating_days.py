"""Open days: weekdays less closures."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.meter import Closure, OperatingCalendar

DAYS = st.dates(date(2026, 1, 1), date(2026, 12, 31))
CLOSURES = st.lists(
    st.builds(
        lambda first, n: Closure(first=first, last=first + timedelta(days=n)),
        DAYS,
        st.integers(0, 20),
    ),
    max_size=5,
).map(tuple)
CALENDARS = st.builds(
    OperatingCalendar,
    open_weekdays=st.frozensets(st.integers(1, 7), min_size=1),
    closures=CLOSURES,
)


@given(CALENDARS, DAYS)
def test_a_day_is_open_by_its_weekday_and_by_no_closure(calendar, day):
    closed = any(closure.first <= day <= closure.last for closure in calendar.closures)
    assert calendar.is_open(day) is (day.isoweekday() in calendar.open_weekdays and not closed)


@given(CALENDARS, DAYS)
def test_the_last_open_day_is_open_and_none_lies_between(calendar, day):
    found = calendar.last_open_on_or_before(day)
    assert found is not None
    assert found <= day
    assert calendar.is_open(found)
    assert not any(
        calendar.is_open(found + timedelta(days=n)) for n in range(1, (day - found).days + 1)
    )


@given(CALENDARS, DAYS)
def test_the_next_open_day_is_open_and_none_lies_between(calendar, day):
    found = calendar.first_open_after(day)
    assert found is not None
    assert found > day
    assert calendar.is_open(found)
    assert not any(calendar.is_open(day + timedelta(days=n)) for n in range(1, (found - day).days))


def test_closed_to_the_ends_of_the_calendar():
    closed = OperatingCalendar(closures=(Closure(first=date.min, last=date.max),))
    assert closed.last_open_on_or_before(date(2026, 1, 1)) is None
    assert closed.first_open_after(date(2026, 1, 1)) is None


@pytest.mark.parametrize("weekdays", [frozenset(), frozenset({0}), frozenset({8})])
def test_a_site_is_open_on_some_weekday(weekdays):
    with pytest.raises(ValueError, match="open weekdays"):
        OperatingCalendar(open_weekdays=weekdays)


def test_a_closure_does_not_end_before_it_begins():
    with pytest.raises(ValueError, match="ends before it begins"):
        OperatingCalendar(closures=(Closure(first=date(2026, 1, 2), last=date(2026, 1, 1)),))
