"""When a limit is crossed, and the honest refusal to say so."""

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from ledger.compute.numbers import NotEnoughData
from ledger.compute.shared import Shared
from ledger.compute.trend import LimitCrossing, NoTrend, TimedReading, limit_crossing

WEARING = [9.2, 8.9, 9.4, 9.1, 8.7, 8.8, 8.5, 8.6, 8.2, 8.4]


def readings_of(rows) -> list[TimedReading]:
    return [TimedReading(day=d, value=v, standard_uncertainty=u) for d, v, u in rows]


def crossing_of(rows, **limits) -> LimitCrossing:
    crossing = limit_crossing(readings_of(rows), **limits)
    assert isinstance(crossing, LimitCrossing)
    return crossing


def test_ten_wearing_readings_reach_eight():
    """The line is scipy's."""
    line = stats.linregress(range(10), WEARING)
    crossing = crossing_of([(d, v, 0.2) for d, v in enumerate(WEARING)], lower=8.0)

    assert crossing.day == pytest.approx((8.0 - line.intercept) / line.slope)
    assert crossing.earliest_day < crossing.day < crossing.latest_day
    assert crossing.limit == 8.0


def test_weekly_counts_cross_between_the_bounds_of_fieller():
    """26 counts of 30 s; the day and its bounds were worked out before with statsmodels."""
    passes = [41] * 8 + [
        int(n) for n in "40 41 41 40 41 40 41 40 40 41 40 40 40 40 39 40 40 39".split()
    ]
    crossing = crossing_of([(7 * w, 2 * n, 0.8589399) for w, n in enumerate(passes)], lower=75)

    assert crossing.day == pytest.approx(404.1667, abs=1e-4)
    assert crossing.earliest_day == pytest.approx(319.0133, abs=1e-4)
    assert crossing.latest_day == pytest.approx(582.8443, abs=1e-4)


def test_fieller_with_shared_errors_against_the_definition():
    """At both ends the line is as far from the limit as t times its uncertainty there."""
    rows = [(d, 90 - 0.3 * d, 0.5, "a" if d < 40 else "b") for d in range(0, 90, 6)]
    readings = [
        TimedReading(day=d, value=v, standard_uncertainty=u, shared=(Shared(key=key, u=0.8),))
        for d, v, u, key in rows
    ]
    crossing = limit_crossing(readings, lower=40)
    assert isinstance(crossing, LimitCrossing)
    line = crossing.line
    for day in (crossing.earliest_day, crossing.latest_day):
        away = abs(line.at(day) - 40)
        assert away == pytest.approx(stats.t.ppf(0.975, line.dof) * line.u_at(day))
    assert line.covariance != 0


@given(
    slope=st.floats(0.01, 5),
    sign=st.sampled_from([-1, 1]),
    start=st.floats(-50, 50),
    ahead=st.floats(60, 400),
)
def test_readings_on_a_line_cross_where_the_line_does(slope, sign, start, ahead):
    rows = [(d, start + sign * slope * d, 0.001 * slope) for d in range(0, 60, 5)]
    limit = start + sign * slope * ahead
    crossing = crossing_of(rows, **{"upper" if sign > 0 else "lower": limit})

    assert crossing.day == pytest.approx(ahead, rel=1e-6)
    assert crossing.earliest_day <= crossing.day <= crossing.latest_day


def test_the_limit_in_the_way_of_the_slope_is_taken():
    rows = [(d, 80 - 0.1 * d, 0.2) for d in range(0, 60, 6)]

    assert crossing_of(rows, lower=70, upper=85).limit == 70
    assert crossing_of([(d, 160 - v, u) for d, v, u in rows], lower=70, upper=85).limit == 85


def test_a_limit_already_crossed_gives_a_day_gone_by():
    rows = [(d, 80 - 0.5 * d, 0.2) for d in range(0, 60, 6)]

    assert crossing_of(rows, lower=60).day == pytest.approx(40)


def test_steady_readings_have_no_trend():
    rows = [(d, 75 + (-1) ** d, 1.0) for d in range(12)]
    answer = limit_crossing(readings_of(rows), lower=70, upper=80)

    assert isinstance(answer, NoTrend)
    assert answer.text == "neither a rise nor a fall shows"


def test_readings_that_never_change_have_no_trend():
    answer = limit_crossing(readings_of([(d, 75, 1.0) for d in range(12)]), lower=70)

    assert isinstance(answer, NoTrend)


def test_moving_away_from_the_only_limit_is_no_crossing():
    rows = [(d, 75 + d, 1.0) for d in range(12)]
    answer = limit_crossing(readings_of(rows), lower=70)

    assert isinstance(answer, NoTrend)
    assert answer.text == "the readings move away from the limit"


def test_four_readings_forecast_nothing():
    answer = limit_crossing(readings_of([(d, d, 1.0) for d in range(4)]), upper=10)

    assert isinstance(answer, NotEnoughData)


@pytest.mark.parametrize("uncertainties", [(1.0,), (0.5, 1.0, 3.0)])
def test_the_interval_holds_the_true_day_as_often_as_it_says(uncertainties):
    """Of the forecasts that are made at all; 95 % asked, the tests of coverage gave 96 to 98 %."""
    rng = random.Random(17)
    made = held = 0
    for _ in range(600):
        rows = []
        for _ in range(15):
            day, u = rng.uniform(0, 100), rng.choice(uncertainties)
            rows.append((day, 50 + 0.08 * day + rng.gauss(0, u), u))
        answer = limit_crossing(readings_of(rows), upper=60)
        if isinstance(answer, LimitCrossing):
            made += 1
            held += answer.earliest_day <= 125 <= answer.latest_day

    assert made > 450
    assert held / made > 0.95 - 3 * math.sqrt(0.95 * 0.05 / made)


rows_that_wear = st.lists(
    st.tuples(st.integers(0, 300), st.floats(-1, 1), st.sampled_from([0.3, 0.5, 1.0])),
    min_size=5,
    max_size=15,
    unique_by=lambda r: r[0],
).map(lambda rows: [(d, 100 - 0.1 * d + e, u) for d, e, u in rows])


@given(rows_that_wear, st.floats(0.1, 10), st.floats(0.1, 10), st.floats(-1000, 1000))
def test_the_day_follows_the_units(rows, stretch, pace, since):
    plain = limit_crossing(readings_of(rows), lower=40)
    changed = limit_crossing(
        readings_of([(pace * d + since, stretch * v, stretch * u) for d, v, u in rows]),
        lower=40 * stretch,
    )

    if isinstance(plain, LimitCrossing) and isinstance(changed, LimitCrossing):
        for before, after in (
            (plain.earliest_day, changed.earliest_day),
            (plain.day, changed.day),
            (plain.latest_day, changed.latest_day),
        ):
            assert after == pytest.approx(pace * before + since, rel=1e-5, abs=1e-3)


@given(rows_that_wear, st.floats(0, 30))
def test_a_farther_limit_is_crossed_later(rows, farther):
    near = limit_crossing(readings_of(rows), lower=50)
    far = limit_crossing(readings_of(rows), lower=50 - farther)

    assert type(near) is type(far)
    if isinstance(near, LimitCrossing) and isinstance(far, LimitCrossing):
        assert near.day <= far.day
        assert near.earliest_day <= near.day <= near.latest_day


@pytest.mark.parametrize("limits", [{}, {"lower": 6, "upper": 5}])
def test_limits_that_make_no_sense_are_refused(limits):
    with pytest.raises(ValueError, match="limit"):
        limit_crossing(readings_of([(d, d, 1.0) for d in range(6)]), **limits)


def test_a_band_of_one_value_has_a_limit_on_either_side():
    falling = [(d, 50 - d, 0.1) for d in range(8)]
    found = limit_crossing(readings_of(falling), lower=40, upper=40)
    assert found == limit_crossing(readings_of(falling), lower=40)
