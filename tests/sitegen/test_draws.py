"""Drawn readings have the mean and the spread that their mechanism gives."""

import math
from itertools import pairwise
from random import Random
from statistics import fmean, pstdev

import pytest
from sitegen import draws

MANY = 4000


def speeds() -> list[float]:
    """Speeds spread evenly, so that the fraction of a pass at the end is even too."""
    rng = Random(3)
    return [rng.uniform(70, 90) for _ in range(MANY)]


def test_random_start_is_unbiased_with_the_triangular_spread():
    rng = Random(1)
    misses = [draws.pass_count(rng, rpm, 30)["counted"] - rpm / 2 for rpm in speeds()]
    timing = 80 / 60 * draws.HAND_S  # passes missed or gained by the hand
    assert fmean(misses) == pytest.approx(0, abs=0.03)
    assert pstdev(misses) == pytest.approx(math.hypot(1 / math.sqrt(6), timing), rel=0.04)


def test_start_on_an_uncounted_pass_loses_half_a_pass():
    rng = Random(1)
    misses = [draws.pass_count(rng, rpm, 30, on_pass=True)["counted"] - rpm / 2 for rpm in speeds()]
    timing = 80 / 60 * draws.HAND_S
    assert fmean(misses) == pytest.approx(-0.5, abs=0.03)
    assert pstdev(misses) == pytest.approx(math.hypot(1 / math.sqrt(12), timing), rel=0.04)


def test_two_markers_double_the_count():
    counted = draws.pass_count(Random(1), 80, 60, passes_per_turn=2)
    assert counted["passes_per_turn"] == 2
    assert counted["counted"] == pytest.approx(160, abs=2)


def test_timed_turns_carry_only_the_watch():
    rng = Random(1)
    seconds = [draws.timed_turns(rng, 80, 20)["seconds"] for _ in range(MANY)]
    assert fmean(seconds) == pytest.approx(15, abs=0.01)
    assert pstdev(seconds) == pytest.approx(draws.HAND_S, rel=0.05)


def test_taps_rise_and_keep_the_period():
    times = draws.taps(Random(1), 80, 20)["taps_s"]
    assert times == sorted(times)
    assert times[-1] / 19 == pytest.approx(0.75, abs=0.02)


def test_a_tachometer_stays_inside_its_accuracy():
    rng = Random(1)
    shown = [draws.tachometer(rng, 80, accuracy_percent=0.5)["tachometer_rpm"] for _ in range(MANY)]
    assert max(shown) <= 80.4
    assert min(shown) >= 79.6


def test_frames_are_within_one_of_the_exact_number():
    rng = Random(1)
    exact = 60 * 20 / 80 * 29.97
    frames = [draws.video(rng, 80, 20)["frames"] for _ in range(MANY)]
    assert {math.floor(exact), math.ceil(exact)} == set(frames)
    assert fmean(frames) == pytest.approx(exact, abs=0.04)


def test_a_nozzle_gives_twice_the_flow_at_four_times_the_pressure():
    rng = Random(1)
    low = fmean(
        draws.catch(rng, 0.5, at_psi=40, pressure_psi=40, seconds=20)["caught_ml"]
        for _ in range(200)
    )
    high = fmean(
        draws.catch(rng, 0.5, at_psi=40, pressure_psi=160, seconds=20)["caught_ml"]
        for _ in range(200)
    )
    assert low == pytest.approx(0.5 * 3785.411784 / 3, rel=0.005)
    assert high / low == pytest.approx(2, rel=0.005)


def test_a_bias_stays_from_reading_to_reading():
    late = draws.Bias(interval_s=0.3)
    rng = Random(1)
    seconds = [draws.timed_turns(rng, 80, 20, bias=late)["seconds"] for _ in range(MANY)]
    assert fmean(seconds) == pytest.approx(15.3, abs=0.01)

    off = draws.Bias(scale=0.01)
    shown = [
        draws.biased_tachometer(rng, 80, accuracy_percent=1, bias=off)["tachometer_rpm"]
        for _ in range(MANY)
    ]
    assert fmean(shown) == pytest.approx(80.8, abs=0.01)
    assert pstdev(shown) < 0.1


def test_a_wander_has_its_spread_and_its_memory():
    found = draws.wander(Random(1), MANY, share=0.5, correlation=0.7)
    assert pstdev(found) == pytest.approx(0.5, rel=0.1)
    together = fmean(a * b for a, b in pairwise(found)) / pstdev(found) ** 2
    assert together == pytest.approx(0.7, abs=0.05)
