"""Gaps of a repaired machine: trend first, then life."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.numbers import NotEnoughData
from ledger.compute.reliability import GrowthModel, gap_lives, growth_model, life_between_failures
from ledger.compute.weibull import Life, WeibullFit, weibull_fit

STEADY = [90, 210, 280, 410, 480, 620, 700, 810]
SPEEDING = [500, 700, 800, 860, 900, 930, 960, 990]

watches = st.lists(st.integers(1, 1000), max_size=20, unique=True)


def test_the_last_gap_still_runs():
    assert gap_lives([100, 250], end_h=300, new_at_start=True) == (
        Life(hours=100, failed=True),
        Life(hours=150, failed=True),
        Life(hours=50, failed=False),
    )


def test_the_stretch_before_the_first_failure_is_no_life():
    """What was there when the watch began was of an age that nobody knows."""
    assert gap_lives([100, 250], end_h=300) == (
        Life(hours=150, failed=True),
        Life(hours=50, failed=False),
    )
    assert gap_lives([], end_h=300) == ()
    assert gap_lives([100, 100, 250], end_h=250) == (Life(hours=150, failed=True),)
    assert gap_lives([], end_h=300, new_at_start=True) == (Life(hours=300, failed=False),)


@given(watches)
def test_gaps_fill_the_watch(times):
    lives = gap_lives(times, end_h=1000, new_at_start=True)

    assert sum(life.hours for life in lives) == pytest.approx(1000)
    assert sum(life.failed for life in lives) == len(times)


def test_steady_gaps_are_weibull():
    assert life_between_failures(STEADY, end_h=900) == weibull_fit(gap_lives(STEADY, end_h=900))
    assert life_between_failures(STEADY, end_h=900, new_at_start=True) == weibull_fit(
        gap_lives(STEADY, end_h=900, new_at_start=True)
    )


def test_gaps_with_a_trend_are_not():
    model = life_between_failures(SPEEDING, end_h=1000)

    assert isinstance(model, GrowthModel)
    assert model == growth_model(SPEEDING, end_h=1000)
    assert model.shape > 1


@given(watches, st.floats(0.01, 100))
def test_the_answer_is_of_one_kind_in_any_unit_of_time(times, scale):
    plain = life_between_failures(times, end_h=1001)
    changed = life_between_failures([scale * t for t in times], end_h=1001 * scale)

    assert type(plain) is type(changed)
    if isinstance(plain, WeibullFit) and isinstance(changed, WeibullFit):
        assert changed.shape == pytest.approx(plain.shape, rel=1e-5)


def test_three_failures_are_too_few_to_rule_out_a_trend():
    assert isinstance(life_between_failures([100, 200, 300], end_h=400), NotEnoughData)


@pytest.mark.parametrize(("times", "end_h"), [([500], 400), ([-1], 400)])
def test_failures_outside_the_watch_are_refused(times, end_h):
    with pytest.raises(ValueError, match="expected failures"):
        gap_lives(times, end_h=end_h)
