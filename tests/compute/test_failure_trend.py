"""Trend test and growth model against the reliability library, scipy and NIST."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from reliability.Datasets import system_growth
from reliability.Repairable_systems import ROCOF
from scipy import stats

from ledger.compute.numbers import NotEnoughData
from ledger.compute.reliability import (
    FailureTrend,
    GrowthModel,
    TrendTest,
    growth_model,
    laplace_test,
)

# NIST/SEMATECH e-Handbook 8.2.3.4: ten repair times of a watch of 1500 h (recalled, not read).
NIST_REPAIRS = [5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478]

watches = st.lists(st.floats(1, 999), min_size=4, max_size=30)


def laplace_of(times, **options) -> TrendTest:
    answer = laplace_test(times, **options)
    assert isinstance(answer, TrendTest)
    return answer


def growth_of(times, **options) -> GrowthModel:
    answer = growth_model(times, **options)
    assert isinstance(answer, GrowthModel)
    return answer


def test_growth_of_the_reliability_library_data():
    """reliability.Datasets.system_growth(): 22 failures, watch ended by the last."""
    model = growth_of(system_growth().failures, end_h=620)

    assert model.scale == pytest.approx(0.42394, abs=5e-6)
    assert model.shape == pytest.approx(0.61421, abs=5e-6)
    assert model.expected_failures(620) == pytest.approx(22)


def test_growth_of_the_nist_repairs():
    """The handbook's Military Handbook statistic 2 Σ ln(T/t) is 37.23 (recalled): 2n/β."""
    model = growth_of(NIST_REPAIRS, end_h=1500)

    assert 2 * model.failures / model.shape == pytest.approx(37.23, abs=5e-3)


@given(watches)
def test_growth_maximises_the_likelihood(times):
    model = growth_model(times, end_h=1000)
    # Failures all at the very end make a shape whose scale no float can hold.
    assume(isinstance(model, GrowthModel) and model.scale > 1e-250)

    def log_likelihood(scale, shape):
        rate = sum(math.log(scale * shape) + (shape - 1) * math.log(t) for t in times)
        return rate - scale * 1000**shape

    best = log_likelihood(model.scale, model.shape)
    for factor in (0.99, 1.01):
        assert log_likelihood(model.scale * factor, model.shape) < best + 1e-9 * abs(best)
        assert log_likelihood(model.scale, model.shape * factor) < best + 1e-9 * abs(best)


def test_current_mtbf_is_the_inverse_of_the_failure_rate():
    model = growth_of(NIST_REPAIRS, end_h=1500)
    rate = (model.expected_failures(1500.01) - model.expected_failures(1499.99)) / 0.02

    assert model.current_mtbf_h == pytest.approx(1 / rate, rel=1e-6)


def test_limits_of_the_shape_are_chi_square():
    model = growth_of(NIST_REPAIRS, end_h=1500)

    assert model.shape_lower == pytest.approx(model.shape * stats.chi2.ppf(0.025, 20) / 20)
    assert model.shape_upper == pytest.approx(model.shape * stats.chi2.ppf(0.975, 20) / 20)


def test_laplace_statistic_by_hand():
    """Mean of the ten times 568.3 h of 1500: (568.3/1500 - 1/2) · √120."""
    test = laplace_of(NIST_REPAIRS, end_h=1500)

    assert test.statistic == pytest.approx((568.3 / 1500 - 0.5) * math.sqrt(120))
    assert test.trend is FailureTrend.NONE_SHOWN


def test_laplace_statistic_is_the_reliability_librarys():
    times = system_growth().failures
    gaps = np.diff([0, *times])
    reference = ROCOF(gaps, test_end=700, print_results=False, show_plot=False)
    test = laplace_of(times, end_h=700)

    assert test.statistic == pytest.approx(reference.U, rel=1e-9)
    assert test.trend is FailureTrend.LENGTHENING


@pytest.mark.parametrize("count", [4, 6, 10])
@pytest.mark.parametrize("share", [0.15, 0.25, 0.35])
def test_laplace_p_is_nearly_exact_from_four_failures(count, share):
    """The sum of n uniform times has the Irwin-Hall distribution."""
    times = [share * 1000 + 0.1 * k for k in range(count)]
    exact = 2 * stats.irwinhall(count).cdf(sum(times) / 1000)

    assert laplace_of(times, end_h=1000).p_value == pytest.approx(exact, abs=0.015)


@given(watches)
def test_time_turned_round_turns_the_sign(times):
    forward = laplace_of(times, end_h=1000)
    backward = laplace_of([1000 - t for t in times], end_h=1000)

    assert forward.statistic == pytest.approx(-backward.statistic, abs=1e-9)


@given(watches, st.floats(0.01, 100))
def test_the_unit_of_time_does_not_matter(times, scale):
    scaled = [scale * t for t in times]

    assert laplace_of(scaled, end_h=1000 * scale).statistic == pytest.approx(
        laplace_of(times, end_h=1000).statistic, abs=1e-9
    )
    here, there = growth_model(times, end_h=1000), growth_model(scaled, end_h=1000 * scale)
    # Failures all but on the end of the watch have a scale that one unit of time cannot hold.
    if isinstance(here, GrowthModel) and isinstance(there, GrowthModel):
        assert there.shape == pytest.approx(here.shape)


@given(st.floats(0.3, 3), st.integers(10, 40))
def test_times_of_a_power_law_give_its_shape_back(shape, count):
    times = [1000 * ((k + 0.5) / count) ** (1 / shape) for k in range(count)]
    assume(times[0] > 0)

    assert growth_of(times, end_h=1000).shape == pytest.approx(shape, rel=0.1)


def test_crowding_at_the_end_is_wear():
    assert laplace_of([700, 800, 850, 900, 950, 990], end_h=1000).trend is FailureTrend.SHORTENING


def test_three_failures_are_enough_for_growth():
    """3/(ln 10 + ln 5 + ln 10/3), by hand."""
    found = growth_model([1, 2, 3], end_h=10)
    assert not isinstance(found, NotEnoughData)
    assert found.shape == pytest.approx(3 / math.log(10 * 5 * 10 / 3))


@pytest.mark.parametrize(
    ("ask", "have"),
    [
        (lambda: laplace_test([1, 2, 3], end_h=10), 3),
        (lambda: laplace_test([], end_h=10), 0),
        (lambda: growth_model([1, 2], end_h=10), 2),
        (lambda: growth_model([], end_h=10), 0),
        (lambda: growth_model([10, 10, 10], end_h=10), 0),
    ],
)
def test_too_few_failures(ask, have):
    answer = ask()

    assert isinstance(answer, NotEnoughData)
    assert answer.have == have


@pytest.mark.parametrize(
    "ask",
    [
        lambda: laplace_test([1, 2, 3, 11], end_h=10),
        lambda: laplace_test([-1, 2, 3, 4], end_h=10),
    ],
)
def test_questions_without_meaning_are_refused(ask):
    with pytest.raises(ValueError, match="expected"):
        ask()


def test_a_failure_before_anything_ran_shows_in_the_trend_and_lies_outside_the_growth_model():
    times = [100, 300, 350, 700]
    assert growth_of([0, *times], end_h=1000) == growth_of(times, end_h=1000)


def test_failures_all_but_on_the_end_of_the_watch_give_no_growth_model():
    answer = growth_model([999.999, 999.9999, 999.99999], end_h=1000)
    assert isinstance(answer, NotEnoughData)


@pytest.mark.parametrize(("share", "trend"), [(0.7826, "none"), (0.7832, "shown")])
def test_a_trend_is_told_from_five_percent_on(share, trend):
    """Four failures at one share of the watch: p is 0.0503 and 0.0497."""
    found = laplace_test([1000 * share + n / 1e6 for n in range(4)], end_h=1000)

    assert found.p_value == pytest.approx(0.05, abs=5e-4)
    assert (found.trend is FailureTrend.NONE_SHOWN) == (trend == "none")


@pytest.mark.parametrize(
    ("share", "trend"), [(0.79, FailureTrend.SHORTENING), (0.21, FailureTrend.LENGTHENING)]
)
def test_which_way_a_trend_goes_is_told(share, trend):
    """(0.79 - 0.5) √48 = 2.009 either way."""
    found = laplace_test([1000 * share] * 4, end_h=1000)

    assert abs(found.statistic) == pytest.approx(2.009, abs=5e-4)
    assert found.trend is trend


def test_a_shape_whose_scale_no_double_holds_gives_no_growth_model():
    """Shape 5/(5 · 0.01) = 100, and (10^4 h)^100 is 10^400."""
    answer = growth_model([9900.498] * 5, end_h=10_000)
    assert isinstance(answer, NotEnoughData)
    assert answer.have == 0
