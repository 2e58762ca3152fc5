"""The E_n number."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.speed import e_number

value = st.floats(-1e6, 1e6)
expanded = st.floats(1e-3, 1e6)


@pytest.mark.parametrize(
    ("x", "u_x", "ref", "u_ref", "expected"),
    [
        pytest.param(80.0, 3.0, 75.0, 4.0, 1.0, id="3-4-5: exactly at the limit, still agrees"),
        pytest.param(86.0, 3.0, 75.0, 4.0, 2.2, id="eleven apart"),
        pytest.param(75.0, 3.0, 80.0, 4.0, -1.0, id="below"),
        pytest.param(75.0, 0.0, 75.0, 0.0, 0.0, id="equal and exact"),
        pytest.param(76.0, 0.0, 75.0, 0.0, math.inf, id="exact and unequal"),
    ],
)
def test_worked_by_hand(x, u_x, ref, u_ref, expected):
    assert e_number(x, u_x, ref, u_ref) == expected


@given(value, expanded, value, expanded)
def test_swapping_turns_the_sign_only(x, u_x, ref, u_ref):
    assert e_number(x, u_x, ref, u_ref) == -e_number(ref, u_ref, x, u_x)


@given(value, expanded, value, expanded)
def test_more_uncertainty_never_brings_disagreement(x, u_x, ref, u_ref):
    assert abs(e_number(x, 2 * u_x, ref, u_ref)) <= abs(e_number(x, u_x, ref, u_ref))


def test_what_is_no_result_is_refused():
    with pytest.raises(ValueError, match="finite"):
        e_number(math.nan, 1, 2, 1)
    with pytest.raises(ValueError, match="0 or more"):
        e_number(1, -1, 2, 1)
