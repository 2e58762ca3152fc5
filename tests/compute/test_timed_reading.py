"""Readings with a day and an uncertainty, and those of one day joined."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.trend import TimedReading, one_a_day


def reading(day, value, uncertainty) -> TimedReading:
    return TimedReading(day=day, value=value, standard_uncertainty=uncertainty)


@pytest.mark.parametrize(
    "numbers",
    [(math.nan, 1, 1), (1, math.inf, 1), (1, 1, 0), (1, 1, -2), (1, 1, math.nan), (1, 1, math.inf)],
)
def test_numbers_that_are_none_are_refused(numbers):
    with pytest.raises(ValueError, match="expected"):
        reading(*numbers)


def test_two_readings_of_a_day_become_their_weighted_mean():
    joined = one_a_day([reading(2, 80, 2), reading(1, 70, 1), reading(2, 75, 1)])

    assert joined[0] == reading(1, 70, 1)
    assert joined[1].value == pytest.approx(76)
    assert joined[1].standard_uncertainty == pytest.approx(math.sqrt(0.8))


@given(st.lists(st.tuples(st.integers(0, 5), st.floats(-9, 9), st.floats(0.1, 9)), max_size=20))
def test_days_rise_and_no_day_is_lost(rows):
    joined = one_a_day([reading(*row) for row in rows])

    assert [r.day for r in joined] == sorted({day for day, _, _ in rows})
