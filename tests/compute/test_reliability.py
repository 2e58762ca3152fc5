"""MTBF limits and availability against published values and scipy."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from ledger.compute.reliability import (
    availability,
    chance_of_so_many,
    mean_time_between_failures,
)

positive = st.floats(1e-3, 1e6)


def test_five_failures_in_ten_thousand_hours():
    """Chi-square limits by scipy: 20000/21.026 and 20000/3.940."""
    mtbf = mean_time_between_failures(10_000, 5)

    assert mtbf.estimate_h == 2000
    assert mtbf.lower_h == pytest.approx(951.2, abs=0.05)
    assert mtbf.upper_h == pytest.approx(5075.8, abs=0.05)


@given(positive, st.integers(1, 200), st.floats(0.5, 0.99))
def test_limits_are_scipys(hours, failures, level):
    mtbf = mean_time_between_failures(hours, failures, level=level)
    dof = 2 * failures + 2
    tail = (1 - level) / 2

    assert mtbf.lower_h == pytest.approx(2 * hours / stats.chi2.isf(tail, dof), rel=1e-9)
    assert mtbf.upper_h == pytest.approx(2 * hours / stats.chi2.ppf(tail, 2 * failures), rel=1e-9)
    assert mtbf.lower_h < mtbf.estimate_h < mtbf.upper_h


def test_no_failure_gives_a_lower_limit_only():
    """The old rule: with no failure at 95 %, MTBF is above hours over 2.996 (= -ln 0.05)."""
    mtbf = mean_time_between_failures(3000, 0, level=0.95)

    assert mtbf.estimate_h is None
    assert mtbf.lower_h == pytest.approx(3000 / -math.log(0.05))
    assert math.isinf(mtbf.upper_h)


@given(positive, st.integers(0, 100), st.floats(0.5, 0.9))
def test_more_failures_and_more_confidence_lower_the_lower_limit(hours, failures, level):
    here = mean_time_between_failures(hours, failures, level=level)

    assert mean_time_between_failures(hours, failures + 1, level=level).lower_h < here.lower_h
    assert mean_time_between_failures(hours, failures, level=level + 0.05).lower_h < here.lower_h
    assert mean_time_between_failures(2 * hours, failures, level=level).lower_h == pytest.approx(
        2 * here.lower_h
    )


# K. S. Trivedi, Probability and Statistics, 2nd edition, example 10.27, prints for a watch that a
# failure ended 0.9624 to 1 and 0.9975 to 0.9996 at 95 %; with 2n + 2 for one that a date ended
# the limits were worked out with scipy.
@pytest.mark.parametrize(
    ("required", "stops", "level", "estimate", "lower", "upper"),
    [
        pytest.param(10_000, [1.0] * 10, 0.9, 0.999, 0.9976913, 0.9995290, id="ten-even-stops"),
        pytest.param(
            1500, [0.6, 1.5, 4.8, 0.9, 2.2], 0.9, 0.9933333, 0.9770776, 0.9977516, id="five-stops"
        ),
        pytest.param(3800, [4.8333], 0.9, 0.9987281, 0.9532678, 0.9999330, id="one-stop"),
    ],
)
def test_availability_and_its_limits(required, stops, level, estimate, lower, upper):
    found = availability(required, stops, level=level)

    assert found.estimate == pytest.approx(estimate, abs=5e-8)
    assert found.lower == pytest.approx(lower, abs=5e-8)
    assert found.upper == pytest.approx(upper, abs=5e-8)
    assert (found.stops, found.down_h) == (len(stops), pytest.approx(sum(stops)))
    assert found.up_h == pytest.approx(required - sum(stops))


def test_the_upper_limit_is_that_of_a_watch_a_failure_ended():
    """Trivedi's upper limits, which both kinds of watch share: 0.99997 and 0.9996."""
    assert availability(1000, [1.0], level=0.95).upper == pytest.approx(0.999974, abs=1e-6)
    assert availability(10_000, [1.0] * 10, level=0.95).upper == pytest.approx(0.9995940, abs=5e-8)


def test_limits_are_those_of_the_f_distribution():
    stops = [0.5, 1.0, 6.0]
    found = availability(500, stops, level=0.8)
    cv = np.std(stops, ddof=1) / np.mean(stops)
    repairs, ratio = 6 / cv**2, 7.5 / 492.5

    assert cv > 1
    assert 1 / found.lower - 1 == pytest.approx(ratio * 4 / 3 / stats.f.ppf(0.1, repairs, 8))
    assert 1 / found.upper - 1 == pytest.approx(ratio / stats.f.ppf(0.9, repairs, 6))


def test_even_repairs_count_as_exponential_ones():
    even, mixed = (availability(500, stops) for stops in ([2.0, 2.0], [1.0, 3.0]))

    assert even.lower == pytest.approx(mixed.lower)


def test_without_a_stop_only_the_mean_time_up_is_bounded():
    """1500 h over -ln(0.1): 651.44 h."""
    found = availability(1500, [])

    assert (found.estimate, found.lower, found.upper) == (None, None, None)
    assert found.mean_up_lower_h == pytest.approx(651.44, abs=5e-3)
    assert availability(1500, [500]).mean_up_lower_h == pytest.approx(
        2 * 1000 / stats.chi2.ppf(0.9, 4)
    )


@given(st.lists(st.floats(0.1, 20), min_size=1, max_size=12), st.floats(1.1, 5))
def test_availability_does_not_depend_on_the_unit_and_lies_in_its_limits(stops, factor):
    here = availability(1000, stops)
    other = availability(1000 * factor, [factor * stop for stop in stops])

    assert other.lower == pytest.approx(here.lower)
    assert here.lower < here.estimate < here.upper < 1


@pytest.mark.parametrize(
    "ask",
    [
        lambda: mean_time_between_failures(0, 1),
        lambda: mean_time_between_failures(math.inf, 1),
        lambda: mean_time_between_failures(10, -1),
        lambda: mean_time_between_failures(10, 1, level=1),
        lambda: availability(0, []),
        lambda: availability(10, [0]),
        lambda: availability(10, [math.nan]),
        lambda: availability(10, [5, 5]),
        lambda: availability(10, [1], level=1),
    ],
)
def test_questions_without_meaning_are_refused(ask):
    with pytest.raises(ValueError, match="expected"):
        ask()


@pytest.mark.parametrize(
    ("here", "elsewhere", "share"), [(2, 1, 0.5), (1, 4, 0.2), (3, 0, 0.1), (2, 5, 1.0)]
)
def test_the_chance_of_so_many_at_one_place_is_binomial(here, elsewhere, share):
    expected = stats.binom.sf(here - 1, here + elsewhere, share)
    assert chance_of_so_many(here, elsewhere, share=share) == pytest.approx(expected)


def test_a_machine_that_ran_for_half_a_minute_was_available():
    assert availability(1, [0.995]).estimate == pytest.approx(0.005)
