"""Readings with a day, an uncertainty of their own and what they share."""

import math

import pytest

from ledger.compute.shared import Shared
from ledger.compute.trend import TimedReading


def reading(day, value, uncertainty) -> TimedReading:
    return TimedReading(day=day, value=value, standard_uncertainty=uncertainty)


@pytest.mark.parametrize(
    "numbers",
    [(math.nan, 1, 1), (1, math.inf, 1), (1, 1, 0), (1, 1, -2), (1, 1, math.nan), (1, 1, math.inf)],
)
def test_numbers_that_are_none_are_refused(numbers):
    with pytest.raises(ValueError, match="expected"):
        reading(*numbers)


@pytest.mark.parametrize("step", [-0.1, math.nan, math.inf])
def test_a_step_that_is_none_is_refused(step):
    with pytest.raises(ValueError, match="step"):
        TimedReading(day=1, value=1, standard_uncertainty=1, step=step)


def test_the_uncertainty_of_one_reading_holds_what_it_shares():
    shared = (Shared(key="tachometer", u=2.0), Shared(key="m-osterby", u=2.0))
    one = TimedReading(day=1, value=80, standard_uncertainty=1.0, shared=shared)

    assert one.total_u == pytest.approx(3)
