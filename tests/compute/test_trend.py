"""The robust slope against scipy, published data and its own promises."""

import math
import random
import statistics

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from ledger.compute.numbers import NotEnoughData
from ledger.compute.trend import (
    RobustSlope,
    TimedReading,
    _weighted_variance,
    robust_slope,
    weighted_quantile,
)

WEARING = [9.2, 8.9, 9.4, 9.1, 8.7, 8.8, 8.5, 8.6, 8.2, 8.4]

records = st.lists(
    st.tuples(st.integers(0, 400), st.integers(-100, 100), st.sampled_from([0.5, 1.0, 3.0])),
    min_size=5,
    max_size=14,
    unique_by=lambda r: r[0],
)


def readings_of(rows) -> list[TimedReading]:
    return [TimedReading(day=d, value=v, standard_uncertainty=u) for d, v, u in rows]


def slope_of(rows, level=0.95) -> RobustSlope:
    slope = robust_slope(readings_of(rows), level=level)
    assert isinstance(slope, RobustSlope)
    return slope


def test_slope_of_ten_wearing_readings():
    """Checked with scipy.stats.theilslopes and pymannkendall.original_test."""
    slope = slope_of([(day, value, 0.2) for day, value in enumerate(WEARING)])

    assert slope.slope == pytest.approx(-0.1, abs=1e-12)
    assert (slope.lower, slope.upper) == pytest.approx((-0.18, -0.06), abs=1e-12)


@given(st.lists(st.integers(-100, 100), min_size=10, max_size=25, unique=True))
def test_equal_uncertainties_give_scipys_interval(values):
    slope = slope_of([(day, value, 1.0) for day, value in enumerate(values)])
    reference = stats.theilslopes(values, range(len(values)))

    assert slope.slope == pytest.approx(reference.slope)
    assert slope.lower == pytest.approx(reference.low_slope)
    assert slope.upper == pytest.approx(reference.high_slope)


def test_five_readings_give_the_extreme_slopes_as_bounds():
    """|S| = 8 of 10 pairs is within reach at 95 %, so only the outermost slopes are outside."""
    slope = slope_of([(0, 0, 1), (1, 1, 1), (2, 4, 1), (3, 9, 1), (4, 16, 1)])

    assert (slope.lower, slope.upper) == (1, 7)
    assert slope.p_value == pytest.approx(2 / 120)


def test_a_level_that_five_readings_cannot_give_leaves_the_slope_open():
    slope = slope_of([(day, day, 1.0) for day in range(5)], level=0.99)

    assert (slope.lower, slope.upper) == (-math.inf, math.inf)


@pytest.mark.parametrize("count", [5, 9, 10, 30])
def test_weighted_variance_becomes_kendalls_for_equal_uncertainties(count):
    """Kendall: n(n-1)(2n+5)/18, here times the squared weight of a pair, 1/2."""
    assert _weighted_variance([0] * count) == pytest.approx(
        count * (count - 1) * (2 * count + 5) / 36
    )


def test_weighted_variance_against_simulation():
    rng = random.Random(7)
    uncertainties = [1.0, 4.0, 1.0, 2.0, 0.5, 0.5, 3.0]
    classes = [round(math.log(u / 0.5) / math.log(1.05)) for u in uncertainties]
    squares = []
    for _ in range(20_000):
        values = [rng.gauss(0, u) for u in uncertainties]
        total = 0.0
        for i, (a, u) in enumerate(zip(values, uncertainties, strict=True)):
            for b, w in zip(values[i + 1 :], uncertainties[i + 1 :], strict=True):
                total += math.copysign(0.5 / math.hypot(u, w), b - a)
        squares.append(total**2)

    # Five per cent for the steps of the classes, four standard errors for chance.
    assert _weighted_variance(classes) == pytest.approx(
        sum(squares) / len(squares), rel=0.05 + 4 * math.sqrt(2 / len(squares))
    )


def test_interval_holds_the_true_slope_as_often_as_it_says():
    rng = random.Random(11)
    rounds, held = 1500, 0
    for _ in range(rounds):
        rows = []
        for _ in range(8):
            day, u = rng.uniform(0, 100), rng.choice([0.5, 1.0, 3.0])
            rows.append((day, 60 - 0.02 * day + rng.gauss(0, u), u))
        slope = slope_of(rows)
        held += slope.lower <= -0.02 <= slope.upper

    assert held / rounds == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / rounds))


def test_uncertain_readings_count_for_less():
    clean = [(day, 80 - 0.1 * day, 0.5) for day in range(0, 80, 10)]
    wild = [(day + 5, 80 + 0.5 * day, 30.0) for day in range(0, 80, 20)]

    assert slope_of(clean + wild).slope == pytest.approx(-0.1)


def test_one_wild_reading_hardly_moves_the_slope():
    rows = [(day, 80 - 0.1 * day, 0.5) for day in range(0, 120, 10)]
    rows[6] = (60, 20.0, 0.5)

    assert slope_of(rows).slope == pytest.approx(-0.1)


@given(records, st.floats(0.1, 50), st.floats(0.1, 50), st.floats(-0.5, 0.5))
def test_slope_follows_unit_of_value_unit_of_time_and_added_trend(rows, stretch, pace, tilt):
    plain = slope_of(rows)
    changed = slope_of([(pace * d, stretch * (v + tilt * d), stretch * u) for d, v, u in rows])

    for before, after in (
        (plain.slope, changed.slope),
        (plain.lower, changed.lower),
        (plain.upper, changed.upper),
    ):
        assert after == pytest.approx(stretch / pace * (before + tilt), rel=1e-6, abs=1e-6)


@given(records)
def test_bounds_hold_the_slope_and_agree_with_the_test(rows):
    slope = slope_of(rows)

    assert slope.lower <= slope.slope <= slope.upper
    assert 0 <= slope.p_value <= 1
    if slope.p_value > 0.06:
        assert slope.lower <= 1e-12
        assert slope.upper >= -1e-12


@given(records, st.randoms())
def test_the_order_of_the_rows_does_not_matter(rows, rng):
    mixed = list(rows)
    rng.shuffle(mixed)

    assert slope_of(rows) == slope_of(mixed)


def test_two_readings_of_one_day_are_one():
    rows = [(day, float(day), 1.0) for day in range(5)]
    answer = robust_slope(readings_of([*rows[:4], (3, 5.0, 1.0)]))

    assert isinstance(answer, NotEnoughData)
    assert answer.have == 4


@pytest.mark.parametrize("level", [0, 1, -0.5, 2])
def test_a_level_that_is_no_share_is_refused(level):
    with pytest.raises(ValueError, match="level"):
        robust_slope(readings_of([(d, d, 1) for d in range(6)]), level=level)


@given(st.lists(st.integers(-20, 20), min_size=1, max_size=20))
def test_weighted_quantile_of_equal_weights_is_the_median(values):
    assert weighted_quantile([(v, 1.0) for v in values], 0.5) == statistics.median(values)


@given(
    st.lists(st.integers(-20, 20), min_size=1, max_size=10),
    st.lists(st.integers(1, 4), min_size=10, max_size=10),
)
def test_a_whole_weight_is_so_many_copies(values, weights):
    assume(len(values) <= len(weights))
    pairs = list(zip(values, weights, strict=False))
    copies = [(v, 1.0) for v, w in pairs for _ in range(w)]

    assert weighted_quantile(pairs, 0.5) == weighted_quantile(copies, 0.5)


def test_quantile_of_nothing_is_refused():
    with pytest.raises(ValueError, match="at least one"):
        weighted_quantile([], 0.5)


def test_the_whole_weight_lies_below_the_greatest():
    assert weighted_quantile([(3, 1.0), (1, 2.0)], 1.0) == 3


def test_a_reading_that_is_all_but_certain_raises_no_correlation_beyond_one():
    rows = [(d, 10.0 - d, 1e-9 if d else 1e3) for d in range(8)]
    assert robust_slope(readings_of(rows)).slope == pytest.approx(-1)
    rows = [(d, 10.0 - d, 1e9 if d else 1e-9) for d in range(8)]
    assert robust_slope(readings_of(rows)).slope == pytest.approx(-1)
