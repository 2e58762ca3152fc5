"""How numbers are shown, as tables; and the properties of rounding."""

import math
from decimal import ROUND_HALF_EVEN, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.numbers import (
    fixed,
    round_to_step,
    shown,
    shown_bounds,
    shown_probability,
    shown_uncertainty,
    shown_value,
    significant,
    significant_bounds,
)

finite = st.floats(-1e12, 1e12)
uncertainty = st.floats(1e-9, 1e9)


@pytest.mark.parametrize(
    ("value", "expanded", "text"),
    [
        pytest.param(92.0, 3.48875, "92.0 ± 3.5", id="23 passes in 15 s"),
        pytest.param(91.954, 1.40925, "92.0 ± 1.4", id="20 turns in 13.05 s"),
        pytest.param(100.0, 0.33333, "100.00 ± 0.33", id="100 turns in 60 s"),
        pytest.param(100.02147, 0.00079, "100.02147 ± 0.00079", id="GUM 7.2.2, 100 g standard"),
        pytest.param(10.05762, 0.027, "10.058 ± 0.027", id="GUM 7.2.6, 10.057 62 ohm, 27 mohm"),
        pytest.param(84.0, 0.0996, "84.00 ± 0.10", id="rounding carries into the next place"),
        pytest.param(84.0, 9.96, "84 ± 10", id="rounding carries to a whole number"),
        pytest.param(1234.0, 123.0, "1230 ± 120", id="tens"),
        pytest.param(1235.0, 99.6, "1240 ± 100", id="carries into the hundreds, tie to even"),
        pytest.param(84.0, 0.0, "84 ± 0", id="exact"),
        pytest.param(84.5, 0.0, "84.5 ± 0", id="exact with decimals"),
        pytest.param(-0.001, 0.3, "0.00 ± 0.30", id="no minus zero"),
        pytest.param(0.0, 6.1, "0.0 ± 6.1", id="zero"),
    ],
)
def test_value_and_uncertainty_are_shown_together(value, expanded, text):
    assert shown(value, expanded) == text


@pytest.mark.parametrize(
    ("value", "expanded", "text"),
    [
        (74.5612, 0.0946, "74.56 ± 0.10"),
        (80.0671, 0.0621, "80.07 ± 0.07"),
        (80.0671, 0.0004, "80.07 ± 0.01"),
        (80.0671, 0.0996, "80.07 ± 0.10"),
        (85.66, 0.15, "85.66 ± 0.15"),
        (76.0, 2.2, "76.0 ± 2.2"),
        (76.5, 0, "76.5 ± 0"),
    ],
)
def test_with_two_decimals_at_most_the_uncertainty_is_rounded_up(value, expanded, text):
    assert shown(value, expanded, most_places=2) == text


@pytest.mark.parametrize(
    ("value", "places", "text"),
    [
        (0.125, 2, "0.12"),
        (0.135, 2, "0.14"),
        (2.675, 2, "2.68"),
        (0.5, 0, "0"),
        (1.5, 0, "2"),
        (-0.4, 0, "0"),
        (1e22, 0, "10000000000000000000000"),
        (1250, -2, "1200"),
        (1e-7, 3, "0.000"),
    ],
)
def test_half_to_even_on_the_decimal_text(value, places, text):
    assert fixed(value, places) == text


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (0.0123456, 3, "0.0123"),
        (99.96, 3, "100"),
        (84.6, 1, "80"),
        (5075.8, 4, "5076"),
        (0, 3, "0.00"),
    ],
)
def test_significant_digits(value, digits, text):
    assert significant(value, digits) == text


@pytest.mark.parametrize(
    ("p", "text"),
    [
        (0, "< 1 %"),
        (0.0099, "< 1 %"),
        (0.01, "1 %"),
        (0.945, "94 %"),
        (0.955, "96 %"),
        (0.99, "99 %"),
        (0.9901, "> 99 %"),
        (1, "> 99 %"),
    ],
)
def test_a_probability_is_never_shown_as_certain(p, text):
    assert shown_probability(p) == text


@pytest.mark.parametrize(
    ("hz", "step", "low", "high", "expected"),
    [
        pytest.param(44.46, 0.1, 25, 60, 44.5, id="nearest step"),
        pytest.param(44.25, 0.5, 25, 60, 44.0, id="tie to the even multiple"),
        pytest.param(44.75, 0.5, 25, 60, 45.0, id="tie to the even multiple, up"),
        pytest.param(70, 0.5, 25, 60, 60.0, id="held at the upper limit"),
        pytest.param(10, 0.5, 25, 60, 25.0, id="held at the lower limit"),
        pytest.param(60, 7, 25, 60, 56.0, id="limit rounded inward"),
        pytest.param(0.3, 0.1, 0, 1, 0.3, id="no binary dust"),
        pytest.param(44, 0.5, 44.8, 45.2, 45.0, id="the only step between the limits"),
    ],
)
def test_a_setting_is_rounded_to_the_step_of_the_drive(hz, step, low, high, expected):
    assert round_to_step(hz, step, low, high) == expected


@given(finite, uncertainty)
def test_rounding_costs_a_value_at_most_a_twentieth_of_its_uncertainty(value, expanded):
    error = abs(Decimal(shown_value(value, expanded)) - Decimal(repr(value)))
    assert error <= Decimal(expanded) * Decimal("0.0505")


@given(uncertainty)
def test_an_uncertainty_has_two_significant_digits_and_is_off_by_at_most_a_twentieth(expanded):
    text = shown_uncertainty(expanded)
    digits = Decimal(text).normalize().as_tuple().digits
    assert len(digits) <= 2
    assert abs(float(text) - expanded) <= expanded * 0.0501


@given(finite, st.integers(-3, 9))
def test_fixed_is_decimal_quantize_on_the_repr(value, places):
    expected = Decimal(repr(value)).quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)
    assert Decimal(fixed(value, places)) == expected
    assert "E" not in fixed(value, places)


@given(st.floats(0, 400), st.sampled_from([0.01, 0.1, 0.25, 0.5, 1.0]))
def test_step_rounding_moves_at_most_half_a_step_inside_the_limits(hz, step):
    rounded = round_to_step(hz, step, 0, 400)
    assert abs(rounded - hz) <= step / 2 + 1e-9
    assert round_to_step(rounded, step, 0, 400) == rounded


@pytest.mark.parametrize(
    "call",
    [
        lambda: shown(math.nan, 1),
        lambda: shown(1, math.inf),
        lambda: shown(1, -1),
        lambda: fixed(math.inf, 1),
        lambda: significant(1.0, 0),
        lambda: shown_probability(1.2),
        lambda: round_to_step(50, 0, 25, 60),
        lambda: round_to_step(50, -1, 25, 60),
        lambda: round_to_step(50, 100, 25, 60),
    ],
)
def test_what_cannot_be_shown_is_refused(call):
    with pytest.raises(ValueError, match=r"expected|no multiple"):
        call()


@pytest.mark.parametrize(
    ("lower", "upper", "text"),
    [
        (78.24, 81.91, "78.2 to 82.0"),
        (0.3601, 0.4399, "0.360 to 0.440"),
        (-1.26, 3.14, "-1.3 to 3.2"),
        (5.0, 5.0, "5 to 5"),
        (1234.0, 5678.0, "1200 to 5700"),
    ],
)
def test_bounds_are_rounded_outward(lower, upper, text):
    assert shown_bounds(lower, upper) == text


@pytest.mark.parametrize(
    ("lower", "upper", "digits", "text"),
    [
        (334.1, 1412.0, 2, "330 to 1500"),
        (0.606, 5.51, 2, "0.60 to 5.6"),
        (0.0, 0.951, 2, "0 to 0.96"),
        (2.0, 9.91, 1, "2 to 10"),
    ],
)
def test_bounds_keep_their_own_digits_outward(lower, upper, digits, text):
    assert significant_bounds(lower, upper, digits) == text


def test_bounds_that_are_none_are_refused():
    with pytest.raises(ValueError, match="expected"):
        shown_bounds(2, 1)
    with pytest.raises(ValueError, match="digit"):
        significant_bounds(1, 2, 0)


@given(st.floats(1e-6, 1e6), st.floats(1e-6, 1e6))
def test_no_shown_bound_promises_too_much(one, other):
    lower, upper = sorted((one, other))
    low, high = (float(part) for part in significant_bounds(lower, upper, 2).split(" to "))
    assert low <= lower
    assert upper <= high
