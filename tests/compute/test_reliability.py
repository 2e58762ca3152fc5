"""MTBF limits and availability against published values and scipy."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from ledger.compute.numbers import NotEnoughData
from ledger.compute.reliability import (
    MeanTimeBetweenFailures,
    Termination,
    availability,
    mean_time_between_failures,
)

positive = st.floats(1e-3, 1e6)


def mtbf_of(hours, failures, **options) -> MeanTimeBetweenFailures:
    answer = mean_time_between_failures(hours, failures, **options)
    assert isinstance(answer, MeanTimeBetweenFailures)
    return answer


def test_five_failures_in_ten_thousand_hours():
    """Chi-square limits by scipy: 20000/21.026 and 20000/3.940."""
    mtbf = mtbf_of(10_000, 5, level=0.90)

    assert mtbf.estimate_h == 2000
    assert mtbf.lower_h == pytest.approx(951.2, abs=0.05)
    assert mtbf.upper_h == pytest.approx(5075.8, abs=0.05)


@given(positive, st.integers(1, 200), st.floats(0.5, 0.99), st.sampled_from(Termination))
def test_limits_are_scipys(hours, failures, level, termination):
    mtbf = mtbf_of(hours, failures, level=level, termination=termination)
    dof = 2 * failures + (2 if termination is Termination.TIME else 0)
    tail = (1 - level) / 2

    assert mtbf.lower_h == pytest.approx(2 * hours / stats.chi2.isf(tail, dof), rel=1e-9)
    assert mtbf.upper_h == pytest.approx(2 * hours / stats.chi2.ppf(tail, 2 * failures), rel=1e-9)
    assert mtbf.lower_h < mtbf.estimate_h < mtbf.upper_h


def test_no_failure_gives_a_lower_limit_only():
    """The old rule: with no failure at 95 %, MTBF is above hours over 2.996 (= -ln 0.05)."""
    mtbf = mtbf_of(3000, 0, level=0.95)

    assert mtbf.estimate_h is None
    assert mtbf.lower_h == pytest.approx(3000 / -math.log(0.05))
    assert math.isinf(mtbf.upper_h)


def test_no_failure_cannot_have_ended_a_watch():
    answer = mean_time_between_failures(3000, 0, termination=Termination.FAILURE)

    assert isinstance(answer, NotEnoughData)


@given(positive, st.integers(0, 100), st.floats(0.5, 0.9))
def test_more_failures_and_more_confidence_lower_the_lower_limit(hours, failures, level):
    here = mtbf_of(hours, failures, level=level)

    assert mtbf_of(hours, failures + 1, level=level).lower_h < here.lower_h
    assert mtbf_of(hours, failures, level=level + 0.05).lower_h < here.lower_h
    assert mtbf_of(2 * hours, failures, level=level).lower_h == pytest.approx(2 * here.lower_h)


def test_availability_of_200_and_4():
    assert availability(mtbf_h=200, mttr_h=4) == pytest.approx(0.980392, abs=5e-7)


@given(positive, positive, st.floats(1.01, 100))
def test_availability_is_a_share_that_falls_with_repair_time(mtbf, mttr, factor):
    here = availability(mtbf_h=mtbf, mttr_h=mttr)

    assert 0 < here < 1
    assert availability(mtbf_h=mtbf, mttr_h=factor * mttr) <= here
    assert availability(mtbf_h=factor * mtbf, mttr_h=factor * mttr) == pytest.approx(here)


def test_availability_at_its_ends():
    assert availability(mtbf_h=200, mttr_h=0) == 1
    assert availability(mtbf_h=math.inf, mttr_h=4) == 1


@pytest.mark.parametrize(
    "ask",
    [
        lambda: mean_time_between_failures(0, 1),
        lambda: mean_time_between_failures(math.inf, 1),
        lambda: mean_time_between_failures(10, -1),
        lambda: mean_time_between_failures(10, 1, level=1),
        lambda: availability(mtbf_h=0, mttr_h=1),
        lambda: availability(mtbf_h=1, mttr_h=-1),
        lambda: availability(mtbf_h=1, mttr_h=math.nan),
    ],
)
def test_questions_without_meaning_are_refused(ask):
    with pytest.raises(ValueError, match="expected"):
        ask()
