"""The root finder against closed forms and scipy, and the weighted mean by hand."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize
from scipy.optimize import elementwise

from ledger.compute.numbers import bracketed_root, weighted_mean


@given(st.floats(1e-6, 1e6))
def test_square_root(square):
    root = bracketed_root(lambda x: x * x - square, 0.0, square + 1)
    assert root == pytest.approx(math.sqrt(square), rel=1e-12)


@given(st.floats(0.01, 50))
def test_agrees_with_brents_method_of_scipy(level):
    def steep(x):
        return math.expm1(x) - level

    expected = optimize.brentq(steep, -1, 10, xtol=1e-14)
    assert bracketed_root(steep, -1, 10) == pytest.approx(expected, rel=1e-10, abs=1e-12)


@given(st.floats(-5, 5))
def test_the_root_never_leaves_its_bracket(shift):
    root = bracketed_root(lambda x: math.atan(x - shift), -6, 6)
    assert -6 <= root <= 6
    assert root == pytest.approx(shift, abs=1e-9)


@pytest.mark.parametrize(
    ("function", "low", "high"),
    [
        (lambda x: x**3 - 2 * x - 5, 2.0, 3.0),
        (lambda x: np.expm1(x) - 0.5, -1.0, 10.0),
        (lambda x: (x - 1) ** 9 + 0.001 * x - 0.3, 0.0, 4.0),
        (lambda x: 0.3 - np.arctan(x) - x**7, -2.0, 3.0),
    ],
)
def test_every_point_tried_is_that_of_scipys_chandrupatla(function, low, high):
    ours, theirs = [], []

    def noted(x, points):
        points.extend(np.atleast_1d(x))
        return function(x)

    bracketed_root(lambda x: noted(x, ours), low, high)
    elementwise.find_root(lambda x: noted(x, theirs), (low, high))
    assert ours == pytest.approx(theirs, rel=1e-14)


def test_a_root_at_an_end_is_found():
    assert bracketed_root(lambda x: x, 0, 1) == 0
    assert bracketed_root(lambda x: x - 1, 0, 1) == 1


@pytest.mark.parametrize("slope", [0.02, -0.02])
def test_values_below_one_hundredth_have_a_sign_and_are_no_root(slope):
    """At the first middle, 0.5, the value is ±0.01."""
    assert bracketed_root(lambda x: slope * x, -1, 2) == pytest.approx(0, abs=1e-12)
    assert bracketed_root(lambda x: slope / 100 * x, -1, 2) == pytest.approx(0, abs=1e-12)


def test_a_step_is_bisected_to_its_edge():
    assert bracketed_root(lambda x: 1.0 if x > 0.3 else -1.0, 0, 1) == pytest.approx(0.3)


def test_a_root_hundreds_of_orders_below_the_bracket_is_found():
    assert bracketed_root(lambda x: x - 1e-200, 0, 1) == pytest.approx(1e-200)


def test_no_change_of_sign_is_refused():
    with pytest.raises(ValueError, match="no change of sign"):
        bracketed_root(lambda x: x * x + 1, -1, 1)


def test_an_end_that_is_not_finite_is_refused():
    with pytest.raises(ValueError, match="not finite"):
        bracketed_root(lambda x: math.inf if x == 0 else -x, 0, 1)


def test_a_weighted_mean_by_hand():
    """0 with u 1 and 10 with u 2: weights 1 and 1/4."""
    assert weighted_mean([0.0, 10.0], [1.0, 4.0]) == pytest.approx((2.0, 1 / math.sqrt(1.25)))
