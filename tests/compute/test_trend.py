"""The weighted line against statsmodels and published data, and what it promises."""

import math
import random

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from ledger.compute.numbers import NotEnoughData
from ledger.compute.shared import Shared
from ledger.compute.trend import Line, TimedReading, fit_line
from ledger.compute.wander import wander

COUNTS = [41] * 8 + [
    int(n) for n in "40 41 41 40 41 40 41 40 40 41 40 40 40 40 39 40 40 39".split()
]
U_COUNT = 0.8589399

records = st.lists(
    st.tuples(st.integers(0, 400), st.integers(-100, 100), st.sampled_from([0.5, 1.0, 3.0])),
    min_size=5,
    max_size=14,
    unique_by=lambda r: r[0],
)


def readings_of(rows, *, step=0.0) -> list[TimedReading]:
    return [
        TimedReading(
            day=day,
            value=value,
            standard_uncertainty=u,
            shared=tuple(Shared(key=key, u=size) for key, size in shared),
            step=step,
        )
        for day, value, u, *shared in rows
    ]


def line_of(rows, *, step=0.0) -> Line:
    line = fit_line(readings_of(rows, step=step))
    assert isinstance(line, Line)
    return line


def test_weekly_counts_that_fall():
    """26 counts of 30 s, 82.5 falling to 79: worked out before with statsmodels' WLS."""
    line = line_of([(7 * week, 2 * n, U_COUNT) for week, n in enumerate(COUNTS)])

    assert line.slope == pytest.approx(-0.01846154, abs=5e-9)
    assert line.u_slope == pytest.approx(0.00320861, abs=5e-9)
    assert (line.lower, line.upper) == pytest.approx((-0.02508378, -0.01183929), abs=5e-9)
    assert line.birge_ratio == pytest.approx(0.978689, abs=5e-7)
    assert (line.value, line.pivot_day) == pytest.approx((80.8461538, 87.5))
    assert line.u_value == pytest.approx(0.1684520, abs=5e-8)
    assert (line.dof, line.count, line.span) == (24, 26, 175)
    assert line.is_shown


# GUM (JCGM 100:2008) H.3: thermometer corrections, in °C, at the temperatures beside them, and
# the line at t0 = 20 °C: y1 = -0.1712, y2 = 0.00218, s(y1) = 0.0029, s(y2) = 0.00067,
# r = -0.930, s = 0.0035, and b(30) = -0.1494 with u = 0.0041. Recalled, not read.
GUM_H3 = [
    *((21.521, -0.171), (22.012, -0.169), (22.512, -0.166), (23.003, -0.159), (23.507, -0.164)),
    *((23.999, -0.165), (24.513, -0.156), (25.002, -0.157), (25.503, -0.159), (26.010, -0.161)),
    (26.511, -0.160),
]


def test_the_thermometer_of_gum_h3():
    """With the scatter found there as the stated uncertainty of each reading."""
    line = line_of([(t, b, 0.0035) for t, b in GUM_H3])

    u_at = line.u_at

    back = 20 - line.pivot_day
    with_slope = line.covariance + back * line.u_slope**2
    assert line.at(20) == pytest.approx(-0.1712, abs=5e-5)
    assert line.slope == pytest.approx(0.00218, abs=5e-6)
    assert line.birge_ratio * 0.0035 == pytest.approx(0.0035, abs=5e-5)
    assert u_at(20) == pytest.approx(0.0029, abs=5e-5)
    assert line.u_slope == pytest.approx(0.00067, abs=5e-6)
    assert with_slope / (u_at(20) * line.u_slope) == pytest.approx(-0.930, abs=5e-4)
    assert line.at(30) == pytest.approx(-0.1494, abs=5e-5)
    assert u_at(30) == pytest.approx(0.0041, abs=5e-5)


@given(records)
def test_without_scatter_beyond_the_stated_it_is_statsmodels_line(rows):
    line = line_of(rows)
    used = [row for place, row in enumerate(rows) if place != line.wild]
    days, values, us = (np.array(column, dtype=float) for column in zip(*used, strict=True))
    reference = sm.WLS(values, sm.add_constant(days), 1 / us**2).fit()

    assert line.slope == pytest.approx(reference.params[1], abs=1e-9)
    assert line.birge_ratio**2 == pytest.approx(reference.scale, rel=1e-6, abs=1e-9)
    if line.birge_ratio > 1 and line.wander is None:
        assert line.u_slope == pytest.approx(reference.bse[1], rel=1e-6)
        assert (line.lower, line.upper) == pytest.approx(tuple(reference.conf_int()[1]))
        assert line.p_value == pytest.approx(reference.pvalues[1], abs=1e-9)


def test_less_scatter_than_stated_does_not_narrow_the_bounds():
    line = line_of([(d, 80 - 0.1 * d, 0.5) for d in range(0, 100, 10)])
    spread = sum((d - 45) ** 2 for d in range(0, 100, 10))

    assert line.birge_ratio == pytest.approx(0, abs=1e-9)
    assert line.u_slope == pytest.approx(0.5 / math.sqrt(spread))


def test_an_error_that_all_share_moves_the_level_and_not_the_slope():
    plain = line_of([(d, 80 - 0.1 * d, 0.5) for d in range(0, 100, 10)])
    shared = line_of([(d, 80 - 0.1 * d, 0.5, ("tachometer", 0.8)) for d in range(0, 100, 10)])

    assert shared.u_slope == pytest.approx(plain.u_slope)
    assert shared.u_value == pytest.approx(math.hypot(plain.u_value, 0.8))
    assert shared.covariance == pytest.approx(0, abs=1e-12)


def test_a_change_of_instrument_makes_the_slope_less_sure():
    """The full covariance matrix by numpy."""
    days = np.arange(0, 100, 10.0)
    keys = ["a"] * 5 + ["b"] * 5
    line = line_of([(d, 80 - 0.1 * d, 0.5, (key, 0.8)) for d, key in zip(days, keys, strict=True)])
    matrix = np.diag([0.25] * 10) + np.array([[0.64 * (i == j) for j in keys] for i in keys])
    factors = (days - 45) / ((days - 45) ** 2).sum()

    assert line.u_slope == pytest.approx(math.sqrt(factors @ matrix @ factors))
    assert line.u_slope > 0.01
    assert line.dof == 7


def test_offsets_between_instruments_are_no_scatter():
    """Each reads steadily; that they differ by twenty times their own doubt is shared."""
    rows = [
        (d, 80 + (2.0 if d < 50 else 0.0), 0.1, ("a" if d < 50 else "b", 1.0))
        for d in range(0, 100, 5)
    ]
    line = line_of(rows)

    assert line.birge_ratio < 5
    assert not line.is_shown


def test_readings_of_many_instruments_of_one_reading_each_have_no_scatter_to_tell():
    line = line_of([(d, 80 + d % 3, 0.1, (str(d), 1.0)) for d in range(8)])

    assert line.dof == 1
    assert line.birge_ratio == 1


def test_one_gross_reading_is_named_and_left_out():
    rows = [(day, 80 - 0.1 * day, 0.5) for day in range(0, 120, 10)]
    rows[6] = (60, 20.0, 0.5)
    line = line_of(rows)

    assert line.wild == 6
    assert line.count == 11
    assert line.slope == pytest.approx(-0.1)


def test_the_place_of_the_gross_reading_is_that_among_the_readings_as_given():
    rows = [(day, 80 - 0.1 * day, 0.5) for day in range(110, -10, -10)]
    rows[2] = (90, 20.0, 0.5)

    assert line_of(rows).wild == 2


def test_a_gross_reading_stays_where_without_it_too_few_days_are_left():
    rows = [(day, 80.0, 0.5) for day in range(4)]

    assert line_of([*rows, (2.5, 20.0, 0.5)]).wild is None


@pytest.mark.parametrize(("far", "is_wild"), [(3.4, False), (3.9, True)])
def test_a_reading_is_gross_beyond_the_corrected_limit(far, is_wild):
    """Šidák for 26 readings: 3.6, of what the reading's own leverage leaves of it."""
    rows = [(day, 0.0, 1.0) for day in range(26)]
    keeps = math.sqrt(1 - 1 / 26 - (13 - 12.5) ** 2 / sum((d - 12.5) ** 2 for d in range(26)))
    rows[13] = (13, far / keeps, 1.0)

    assert (line_of(rows).wild is not None) == is_wild


def test_readings_that_all_scatter_hold_no_gross_one():
    rows = [(d, 10.0 * (-1) ** d, 0.5) for d in range(20)]
    rows[7] = (7, 30.0, 0.5)

    assert line_of(rows).wild is None


@pytest.mark.parametrize("place", [13, 25])
@pytest.mark.parametrize(("share", "is_wild"), [(0.9998, False), (1.0002, True)])
def test_a_reading_is_gross_beyond_the_scatter_of_the_others(place, share, is_wild):
    """By 1.4826 times the median residual, in numpy: 26 readings of u 1 that scatter by 3."""
    days = np.arange(26.0)
    design = np.column_stack([np.ones(26), days])
    hat = design @ np.linalg.pinv(design)
    limit = stats.norm.ppf((1 + 0.99 ** (1 / 26)) / 2)

    def rows(far):
        values = 3 * (-1) ** days
        values[place] = far
        return values

    def score(far):
        left = np.abs(rows(far) - hat @ rows(far))
        return left[place] / (1.4826 * np.median(left)) / math.sqrt(1 - hat[place, place])

    far = optimize.brentq(lambda v: score(v) - limit * share, 10, 40)
    line = line_of([(day, value, 1.0) for day, value in zip(days, rows(far), strict=True)])
    assert (line.wild is not None) == is_wild


def test_steps_widen_the_bounds_of_values_that_nothing_scatters():
    rows = [(d, 80.0, 0.5) for d in range(0, 100, 10)]
    plain, stepped = line_of(rows), line_of(rows, step=3.0)

    assert stepped.u_slope == pytest.approx(math.hypot(plain.u_slope, 3 / (math.sqrt(6) * 90)))
    assert stepped.step == pytest.approx(3)


@pytest.mark.parametrize(("loss", "is_shown"), [(2.9, False), (3.1, True)])
def test_less_than_a_step_is_no_fall(loss, is_shown):
    rows = [(d, 80.0 - loss * d / 300, 0.01) for d in range(0, 301, 10)]

    assert line_of(rows, step=3.0).is_shown == is_shown


def test_a_fall_of_one_step_exactly_counts():
    rows = [(d, 80.0 - d / 64, 0.001) for d in range(0, 257, 16)]

    assert line_of(rows, step=4.0).is_shown


def test_readings_that_wander_are_less_sure():
    rng = random.Random(5)
    level, rows = 0.0, []
    for week in range(40):
        level = 0.9 * level + rng.gauss(0, 1)
        rows.append((7 * week, 80 + level, 0.3))
    line = line_of(rows)

    assert line.wander is not None
    spread = sum((d - 136.5) ** 2 for d, _, _ in rows)
    stated = line.birge_ratio * 0.3 / math.sqrt(spread)
    assert line.u_slope == pytest.approx(stated * line.wander.factor)
    assert line.dof == line.wander.dof < 38


UNSTEADY = [0.3, 0.9, -0.3, -0.6, 0.5, -0.8, -0.7, 0.4, -0.3, 0.6, 0.9, -0.4]
"""About a line, r₁ -0.09: if they wander, so few do not show it."""


@pytest.mark.parametrize(
    ("count", "u", "allowed"),
    [
        pytest.param(12, 0.55, True, id="scatter that chance makes in one line of six"),
        pytest.param(12, 0.7, False, id="scatter as stated"),
        pytest.param(7, 0.2, False, id="too few to tell"),
    ],
)
def test_scatter_beyond_the_stated_may_be_a_wander_that_does_not_show(count, u, allowed):
    rows = [(float(day), 80 + off, u) for day, off in enumerate(UNSTEADY[:count])]
    line = line_of(rows)

    assert (line.wander is not None) == allowed
    if line.wander is not None:
        left = [(value - line.at(day)) / u for day, value, _ in rows]
        levels = [1 / u for _ in rows]
        found = wander([d / u for d, _, _ in rows], left, levels, stated=1 / line.birge_ratio**2)
        assert not line.wander.is_shown
        assert line.wander.factor == pytest.approx(found.factor)


@pytest.mark.parametrize("fall", [0.0, -0.02])
def test_interval_holds_the_true_slope_as_often_as_it_says(fall):
    rng = random.Random(11)
    rounds, held = 1500, 0
    for _ in range(rounds):
        rows = []
        for _ in range(8):
            day, u = rng.uniform(0, 100), rng.choice([0.5, 1.0, 3.0])
            rows.append((day, 60 + fall * day + rng.gauss(0, u), u))
        line = line_of(rows)
        held += line.lower <= fall <= line.upper

    # Student's t on top of stated uncertainties holds more often than 95 of 100 for so few.
    assert 0.94 <= held / rounds <= 0.995


def test_uncertain_readings_count_for_less():
    clean = [(day, 80 - 0.1 * day, 0.5) for day in range(0, 80, 10)]
    wild = [(day + 5, 80 + 0.5 * day, 30.0) for day in range(0, 80, 20)]

    assert line_of(clean + wild).slope == pytest.approx(-0.1, abs=0.01)


@given(records, st.floats(0.1, 50), st.floats(0.1, 50), st.floats(-0.5, 0.5))
def test_slope_follows_unit_of_value_unit_of_time_and_added_trend(rows, stretch, pace, tilt):
    plain = line_of(rows)
    changed = line_of([(pace * d, stretch * (v + tilt * d), stretch * u) for d, v, u in rows])

    for before, after in (
        (plain.slope, changed.slope),
        (plain.lower, changed.lower),
        (plain.upper, changed.upper),
    ):
        assert after == pytest.approx(stretch / pace * (before + tilt), rel=1e-5, abs=1e-5)


@given(records)
def test_bounds_and_test_agree(rows):
    line = line_of(rows)

    assert line.lower <= line.slope <= line.upper
    assert line.is_shown == (line.p_value < 0.05) or line.p_value == pytest.approx(0.05)


@given(records, st.randoms())
def test_the_order_of_the_rows_does_not_matter(rows, rng):
    mixed = list(rows)
    rng.shuffle(mixed)

    assert line_of(rows).slope == line_of(mixed).slope


@pytest.mark.parametrize("last", [(3, 5.0, 1.0), (0, 0.5, 1.0)])
def test_five_readings_on_four_days_make_no_line(last):
    answer = fit_line(readings_of([*((day, float(day), 1.0) for day in range(4)), last]))

    assert isinstance(answer, NotEnoughData)
    assert (answer.have, answer.need) == (4, 5)


def test_five_days_make_one():
    assert line_of([(day, float(day), 1.0) for day in range(5)]).dof == 3


def test_the_bounds_of_the_slope_are_those_of_students_t():
    line = line_of([(d, float(d % 2), 1.0) for d in range(10)])

    assert line.upper - line.slope == pytest.approx(stats.t.ppf(0.975, 8) * line.u_slope)


def test_readings_that_are_all_but_certain_rule():
    rows = [(d, 10.0 - d, 1e-9 if d else 1e3) for d in range(8)]
    assert line_of(rows).slope == pytest.approx(-1)


def test_readings_of_unlike_uncertainty_wander_by_what_is_left_over_their_own():
    rng = random.Random(11)
    level, rows = 0.0, []
    for week in range(30):
        level = 0.8 * level + rng.gauss(0, 0.6)
        u = (0.5, 1.0, 2.0)[week % 3]
        rows.append((7 * week, 80 + u * level, u))
    line = line_of(rows)
    assert line.wander is not None
    expected = wander(
        [day / u for day, _, u in rows],
        [(value - line.at(day)) / u for day, value, u in rows],
        [1 / u for _, _, u in rows],
    )

    assert line.wander.factor == pytest.approx(expected.factor)
    assert line.wander.lag_one == pytest.approx(expected.lag_one)


def test_readings_without_a_shared_error_keep_their_residuals_beside_those_with_one():
    apart = [(d, 80.0 + (d % 4 - 1), 1.0) for d in range(0, 20, 2)]
    of_a = [(d, 80.0 + d % 3, 1.0 + d % 4, ("a", 0.5)) for d in range(1, 20, 2)]
    level = line_of([*apart, *of_a])
    weight = sum(1 / u**2 for _, _, u, _ in of_a)
    mean = sum((v - level.at(d)) / u**2 for d, v, u, _ in of_a) / weight
    chi2 = sum((v - level.at(d)) ** 2 for d, v, _ in apart) + sum(
        ((v - level.at(d) - mean) / u) ** 2 for d, v, u, _ in of_a
    )

    assert level.birge_ratio == pytest.approx(math.sqrt(chi2 / (20 - 3)))


def test_what_all_readings_share_is_not_taken_off_their_residuals():
    rows = [(d, 80.0 + d * d / 10, 0.5 + d / 10, ("a", 1.0)) for d in range(8)]
    line = line_of(rows)
    chi2 = sum(((value - line.at(d)) / u) ** 2 for d, value, u, _ in rows)

    assert line.birge_ratio == pytest.approx(math.sqrt(chi2 / 6))


def test_as_many_offsets_as_readings_leave_no_scatter_to_judge():
    rows = [(d, 80.0 + d * d, 1.0, (key, 0.5)) for d, key in enumerate("aabcd")]

    assert line_of(rows).birge_ratio == 1
