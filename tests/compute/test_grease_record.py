"""Grease given against grease wanted."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.grease import (
    Bounds,
    GreaseVerdict,
    cartridges_left,
    grease_balance,
    mass_of_strokes_g,
    total_g,
)


@pytest.mark.parametrize(
    ("strokes", "grams_per_stroke", "verdict"),
    [
        pytest.param(52 * 3, 1.0, GreaseVerdict.WITHIN, id="three strokes a week, weighed"),
        pytest.param(78, 1.0, GreaseVerdict.WITHIN, id="half of that, weighed"),
        pytest.param(312, 1.0, GreaseVerdict.WITHIN, id="twice that, weighed"),
        pytest.param(12 * 2, 1.5, GreaseVerdict.UNDER, id="monthly instead of weekly"),
        pytest.param(52 * 6, 1.5, GreaseVerdict.OVER, id="six strokes a week"),
        pytest.param(104, None, GreaseVerdict.WITHIN, id="104 strokes of any gun"),
        pytest.param(52 * 1, None, GreaseVerdict.CANNOT_TELL, id="one stroke of an unweighed gun"),
        pytest.param(0, None, GreaseVerdict.UNDER, id="none at all"),
    ],
)
def test_a_year_of_three_grams_a_week(strokes, grams_per_stroke, verdict):
    given_g = mass_of_strokes_g(strokes, grams_per_stroke=grams_per_stroke)
    found = grease_balance(given_g=given_g, each_g=3, period_days=364, interval_days=7)
    assert found.wanted_g == pytest.approx(156)
    assert found.verdict is verdict


@given(
    st.floats(0, 1e4), st.floats(1, 3), st.floats(0.1, 50), st.floats(1, 1000), st.floats(1, 400)
)
def test_more_grease_never_turns_over_into_under(low, spread, each_g, period_days, interval_days):
    given_g = Bounds(low=low, high=low * spread)
    more_g = Bounds(low=2 * given_g.low, high=2 * given_g.high)
    kind = {"each_g": each_g, "period_days": period_days, "interval_days": interval_days}
    if grease_balance(given_g=given_g, **kind).verdict is GreaseVerdict.OVER:
        assert grease_balance(given_g=more_g, **kind).verdict is GreaseVerdict.OVER


def test_cartridges_left_are_a_range_and_never_below_none():
    used = total_g([Bounds(low=400, high=800), Bounds(low=0, high=400)])
    assert cartridges_left(on_hand=10, used_g=used, cartridge_g=400) == Bounds(low=7, high=9)
    assert cartridges_left(on_hand=2, used_g=used, cartridge_g=400) == Bounds(low=0, high=1)
    assert cartridges_left(on_hand=0, used_g=used, cartridge_g=400) == Bounds(low=0, high=0)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: cartridges_left(on_hand=-1, used_g=Bounds(low=0, high=0), cartridge_g=400),
        lambda: cartridges_left(on_hand=1, used_g=Bounds(low=0, high=0), cartridge_g=0),
        lambda: grease_balance(
            given_g=Bounds(low=0, high=0), each_g=0, period_days=1, interval_days=1
        ),
    ],
)
def test_impossible_quantities_are_refused(wrong):
    with pytest.raises(ValueError):
        wrong()
