"""Control limits against the NIST/SEMATECH e-Handbook, section 6.3.2."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.control_chart import (
    Baseline,
    ewma,
    ewma_limits,
    ewma_variance,
    individuals_baseline,
    individuals_limits,
    moving_range_limits,
)
from ledger.compute.not_enough_data import NotEnoughData

NIST_6_3_2_2 = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
values = st.lists(st.floats(-1e3, 1e3), min_size=8, max_size=30)


def baseline_of(readings) -> Baseline:
    baseline = individuals_baseline(readings)
    assert isinstance(baseline, Baseline)
    return baseline


def test_individuals_limits_of_the_handbook():
    """NIST/SEMATECH 6.3.2.2."""
    baseline = baseline_of(NIST_6_3_2_2)
    limits = individuals_limits(baseline)

    assert baseline.centre == pytest.approx(50.81, abs=5e-5)
    assert baseline.mean_moving_range == pytest.approx(1.8778, abs=5e-5)
    assert limits.upper == pytest.approx(55.8041, abs=5e-5)
    assert limits.lower == pytest.approx(45.8159, abs=5e-5)


def test_moving_range_limits_follow_the_factor_for_two():
    limits = moving_range_limits(baseline_of(NIST_6_3_2_2))

    assert limits.lower == 0
    assert limits.centre == pytest.approx(16.9 / 9)
    assert limits.upper == pytest.approx(3.267 * 16.9 / 9)


def test_ewma_limits_of_the_handbook():
    """NIST/SEMATECH 6.3.2.4; the lower limit is printed as 47.4115, exact 47.41157."""
    limits = ewma_limits(centre=50, sigma=2.0539, weight=0.3)

    assert limits.upper == pytest.approx(52.5884, abs=5e-5)
    assert limits.lower == pytest.approx(47.41157, abs=5e-6)


def test_ewma_of_the_handbook():
    """NIST/SEMATECH 6.3.2.4: the data 52.0 47.0 53.0 49.3 begin at 50 (recalled, not read)."""
    averages = ewma([52.0, 47.0, 53.0, 49.3], start=50, weight=0.3)

    assert averages == pytest.approx([50.60, 49.52, 50.56, 50.18], abs=5e-3)


def test_seven_readings_are_no_baseline():
    answer = individuals_baseline(NIST_6_3_2_2[:7])

    assert isinstance(answer, NotEnoughData)
    assert answer.text.startswith("not enough data: 7 baseline readings, needs 8")


@given(values, st.floats(0.1, 100), st.floats(-1e3, 1e3))
def test_limits_move_and_stretch_with_the_unit(readings, scale, shift):
    plain = individuals_limits(baseline_of(readings))
    moved = individuals_limits(baseline_of([scale * v + shift for v in readings]))

    assert moved.upper == pytest.approx(scale * plain.upper + shift, rel=1e-9, abs=1e-6)
    assert moved.lower == pytest.approx(scale * plain.lower + shift, rel=1e-9, abs=1e-6)


@given(st.floats(0.01, 1), st.integers(1, 50))
def test_ewma_limits_widen_to_the_settled_ones(weight, after):
    now = ewma_variance(weight=weight, after=after)

    assert now <= ewma_variance(weight=weight, after=after + 1) <= ewma_variance(weight=weight)
    assert ewma_variance(weight=weight, after=10_000) == pytest.approx(ewma_variance(weight=weight))
    assert ewma_variance(weight=weight, after=1) == pytest.approx(weight**2)


@given(values)
def test_ewma_of_full_weight_is_the_readings(readings):
    assert ewma(readings, start=0.0, weight=1.0) == tuple(readings)


@given(values, st.floats(0.01, 1), st.floats(-1e3, 1e3))
def test_ewma_stays_between_the_extremes(readings, weight, start):
    low, high = min(*readings, start), max(*readings, start)

    assert all(low - 1e-9 <= a <= high + 1e-9 for a in ewma(readings, start=start, weight=weight))


@pytest.mark.parametrize("weight", [0.0, -0.1, 1.01, float("nan")])
def test_a_weight_outside_its_range_is_refused(weight):
    with pytest.raises(ValueError, match="weight"):
        ewma_limits(centre=0, sigma=1, weight=weight)


def test_limits_after_no_reading_are_refused():
    with pytest.raises(ValueError, match="1 reading"):
        ewma_variance(weight=0.2, after=0)
