"""Tapped passes: least squares, and the repair of missed and doubled taps."""

import random
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from ledger.compute.speed import from_taps, slope_factor, u_of_taps


def tapped(period_s, count, *, jitter_s=0.03, seed=1):
    source = random.Random(seed)
    return [round(0.4 + k * period_s + source.gauss(0, jitter_s), 3) for k in range(count)]


@pytest.mark.parametrize(
    ("taps", "factor"),
    [
        pytest.param(5, 0.316228, id="√(12/(m(m²-1))), m = 5"),
        pytest.param(10, 0.110096, id="√(12/(m(m²-1))), m = 10"),
        pytest.param(20, 0.0387783, id="√(12/(m(m²-1))), m = 20"),
    ],
)
def test_the_factor_of_the_slope(taps, factor):
    assert slope_factor(taps) == pytest.approx(factor, rel=5e-6)


def test_a_clean_row_of_taps_is_the_line_of_scipy():
    times = tapped(0.75, 20)
    line = stats.linregress(range(20), times)
    reading = from_taps(times)
    assert reading.speed.rpm == pytest.approx(60 / line.slope)
    assert reading.speed.u_rpm == pytest.approx(60 * line.stderr / line.slope**2)
    assert reading.speed.dof == 18
    assert (reading.kept, reading.missed, reading.doubled) == (20, 0, 0)


def test_missed_taps_are_numbered_over():
    times = tapped(0.75, 20)
    gone = [time for k, time in enumerate(times) if k not in {4, 5, 11}]
    line = stats.linregress([k for k in range(20) if k not in {4, 5, 11}], gone)
    reading = from_taps(gone)
    assert (reading.kept, reading.missed, reading.doubled) == (17, 3, 0)
    assert reading.speed.rpm == pytest.approx(60 / line.slope)
    assert reading.speed.u_rpm == pytest.approx(60 * line.stderr / line.slope**2)


def test_doubled_taps_are_left_out():
    times = tapped(0.75, 20)
    bounced = sorted([*times, times[3] + 0.09, times[12] + 0.2])
    clean, repaired = from_taps(times), from_taps(bounced)
    assert (repaired.kept, repaired.missed, repaired.doubled) == (20, 0, 2)
    assert repaired.speed == clean.speed


def test_marks_per_turn_divide_the_speed():
    times = tapped(0.4, 24)
    one, two = from_taps(times), from_taps(times, passes_per_turn=2)
    assert two.speed.rpm == pytest.approx(one.speed.rpm / 2)
    assert two.speed.u_rpm == pytest.approx(one.speed.u_rpm / 2)


def test_perfect_taps_are_not_perfectly_certain():
    reading = from_taps([0.8 * k for k in range(10)])
    assert reading.speed.rpm == pytest.approx(75)
    assert reading.jitter_s == pytest.approx(0.01 / 12**0.5)
    assert reading.speed.u_rpm > 0


@given(
    st.floats(0.3, 3),
    st.integers(12, 40),
    st.integers(0, 10_000),
    st.data(),
)
def test_repairs_are_found_again(period_s, count, seed, data):
    """One missed and one doubled tap anywhere inside are counted, and the speed stays put."""
    times = tapped(period_s, count, jitter_s=0.03 * period_s, seed=seed)
    lost = data.draw(st.integers(1, count - 2))
    bounced = data.draw(st.integers(0, count - 1).filter(lambda k: k != lost))
    row = [time for k, time in enumerate(times) if k != lost]
    row = sorted([*row, times[bounced] + 0.2 * period_s])
    reading = from_taps(row)
    assert (reading.kept, reading.missed, reading.doubled) == (count - 1, 1, 1)
    assert reading.speed.rpm == pytest.approx(60 / period_s, rel=0.03)


@given(st.floats(-100, 100), st.floats(0.1, 10))
def test_shifting_the_clock_changes_nothing_and_stretching_it_scales(shift, stretch):
    times = tapped(0.8, 15)
    reading = from_taps(times, clock_resolution_s=0)
    moved = from_taps([shift + stretch * time for time in times], clock_resolution_s=0)
    assert moved.speed.rpm * stretch == pytest.approx(reading.speed.rpm, rel=1e-9)
    assert moved.speed.u_rpm * stretch == pytest.approx(reading.speed.u_rpm, rel=1e-6)


def test_monte_carlo_coverage_of_few_taps():
    """With 8 taps the t factor keeps its 95.45 %, where k = 2 would fall short."""
    source = random.Random(99)
    inside_t = inside_2 = 0
    ratio = []
    for _ in range(3000):
        times = [k * 0.8 + source.gauss(0, 0.05) for k in range(8)]
        speed = from_taps(times).speed
        error = abs(speed.rpm - 75)
        inside_t += error <= speed.expanded()
        inside_2 += error <= 2 * speed.u_rpm
        ratio.append((speed.rpm - 75) / u_of_taps(75, 8, jitter_s=0.05))
    assert inside_t / 3000 == pytest.approx(0.9545, abs=0.012)
    assert inside_2 / 3000 < 0.93
    assert statistics.pstdev(ratio) == pytest.approx(1, abs=0.04)


@pytest.mark.parametrize(
    ("times", "words"),
    [
        ([0, 1, 2, 3], "only 4 taps: tap at least 5"),
        ([0, 0.1, 1, 1.1, 2, 3], "only 4 separate taps"),
        ([0, 1, 1, 2, 3], "rise from each to the next"),
        ([0, 1, 2, float("nan"), 4], "finite number of seconds"),
        ([0, 1, 2, 3, 9, 10], "a pause of 6.0 s"),
        ([0, 1, 3, 4, 6, 7], "2 missed and 0 doubled taps out of 6: tap again"),
        ([0, 0.6, 1.2, 1.8, 2.8, 4.2, 5.6, 7.0], "scatter by"),
    ],
)
def test_taps_that_tell_no_speed_are_refused_with_what_to_do(times, words):
    with pytest.raises(ValueError, match=words):
        from_taps(times)


def test_marks_and_number_of_taps_are_checked():
    with pytest.raises(ValueError, match="passes_per_turn"):
        from_taps(tapped(0.8, 10), passes_per_turn=0)
    with pytest.raises(ValueError, match="at least 5 taps"):
        u_of_taps(75, 4, jitter_s=0.05)
