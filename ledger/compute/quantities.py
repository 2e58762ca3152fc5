"""Checks of physical quantities that every formula makes in the same words."""

import math


def check_above_zero(name: str, number: float) -> None:
    """Refuse a quantity that is not finite and above 0.

    Raises:
        ValueError: naming the quantity and its value.
    """
    if not (math.isfinite(number) and number > 0):
        raise ValueError(f"expected {name} to be a number above 0, not {number!r}")


def check_not_negative(name: str, number: float) -> None:
    """Refuse a quantity that is not finite, or below 0.

    Raises:
        ValueError: naming the quantity and its value.
    """
    if not (math.isfinite(number) and number >= 0):
        raise ValueError(f"expected {name} to be a number of 0 or more, not {number!r}")


def check_whole(name: str, number: float) -> None:
    """Refuse a count that is not a whole number of 1 or more.

    Raises:
        ValueError: naming the count and its value.
    """
    if not (math.isfinite(number) and number >= 1 and number == int(number)):
        raise ValueError(f"expected {name} to be a whole number of 1 or more, not {number!r}")
