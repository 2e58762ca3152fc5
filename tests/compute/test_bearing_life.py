"""Rating life against ISO 281 and a maker's manual."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.grease import (
    equivalent_speed_rpm,
    rating_life_hours,
    rating_life_mrev,
)


def test_a_ball_bearing_of_30_kn_under_5_kn_at_1500_rpm():
    # ISO 281: (30/5)³ = 216 million turns, 2400 h.
    life = rating_life_mrev(dynamic_rating_kn=30, load_kn=5, is_ball=True)
    assert life == pytest.approx(216)
    assert rating_life_hours(life_mrev=life, speed_rpm=1500) == pytest.approx(2400)


def test_a_roller_bearing_has_the_exponent_ten_thirds():
    life = rating_life_mrev(dynamic_rating_kn=8, load_kn=1, is_ball=False)
    assert life == pytest.approx(1024)


def test_a_swing_of_half_a_turn_there_and_back_is_a_turn():
    # Drive maker's manual 1021387, equation 44.1: φ = 180° is turning.
    assert equivalent_speed_rpm(swings_per_min=10, sweep_deg=180) == 10
    assert equivalent_speed_rpm(swings_per_min=10, sweep_deg=0.009) == pytest.approx(0.0005)


def test_a_pivot_that_sweeps_30_degrees_lasts_six_times_as_long_as_a_turning_one():
    # Same equation: 180/φ = 6.
    turning = rating_life_hours(life_mrev=216, speed_rpm=4)
    speed_rpm = equivalent_speed_rpm(swings_per_min=4, sweep_deg=30)
    assert rating_life_hours(life_mrev=216, speed_rpm=speed_rpm) == pytest.approx(6 * turning)


@given(st.floats(1, 1000), st.floats(0.1, 100), st.booleans())
def test_twice_the_load_takes_life_by_the_exponent(rating_kn, load_kn, is_ball):
    light = rating_life_mrev(dynamic_rating_kn=rating_kn, load_kn=load_kn, is_ball=is_ball)
    heavy = rating_life_mrev(dynamic_rating_kn=rating_kn, load_kn=2 * load_kn, is_ball=is_ball)
    assert light / heavy == pytest.approx(8 if is_ball else 2 ** (10 / 3))


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: rating_life_mrev(dynamic_rating_kn=0, load_kn=1, is_ball=True),
        lambda: rating_life_mrev(dynamic_rating_kn=1, load_kn=0, is_ball=True),
        lambda: rating_life_hours(life_mrev=1, speed_rpm=0),
        lambda: equivalent_speed_rpm(swings_per_min=0, sweep_deg=30),
        lambda: equivalent_speed_rpm(swings_per_min=1, sweep_deg=0),
        lambda: equivalent_speed_rpm(swings_per_min=1, sweep_deg=361),
    ],
)
def test_impossible_quantities_are_refused(wrong):
    with pytest.raises(ValueError):
        wrong()
