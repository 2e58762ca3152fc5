"""Tapped passes: least squares, and the repair of missed and doubled taps."""

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from ledger.compute.speed import OWN_BEAT, from_taps, slope_factor, u_of_taps


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
    times = tapped(0.75, 40)
    line = stats.linregress(range(40), times)
    reading = from_taps(times)
    assert reading.speed.rpm == pytest.approx(60 / line.slope)
    white_u = 60 * line.stderr / line.slope**2
    assert reading.speed.u_rpm == pytest.approx(reading.wander * white_u)
    assert 1 <= reading.speed.dof <= 38
    assert (reading.kept, reading.missed, reading.doubled) == (40, 0, 0)


@pytest.mark.parametrize(
    ("count", "jitter_s"),
    [
        pytest.param(12, 0.03, id="a finger is not taken to be steadier than fingers are"),
        pytest.param(29, 0.12, id="up to 29 taps"),
    ],
)
def test_a_short_row_is_no_surer_than_its_first_tap_and_its_last(count, jitter_s):
    """U(P) = 1.96 √2 s/(m - 1), worked by hand: a rhythm of the finger's own would not show."""
    reading = from_taps(tapped(1.5, count, jitter_s=jitter_s, seed=2))
    by_ends_s = 1.96 * 2**0.5 * max(0.07, reading.jitter_s) / (count - 1)
    assert reading.speed.expanded() == pytest.approx(by_ends_s * reading.speed.rpm**2 / 60)
    assert reading.doubt == ""


@pytest.mark.parametrize(
    ("taps", "jitter_s", "u_period_s"),
    [
        pytest.param(20, 0.05, 1.96 * 2**0.5 * 0.07 / 19 / 2, id="by the first tap and the last"),
        pytest.param(29, 0.10, 1.96 * 2**0.5 * 0.10 / 28 / 2, id="up to 29 taps"),
        pytest.param(30, 0.05, 0.05 * 0.02109357, id="√(12/(m(m²-1))), m = 30"),
    ],
)
def test_what_a_row_of_taps_will_tell(taps, jitter_s, u_period_s):
    """80 r/min have a period of 0.75 s, and u(n) = n u(P)/P."""
    told = u_of_taps(80, taps, jitter_s=jitter_s)
    assert told == pytest.approx(80 * u_period_s / 0.75, rel=1e-6)


def test_missed_taps_are_numbered_over():
    times = tapped(0.75, 40, seed=4)
    gone = [time for k, time in enumerate(times) if k not in {4, 5, 11}]
    line = stats.linregress([k for k in range(40) if k not in {4, 5, 11}], gone)
    reading = from_taps(gone)
    assert (reading.kept, reading.missed, reading.doubled) == (37, 3, 0)
    assert reading.speed.rpm == pytest.approx(60 / line.slope)
    assert reading.speed.u_rpm == pytest.approx(reading.wander * 60 * line.stderr / line.slope**2)


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
    times = tapped(0.8, 35, seed=5)
    reading = from_taps(times, clock_resolution_s=0)
    moved = from_taps([shift + stretch * time for time in times], clock_resolution_s=0)
    assert moved.speed.rpm * stretch == pytest.approx(reading.speed.rpm, rel=1e-9)
    assert moved.speed.u_rpm * stretch == pytest.approx(reading.speed.u_rpm, rel=1e-6)


def test_taps_that_are_even_by_a_clock_without_steps_have_no_scatter():
    reading = from_taps([0.5 * k for k in range(8)], clock_resolution_s=0)
    assert (reading.speed.rpm, reading.speed.u_rpm) == (pytest.approx(120), 0)


TOGETHER = [
    *(0.02, 0.80, 1.55, 2.27, 2.99, 3.70, 4.42, 5.15, 5.91, 6.68),
    *(7.44, 8.19, 8.93, 9.66, 10.39, 11.13, 11.88, 12.65, 13.43, 14.19),
]


def test_taps_that_go_together_against_statsmodels():
    """Period and scatter of statsmodels' line; factor and dof by numpy (V = rho^|i-j|)."""
    reading = from_taps(TOGETHER)
    assert 60 / reading.speed.rpm == pytest.approx(0.7430827068, rel=1e-9)
    assert reading.jitter_s == pytest.approx(0.0356374110, rel=1e-8)
    assert reading.wander == pytest.approx(4.3337, abs=5e-5)
    assert reading.speed.u_rpm == pytest.approx(0.6508, abs=5e-5)
    # 5.0164 effective degrees of freedom, cut (GUM G.4.1).
    assert (reading.speed.dof, reading.own_beat) == (5, True)
    assert reading.doubt == OWN_BEAT


def test_few_taps_are_only_about_right():
    even = [0.0, 0.81, 1.59, 2.4, 3.22, 3.99, 4.8, 5.61, 6.38, 7.2]
    assert "fewer than 10 taps" in from_taps(even[:9]).doubt
    assert from_taps(even).doubt == ""


def coverage(draw, rows=2000, count=20):
    inside = 0
    for _ in range(rows):
        speed = from_taps([k * 0.83 + error for k, error in enumerate(draw(count))]).speed
        inside += abs(speed.rpm - 60 / 0.83) <= speed.expanded()
    return inside / rows


def test_the_stated_uncertainty_holds_whether_taps_go_together_or_not():
    """95.45 % is stated, and more held by few taps, whose rhythm would not show."""
    source = random.Random(99)

    def together(count, rho=0.5):
        errors = [source.gauss(0, 0.05)]
        for _ in range(count - 1):
            errors.append(rho * errors[-1] + source.gauss(0, 0.05 * (1 - rho**2) ** 0.5))
        return errors

    def apart(count):
        return [source.gauss(0, 0.05) for _ in range(count)]

    assert 0.945 < coverage(apart, count=30) < 0.985
    assert coverage(apart) > 0.985
    assert coverage(together) > 0.95
    assert coverage(together, count=30) > 0.92


def test_whole_seconds_are_doubted_and_refused_where_they_tell_nothing():
    fine, coarse = from_taps([k * 7.5 for k in range(8)]), from_taps([0, 7, 15, 22, 30, 37, 45, 52])
    assert coarse.speed.rpm == pytest.approx(fine.speed.rpm, rel=0.01)
    assert coarse.jitter_s == pytest.approx(max(1 / 12**0.5, coarse.jitter_s))
    assert "whole seconds" in coarse.doubt
    assert "whole seconds" not in fine.doubt
    with pytest.raises(ValueError, match=r"whole seconds are too coarse for a pass every 1.00 s"):
        from_taps(range(9))


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


@pytest.mark.parametrize(("gap", "missed"), [(1.497, 0), (1.503, 1)])
def test_a_gap_holds_a_missed_tap_from_one_and_a_half_passes_on(gap, missed):
    times = [0.75 * k for k in range(20)]

    assert from_taps([*times, times[-1] + 0.75 * gap]).missed == missed


def test_one_repair_in_four_taps_is_borne_and_one_more_is_not():
    assert from_taps([0.75 * k for k in (0, 1, 3, 4, 5, 7, 8, 9)]).missed == 2
    with pytest.raises(ValueError, match="26 missed and 0 doubled taps out of 103"):
        from_taps([0.75 * k for k in range(129) if k % 5 != 2])


def test_taps_may_scatter_by_a_quarter_of_a_pass():
    """Alternately early and late by a: of 21 taps s is a √((21 - 1/21)/19)."""

    def row(share):
        late = share * 0.75 / math.sqrt((21 - 1 / 21) / 19)
        return [0.75 * k + late * (-1) ** k for k in range(21)]

    assert from_taps(row(0.2485)).jitter_s == pytest.approx(0.2485 * 0.75)
    with pytest.raises(ValueError, match="scatter by"):
        from_taps(row(0.2515))


@pytest.mark.parametrize(("gap", "doubled"), [(0.497, 1), (0.503, 0)])
def test_a_tap_is_a_doubled_one_up_to_half_a_pass_after_the_last(gap, doubled):
    times = [0.75 * k for k in range(20)]

    assert from_taps([*times, times[-1] + 0.75 * gap]).doubled == doubled
