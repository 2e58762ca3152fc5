"""Grease amounts, strokes and intervals against the handbook's values."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.grease import (
    FACTORS,
    Bounds,
    IntervalSource,
    grease_interval,
    grease_mass_g,
    handbook_hours,
    mass_of_strokes_g,
    strokes_for,
    temperature_factor,
)
from ledger.compute.numbers import NoAnswer, convert

SIZES_MM = st.floats(1, 500)


@pytest.mark.parametrize(
    ("outer_mm", "width_mm", "grams"),
    [(52, 15, 3.9), (90, 20, 9.0), (62, 17.25, 5.35)],
    ids=["6205, machinerylubrication.com 31524", "6210, same", "30206, same"],
)
def test_grams_from_bearing_size(outer_mm, width_mm, grams):
    assert grease_mass_g(outer_mm=outer_mm, width_mm=width_mm) == pytest.approx(grams, abs=0.005)


@given(SIZES_MM, SIZES_MM)
def test_the_inch_form_is_the_metric_form_within_its_constant(outer_mm, width_mm):
    """G = 0.114 D B in ounces, from sizes in inches: machinerylubrication.com 31524."""
    # 0.114 oz/in² is 0.005 g/mm² rounded to three digits: 0.11378.
    ounces = 0.114 * (outer_mm / 25.4) * (width_mm / 25.4)
    grams = grease_mass_g(outer_mm=outer_mm, width_mm=width_mm)
    assert convert(ounces, "oz", "g") == pytest.approx(grams, rel=0.002)


def test_strokes_are_a_range_until_the_gun_is_weighed():
    # machinerylubrication.com 206: one to three grams a stroke.
    assert strokes_for(9.0, grams_per_stroke=None) == Bounds(low=3, high=9)
    assert strokes_for(9.0, grams_per_stroke=1.5) == Bounds(low=6, high=6)
    assert mass_of_strokes_g(2, grams_per_stroke=None) == Bounds(low=2, high=6)
    assert mass_of_strokes_g(2, grams_per_stroke=1.2) == Bounds(low=2.4, high=2.4)


@given(st.floats(0.1, 100), st.none() | st.floats(0.1, 10))
def test_strokes_and_mass_are_inverse(mass_g, grams_per_stroke):
    strokes = strokes_for(mass_g, grams_per_stroke=grams_per_stroke)
    assert mass_of_strokes_g(strokes.low, grams_per_stroke=grams_per_stroke).high == pytest.approx(
        mass_g
    )
    assert mass_of_strokes_g(strokes.high, grams_per_stroke=grams_per_stroke).low == pytest.approx(
        mass_g
    )


BALL = FACTORS["Fd"]["ball"]


@pytest.mark.parametrize(
    ("temperature_c", "words", "hours"),
    [
        pytest.param(40, {}, 15_000, id="all 1, ball, machinerylubrication.com 31524"),
        pytest.param(70, {"Fm": "damp"}, 5250, id="Ft 0.5 Fm 0.7, same"),
        pytest.param(40, {"Fc": "light"}, 10_500, id="Fc 0.7, same"),
        pytest.param(
            40,
            {"Fc": "heavy", "Fm": "spray", "Fv": "some", "Fp": "inclined"},
            720,
            id="Fc 0.4 Fm 0.4 Fv 0.6 Fp 0.5, same",
        ),
    ],
)
def test_interval_at_1750_rpm_in_a_25_mm_bore(temperature_c, words, hours):
    factor = BALL * temperature_factor(temperature_c)
    for symbol, word in words.items():
        factor *= FACTORS[symbol][word]
    assert handbook_hours(speed_rpm=1750, bore_mm=25, factor=factor) == pytest.approx(hours)


@pytest.mark.parametrize(
    ("temperature_c", "factor"),
    [(20, 1), (64.9, 1), (65, 0.5), (79.9, 0.5), (80, 0.2), (93, 0.2), (93.1, 0.1)],
)
def test_temperature_factor(temperature_c, factor):
    assert temperature_factor(temperature_c) == factor


def test_the_mildest_conditions_shorten_nothing_and_the_worst_most():
    """machinerylubrication.com 31524; of what rolls, balls want grease least often."""
    mildest = {symbol: max(words.values()) for symbol, words in FACTORS.items()}
    worst = {symbol: min(words.values()) for symbol, words in FACTORS.items()}
    assert mildest == {"Fc": 1, "Fm": 1, "Fv": 1, "Fp": 1, "Fd": 10}
    assert worst == {"Fc": 0.2, "Fm": 0.1, "Fv": 0.3, "Fp": 0.3, "Fd": 1}


def test_rollers_want_grease_twice_as_often_as_balls():
    """Fd 5 beside 10 (machinerylubrication.com 31524)."""
    rollers = handbook_hours(speed_rpm=80, bore_mm=50, factor=FACTORS["Fd"]["cylindrical"])
    assert rollers == pytest.approx(handbook_hours(speed_rpm=80, bore_mm=50, factor=BALL) / 2)


def test_too_fast_and_standing_still_are_out_of_range():
    # 14·10⁶/(28,000 √25) is 4 times 25.
    fast = handbook_hours(speed_rpm=28_000, bore_mm=25, factor=BALL)
    still = handbook_hours(speed_rpm=0, bore_mm=50, factor=BALL)
    assert isinstance(fast, NoAnswer)
    assert "too fast for the formula" in fast.text
    assert isinstance(still, NoAnswer)
    assert "does not turn" in still.text


@given(st.floats(1, 2000), SIZES_MM)
def test_faster_never_lasts_longer(speed_rpm, bore_mm):
    slow = handbook_hours(speed_rpm=speed_rpm, bore_mm=bore_mm, factor=BALL)
    fast = handbook_hours(speed_rpm=2 * speed_rpm, bore_mm=bore_mm, factor=BALL)
    if isinstance(slow, NoAnswer):
        assert isinstance(fast, NoAnswer)
    else:
        assert isinstance(fast, NoAnswer) or fast < slow / 2 + 1e-9


def test_at_brush_speed_in_wash_down_the_weekly_practice_rules_and_says_why():
    wet = BALL * FACTORS["Fm"]["wash-down"] * FACTORS["Fp"]["vertical"]
    hours = handbook_hours(speed_rpm=80, bore_mm=50, factor=wet)
    assert not isinstance(hours, NoAnswer)
    found = grease_interval(practice_days=7, handbook=hours, running_hours_per_day=11)
    assert (found.days, found.source) == (7, IntervalSource.PRACTICE)
    assert found.handbook_days is not None
    assert found.handbook_days > 365
    assert "water" in found.reason


def test_the_handbook_rules_where_it_is_shorter_and_practice_alone_where_it_is_silent():
    shorter = grease_interval(practice_days=30, handbook=100.0, running_hours_per_day=10)
    assert (shorter.days, shorter.source) == (10, IntervalSource.HANDBOOK)
    all_day = grease_interval(practice_days=30, handbook=120.0, running_hours_per_day=24)
    assert all_day.days == 5
    alike = grease_interval(practice_days=30, handbook=300.0, running_hours_per_day=10)
    assert (alike.days, alike.source) == (30, IntervalSource.PRACTICE)
    silent = grease_interval(
        practice_days=30, handbook=NoAnswer("too fast"), running_hours_per_day=10
    )
    assert (silent.days, silent.handbook_days, silent.reason) == (
        30,
        None,
        "practice alone: too fast",
    )


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: grease_mass_g(outer_mm=0, width_mm=15),
        lambda: grease_mass_g(outer_mm=52, width_mm=-1),
        lambda: strokes_for(math.nan, grams_per_stroke=1),
        lambda: strokes_for(1, grams_per_stroke=0),
        lambda: mass_of_strokes_g(-1, grams_per_stroke=1),
        lambda: handbook_hours(speed_rpm=-1, bore_mm=25, factor=BALL),
        lambda: handbook_hours(speed_rpm=80, bore_mm=0, factor=BALL),
        lambda: grease_interval(practice_days=0, handbook=1.0, running_hours_per_day=8),
        lambda: grease_interval(practice_days=7, handbook=1.0, running_hours_per_day=24.1),
        lambda: Bounds(low=2, high=1),
    ],
)
def test_impossible_quantities_are_refused(wrong):
    with pytest.raises(ValueError):
        wrong()
