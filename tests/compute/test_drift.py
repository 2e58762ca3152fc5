"""Drift signals: what raises them, and what they cost in false alarms."""

import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from run_length import ewma_signal_chance, ewma_variance
from scipy import stats

from ledger.compute.drift import (
    EWMA_WEIGHT,
    DriftBaseline,
    Rule,
    chance_of_alarm,
    chart_points,
    drift_baseline,
    drift_signals,
    limit_widths,
)
from ledger.compute.trend import TimedReading

KNOWN = DriftBaseline(count=1000, centre=80.0, centre_uncertainty=0.0, excess_sd=0.0, dof=math.inf)

# By which limits of 3.00 and 2.87 standard deviations follow for weekly readings.
CHANCE = 0.23


def readings_of(values, uncertainty=1.0) -> list[TimedReading]:
    return [
        TimedReading(day=7.0 * week, value=v, standard_uncertainty=uncertainty)
        for week, v in enumerate(values)
    ]


def points_of(baseline, readings):
    return chart_points(baseline, readings, chance=CHANCE, readings_per_year=52)


def signals_of(baseline, readings):
    return drift_signals(points_of(baseline, readings))


def spoken(values, baseline=KNOWN) -> list[tuple[Rule, int]]:
    return [(s.rule, s.index) for s in signals_of(baseline, readings_of(values))]


WIDTHS = limit_widths(chance=CHANCE, readings_per_year=52, centre_share=0.0)


# 200,000 simulated series of weekly readings for each, their limits rounded to 0.01.
@pytest.mark.parametrize(
    ("series", "chance", "baseline", "reading", "average"),
    [
        (5, 0.1813, 10, 3.05, 2.76),
        (5, 0.1813, 20, 3.06, 2.85),
        (5, 0.1813, math.inf, 3.07, 2.96),
        (10, 0.0952, 10, 3.26, 3.02),
        (10, 0.0952, 20, 3.27, 3.10),
        (10, 0.0952, math.inf, 3.28, 3.18),
        (20, 0.0488, 10, 3.46, 3.26),
        (20, 0.0488, 20, 3.47, 3.32),
        (20, 0.0488, math.inf, 3.47, 3.40),
        (40, 0.0247, 10, 3.65, 3.48),
        (40, 0.0247, 20, 3.65, 3.54),
        (40, 0.0247, math.inf, 3.65, 3.59),
    ],
)
def test_limits_are_those_found_by_simulation(series, chance, baseline, reading, average):
    asked = chance_of_alarm(false_alarms_per_year=1, series=series)
    widths = limit_widths(chance=asked, readings_per_year=52, centre_share=math.sqrt(1 / baseline))

    assert asked == pytest.approx(chance, abs=5e-5)
    assert widths.reading == pytest.approx(reading, abs=0.025)
    assert widths.average == pytest.approx(average, abs=0.025)


@pytest.mark.parametrize("per_year", [12, 52, 260])
@pytest.mark.parametrize("baseline", [8, 10, 20])
def test_a_steady_series_raises_a_false_alarm_as_often_as_asked(per_year, baseline):
    """The union of both charts, by simulation, to 10 % of the chance and four standard errors."""
    rng = np.random.default_rng(per_year + baseline)
    rounds = 30_000
    off = rng.normal(size=rounds) / math.sqrt(baseline)
    share, average, variance, weight = 1 / math.sqrt(baseline), np.zeros(rounds), 0.0, 0.0
    single, smoothed = np.zeros(rounds), np.zeros(rounds)
    for _ in range(per_year):
        value = rng.normal(size=rounds) - off
        single = np.maximum(single, np.abs(value) / math.hypot(1, share))
        average += EWMA_WEIGHT * (value - average)
        variance = (1 - EWMA_WEIGHT) ** 2 * variance + EWMA_WEIGHT**2
        weight += EWMA_WEIGHT * (1 - weight)
        half = math.hypot(math.sqrt(variance), weight * share)
        smoothed = np.maximum(smoothed, np.abs(average) / half)
    for series in (5, 10, 20, 40):
        chance = chance_of_alarm(false_alarms_per_year=1, series=series)
        widths = limit_widths(chance=chance, readings_per_year=per_year, centre_share=share)
        alarmed = np.mean((single > widths.reading) | (smoothed > widths.average))

        noise = 4 * math.sqrt(chance * (1 - chance) / rounds)
        assert alarmed == pytest.approx(chance, abs=0.1 * chance + noise)


@pytest.mark.parametrize("series", [5, 10, 40])
def test_the_average_and_the_readings_share_the_chance_equally(series):
    """By the exact run length of the average, and by independent readings; a known centre."""
    chance = chance_of_alarm(false_alarms_per_year=1, series=series)
    widths = limit_widths(chance=chance, readings_per_year=52, centre_share=0.0)
    each = 0.55 * chance + 0.15 * chance**2

    by_average = ewma_signal_chance(52, weight=EWMA_WEIGHT, width=widths.average)
    assert by_average == pytest.approx(each, rel=0.03)
    assert -math.expm1(-52 * math.erfc(widths.reading / math.sqrt(2))) == pytest.approx(each)


@pytest.mark.parametrize("per_year", [12, 52, 260])
@pytest.mark.parametrize("share", [0.0, 0.32, 0.6])
def test_limits_solve_the_formula_that_is_stated(per_year, share):
    """The chance outside over where the centre may lie, by numpy on the same knots."""
    chance = 0.1
    widths = limit_widths(chance=chance, readings_per_year=per_year, centre_share=share)
    z = np.arange(-20, 21) / 4
    weight = stats.norm.pdf(z) / stats.norm.pdf(z).sum()

    def outside(width, off, clustered):
        hits = 0.0
        for side in (1, -1):
            level = width * math.hypot(1, off) - side * off * z
            effective = per_year
            if clustered:
                effective = per_year * np.clip(0.668 + 0.153 * (level - 3), 0.5, 1) + 1
            hits = hits + effective * stats.norm.sf(level)
        return weight @ -np.expm1(-hits)

    each = 0.55 * chance + 0.15 * chance**2
    assert outside(widths.reading, share, clustered=False) == pytest.approx(each, rel=1e-9)
    assert outside(widths.average, 3 * share, clustered=True) == pytest.approx(each, rel=1e-9)


def test_one_series_may_have_all_the_alarms():
    assert chance_of_alarm(false_alarms_per_year=1, series=1) == pytest.approx(1 - math.exp(-1))
    assert chance_of_alarm(false_alarms_per_year=4, series=8) == pytest.approx(1 - math.exp(-0.5))


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"chance": 0.0}, "chance"),
        ({"chance": 1.0}, "chance"),
        ({"readings_per_year": 0}, "readings"),
        ({"centre_share": -0.1}, "share"),
    ],
)
def test_limits_for_nothing_are_refused(wrong, named):
    with pytest.raises(ValueError, match=named):
        limit_widths(**({"chance": 0.1, "readings_per_year": 52, "centre_share": 0.1} | wrong))


@pytest.mark.parametrize(("rate", "series"), [(0, 5), (1, 0), (-1, 5)])
def test_a_rate_of_no_alarms_or_no_series_is_refused(rate, series):
    with pytest.raises(ValueError, match="above 0"):
        chance_of_alarm(false_alarms_per_year=rate, series=series)


def test_a_reading_beyond_its_limits_speaks():
    far = WIDTHS.reading
    assert spoken([80, 80 + far + 0.01, 80]) == [(Rule.BEYOND_LIMIT, 1)]
    assert spoken([80, 80 - far - 0.01, 80]) == [(Rule.BEYOND_LIMIT, 1)]
    assert spoken([80, 80 + far - 0.01, 80 - far + 0.01, 80]) == []


def test_a_small_lasting_shift_is_found_by_the_average():
    """1.3 sigma, always within the limits of single readings."""
    assert spoken([81.3] * 8) == [(Rule.EWMA_BEYOND_LIMIT, 5)]


def test_the_average_speaks_again_only_after_it_came_back():
    signals = spoken([81.9] * 5 + [79] * 8 + [81.9] * 8)

    assert [rule for rule, _ in signals] == [Rule.EWMA_BEYOND_LIMIT] * 2


def test_an_uncertain_reading_has_wide_limits():
    rough = TimedReading(day=0, value=85.0, standard_uncertainty=2.0)
    (point,) = points_of(KNOWN, [rough])

    assert signals_of(KNOWN, [rough]) == ()
    assert point.limits.lower == pytest.approx(80 - 2 * WIDTHS.reading)
    assert point.limits.upper == pytest.approx(80 + 2 * WIDTHS.reading)


def test_limits_hold_the_uncertainty_of_the_centre():
    """With u = 1 and the centre from four such readings: L · √(1 + 1/4)."""
    widths = limit_widths(chance=CHANCE, readings_per_year=52, centre_share=0.5)
    vague = DriftBaseline(count=8, centre=80.0, centre_uncertainty=0.5, excess_sd=0.0, dof=math.inf)
    (point,) = points_of(vague, readings_of([80]))

    assert point.limits.upper - 80 == pytest.approx(widths.reading * math.sqrt(1.25))
    assert point.average_limits.upper - 80 == pytest.approx(
        widths.average * math.sqrt(0.2**2 + 0.2**2 / 4) / 0.2
    )


def test_the_average_of_equal_readings_has_the_limits_of_the_handbook():
    """NIST/SEMATECH 6.3.2.4, drawn at the scale of the readings that are in the average."""
    for count, point in enumerate(points_of(KNOWN, readings_of([81.0] * 30)), start=1):
        half = WIDTHS.average * math.sqrt(ewma_variance(weight=EWMA_WEIGHT, after=count))
        share = 1 - (1 - EWMA_WEIGHT) ** count

        assert point.average == pytest.approx(81.0)
        assert point.average_limits.upper == pytest.approx(80 + half / share)
        assert point.average_limits.lower == pytest.approx(80 - half / share)


def test_the_text_says_which_way():
    (low,) = signals_of(KNOWN, readings_of([80, 76.5]))

    assert low.text == "one reading below its normal range"
    assert low.value == 76.5


def test_a_wearing_brush_is_named_before_it_leaves_its_band():
    """80 r/min in a band from 75, a tenth lost each week, read well: it is out in week 50."""
    rng = random.Random(23)
    heard = []
    for _ in range(100):
        readings = readings_of([rng.gauss(80 - 0.1 * week, 0.7) for week in range(50)], 0.7)
        frozen = drift_baseline(readings[:10])
        assert isinstance(frozen, DriftBaseline)
        signals = signals_of(frozen, readings[10:])
        heard.append(10 + signals[0].index if signals else 50)

    assert sum(week < 50 for week in heard) >= 99
    assert sorted(heard)[50] < 30


@given(
    st.lists(st.floats(60, 100), max_size=25),
    st.floats(0.1, 10),
    st.floats(-100, 100),
)
def test_signals_do_not_depend_on_the_unit(values, scale, shift):
    # Readings on a limit to the last bit may fall either way.
    values = [round(v, 1) + 0.037 for v in values]
    changed = DriftBaseline(
        count=1000,
        centre=scale * 80 + shift,
        centre_uncertainty=0.0,
        excess_sd=0.0,
        dof=math.inf,
    )
    moved = readings_of([scale * v + shift for v in values], uncertainty=scale)

    assert [(s.rule, s.index) for s in signals_of(changed, moved)] == spoken(values)


@given(st.lists(st.floats(60, 100), max_size=25), st.randoms())
def test_the_order_of_writing_does_not_matter(values, rng):
    readings = readings_of(values)
    mixed = list(readings)
    rng.shuffle(mixed)

    assert signals_of(KNOWN, readings) == signals_of(KNOWN, mixed)


def test_nothing_after_the_baseline_makes_no_points():
    assert points_of(KNOWN, []) == ()


def test_limits_of_an_estimated_scatter_are_student_s():
    guessed = DriftBaseline(count=10, centre=80.0, centre_uncertainty=0.3, excess_sd=1.0, dof=9)
    (point,) = points_of(guessed, readings_of([80]))
    widths = limit_widths(
        chance=CHANCE, readings_per_year=52, centre_share=round(0.3 / math.sqrt(2), 2)
    )
    factor = stats.t.ppf(stats.norm.cdf(widths.reading), 9)

    assert point.limits.upper - 80 == pytest.approx(factor * math.sqrt(2 + 0.09))


def test_a_point_may_be_shown_with_what_is_common_put_back():
    (point,) = points_of(KNOWN, readings_of([81.0]))
    moved = point.moved(-0.5)

    assert moved.value == 80.5
    assert moved.limits.lower == point.limits.lower - 0.5
    assert moved.limits.centre == 79.5
    assert moved.limits.upper == point.limits.upper - 0.5
    assert moved.average_limits == point.average_limits
