"""Drift signals: what raises them, and how often they cry wolf on a steady machine."""

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from run_length import ewma_signal_chance, ewma_variance, individuals_signal_chance

from ledger.compute.drift import (
    EWMA_WEIGHT,
    EWMA_WIDTH,
    RUN,
    DriftBaseline,
    Rule,
    chart_points,
    drift_baseline,
    drift_signals,
    run_for_centre,
)
from ledger.compute.trend import TimedReading

KNOWN = DriftBaseline(count=1000, centre=80.0, centre_uncertainty=0.0, excess_sd=0.0, dof=math.inf)


def readings_of(values, uncertainty=1.0) -> list[TimedReading]:
    return [
        TimedReading(day=7.0 * week, value=v, standard_uncertainty=uncertainty)
        for week, v in enumerate(values)
    ]


def spoken(values, baseline=KNOWN) -> list[tuple[Rule, int]]:
    return [(s.rule, s.index) for s in drift_signals(baseline, readings_of(values))]


def test_a_reading_beyond_three_sigma_speaks():
    assert spoken([80, 83.01, 80]) == [(Rule.BEYOND_LIMIT, 1)]
    assert spoken([80, 76.99, 80]) == [(Rule.BEYOND_LIMIT, 1)]
    assert spoken([80, 83, 77, 80]) == []


def test_nine_in_a_row_on_one_side_speak_once():
    """Nelson (1984), test 2."""
    assert spoken([80.1] * 8 + [79.9]) == []
    assert spoken([80.1] * 12) == [(Rule.RUN_ON_ONE_SIDE, 8)]


def test_a_reading_on_the_centre_ends_a_run():
    assert spoken([80.1] * 8 + [80.0] + [80.1] * 8) == []


def test_a_small_lasting_shift_is_found_by_the_average():
    """1.3 sigma, always within the limits of single readings."""
    assert spoken([81.3] * 8) == [(Rule.EWMA_BEYOND_LIMIT, 5)]


def test_the_average_speaks_again_only_after_it_came_back():
    signals = spoken([81.9] * 5 + [79] * 8 + [81.9] * 8)

    assert [rule for rule, _ in signals] == [Rule.EWMA_BEYOND_LIMIT] * 2


def test_an_uncertain_reading_has_wide_limits():
    rough = TimedReading(day=0, value=85.0, standard_uncertainty=2.0)
    (point,) = chart_points(KNOWN, [rough])

    assert drift_signals(KNOWN, [rough]) == ()
    assert (point.limits.lower, point.limits.upper) == (74.0, 86.0)


def test_limits_hold_the_uncertainty_of_the_centre():
    """With u = 1 and the centre from four such readings: 3 · √(1 + 1/4)."""
    vague = DriftBaseline(count=8, centre=80.0, centre_uncertainty=0.5, excess_sd=0.0, dof=math.inf)
    (point,) = chart_points(vague, readings_of([80]))

    assert point.limits.upper - 80 == pytest.approx(3 * math.sqrt(1.25))
    assert point.average_limits.upper - 80 == pytest.approx(
        EWMA_WIDTH * math.sqrt(0.2**2 + 0.2**2 / 4) / 0.2
    )


def test_the_average_of_equal_readings_has_the_limits_of_the_handbook():
    """NIST/SEMATECH 6.3.2.4, drawn at the scale of the readings that are in the average."""
    for count, point in enumerate(chart_points(KNOWN, readings_of([81.0] * 30)), start=1):
        half = EWMA_WIDTH * math.sqrt(ewma_variance(weight=EWMA_WEIGHT, after=count))
        share = 1 - (1 - EWMA_WEIGHT) ** count

        assert point.average == pytest.approx(81.0)
        assert point.average_limits.upper == pytest.approx(80 + half / share)
        assert point.average_limits.lower == pytest.approx(80 - half / share)


def test_the_text_says_which_way():
    (low,) = drift_signals(KNOWN, readings_of([80, 76.8]))

    assert low.text == "one reading below its normal range"
    assert low.value == 76.8


def share_alarmed(rng, *, baseline, watched, rounds):
    """How many of many steady machines each rule accused within so many readings."""
    accused = dict.fromkeys(Rule, 0)
    for _ in range(rounds):
        readings = [
            TimedReading(day=day, value=rng.gauss(75, u), standard_uncertainty=u)
            for day in range(baseline + watched)
            for u in [rng.choice([0.5, 1.0, 2.0])]
        ]
        frozen = drift_baseline(readings[:baseline])
        assert isinstance(frozen, DriftBaseline)
        for rule in {s.rule for s in drift_signals(frozen, readings[baseline:])}:
            accused[rule] += 1
    return {rule: count / rounds for rule, count in accused.items()}


@pytest.mark.parametrize("baseline", [8, 20])
def test_steady_machines_are_accused_no_more_than_published(baseline):
    """Limits from few readings: the plain factors would accuse two to three times as many."""
    rounds, watched = 1500, 30
    shares = share_alarmed(random.Random(5), baseline=baseline, watched=watched, rounds=rounds)
    single = 1 - 0.9973**watched
    run = individuals_signal_chance(watched, run=RUN) - single
    average = ewma_signal_chance(watched, weight=EWMA_WEIGHT, width=EWMA_WIDTH)

    for rule, published in (
        (Rule.BEYOND_LIMIT, single),
        (Rule.RUN_ON_ONE_SIDE, run),
        (Rule.EWMA_BEYOND_LIMIT, average),
    ):
        assert shares[rule] < published + 4 * math.sqrt(published * (1 - published) / rounds)
    assert shares[Rule.BEYOND_LIMIT] > single / 2


def test_a_wearing_brush_is_named_before_it_leaves_its_band():
    """80 r/min in a band from 75, a tenth lost each week, read well: it is out in week 50."""
    rng = random.Random(23)
    heard = []
    for _ in range(100):
        readings = readings_of([rng.gauss(80 - 0.1 * week, 0.7) for week in range(50)], 0.7)
        frozen = drift_baseline(readings[:10])
        assert isinstance(frozen, DriftBaseline)
        signals = drift_signals(frozen, readings[10:])
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

    assert [(s.rule, s.index) for s in drift_signals(changed, moved)] == spoken(values)


@given(st.lists(st.floats(60, 100), max_size=25), st.randoms())
def test_the_order_of_writing_does_not_matter(values, rng):
    readings = readings_of(values)
    mixed = list(readings)
    rng.shuffle(mixed)

    assert drift_signals(KNOWN, readings) == drift_signals(KNOWN, mixed)


def test_run_for_a_known_centre_is_nelsons():
    assert run_for_centre(0.0) == 9


@given(st.floats(0, 0.8), st.floats(0, 0.2))
def test_a_vaguer_centre_wants_a_longer_run(share, more):
    assert 9 <= run_for_centre(share) <= run_for_centre(share + more)


def test_run_where_the_centre_is_as_vague_as_a_reading():
    """The chance is then 2/(run + 1) in closed form: 2/512 is out of sight, so none is asked."""
    assert run_for_centre(1.0) > 100


def test_a_negative_share_is_refused():
    with pytest.raises(ValueError, match="share"):
        run_for_centre(-0.1)
