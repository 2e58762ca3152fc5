"""Checks of physical quantities."""

import math

import pytest

from ledger.compute.numbers import (
    check_above_zero,
    check_level,
    check_not_negative,
    check_share,
    check_whole,
)


@pytest.mark.parametrize(
    ("check", "good"),
    [
        (check_above_zero, 1e-9),
        (check_not_negative, 0.0),
        (check_whole, 1),
        (check_whole, 20.0),
        (check_share, 1),
        (check_share, 1e-9),
        (check_level, 1e-9),
        (check_level, 0.95),
    ],
)
def test_what_is_in_order_passes(check, good):
    assert check(flow=good) is None


@pytest.mark.parametrize(
    ("check", "bad"),
    [
        (check_above_zero, 0),
        (check_above_zero, math.nan),
        (check_above_zero, math.inf),
        (check_not_negative, -1e-9),
        (check_not_negative, math.nan),
        (check_whole, 0),
        (check_whole, 1.5),
        (check_whole, math.inf),
        (check_share, 0),
        (check_share, 1.01),
        (check_level, 0),
        (check_level, 1),
    ],
)
def test_what_is_not_is_named(check, bad):
    with pytest.raises(ValueError, match=rf"expected flow to be .*, not {bad!r}"):
        check(flow=bad)
