"""Run lengths against the published tables and against simulation."""

import math
import random

import pytest
from campaign import examples
from hypothesis import given, settings
from hypothesis import strategies as st
from run_length import (
    ewma_run_length,
    ewma_signal_chance,
    ewma_variance,
)

# Lucas and Saccucci (1990), as in D. C. Montgomery, Introduction to Statistical Quality Control,
# Table 9.11: schemes with 500 readings in control. Recalled, not read.
LUCAS_SACCUCCI = [
    (0.40, 3.054, {0.0: 500, 0.5: 71.2, 1.0: 14.3}),
    (0.25, 2.998, {0.0: 500, 0.5: 48.2, 1.0: 11.1}),
    (0.20, 2.962, {0.0: 500, 0.5: 41.8, 1.0: 10.5}),
    (0.10, 2.814, {0.0: 500, 0.5: 31.3, 1.0: 10.3}),
    (0.05, 2.615, {0.0: 500, 0.5: 28.8, 1.0: 11.4}),
]


@pytest.mark.parametrize(
    ("weight", "width", "shift", "published"),
    [
        pytest.param(weight, width, shift, mean, id=f"lucas-saccucci-1990-{weight}-{shift}")
        for weight, width, means in LUCAS_SACCUCCI
        for shift, mean in means.items()
    ],
)
def test_ewma_run_length_is_the_published_one(weight, width, shift, published):
    mean = ewma_run_length(weight=weight, width=width, shift=shift, settled=True)

    assert mean == pytest.approx(published, rel=0.007)


def test_ewma_of_full_weight_is_a_chart_of_single_readings():
    alone = 1 / math.erfc(3 / math.sqrt(2))

    assert ewma_run_length(weight=1.0, width=3.0) == pytest.approx(alone, rel=1e-9)


def test_the_chance_of_a_signal_adds_up_to_the_run_length():
    """The mean of a count is the sum over n of the chance that it exceeds n."""
    plan = {"weight": 0.4, "width": 3.0, "shift": 3.0}
    survived = sum(1 - ewma_signal_chance(n, **plan) for n in range(25))

    assert survived == pytest.approx(ewma_run_length(**plan), rel=1e-6)


def test_moving_limits_against_simulation():
    rng = random.Random(20261125)
    points, rounds, weight, width = 20, 10_000, 0.2, 2.5
    halves = [width * ewma_variance(weight=weight, after=t) ** 0.5 for t in range(1, points + 1)]
    alarmed = 0
    for _ in range(rounds):
        average = 0.0
        for half in halves:
            average += weight * (rng.gauss(0, 1) - average)
            if abs(average) > half:
                alarmed += 1
                break

    expected = ewma_signal_chance(points, weight=weight, width=width)
    four_sigma = 4 * (expected * (1 - expected) / rounds) ** 0.5
    assert alarmed / rounds == pytest.approx(expected, abs=four_sigma)


def test_the_settled_limits_of_the_average_are_the_handbook_s():
    """NIST/SEMATECH 6.3.2.4: centre 50, s = 2.0539, weight 0.3; printed 52.5884 and 47.4115."""
    half = 3 * 2.0539 * ewma_variance(weight=0.3) ** 0.5

    assert 50 + half == pytest.approx(52.5884, abs=5e-5)
    assert 50 - half == pytest.approx(47.4115, abs=1e-4)


@given(st.floats(0.01, 1), st.integers(1, 50))
def test_the_variance_of_the_average_rises_to_the_settled_one(weight, after):
    now = ewma_variance(weight=weight, after=after)

    assert now <= ewma_variance(weight=weight, after=after + 1) <= ewma_variance(weight=weight)
    assert ewma_variance(weight=weight, after=10_000) == pytest.approx(ewma_variance(weight=weight))
    assert ewma_variance(weight=weight, after=1) == pytest.approx(weight**2)


@settings(max_examples=examples(10))
@given(st.integers(0, 30))
def test_chances_rise_with_the_readings(points):
    chances = [ewma_signal_chance(n, weight=0.4, width=3.0) for n in (points, points + 1)]
    assert chances[0] <= chances[1] + 1e-12


@pytest.mark.parametrize(
    "ask",
    [
        lambda: ewma_run_length(weight=0.2, width=0),
        lambda: ewma_signal_chance(-1, weight=0.2, width=3.0),
        lambda: ewma_variance(weight=1.01),
        lambda: ewma_variance(weight=0.2, after=0),
    ],
)
def test_questions_without_meaning_are_refused(ask):
    with pytest.raises(ValueError, match="expected"):
        ask()
