"""How numbers are shown: with the digits their uncertainty supports, and no more.

The rule, everywhere in the book: an expanded uncertainty is rounded to two significant digits,
and its value to the same decimal place (GUM, JCGM 100:2008, 7.2.6, which allows at most two);
speeds of shafts keep two decimals at most, finer than any drive can be set.
Rounding is half to even and works on the shortest decimal text of the number, not on its
binary value, so 0.125 shown with two places is 0.12 on every machine and in every language.
"""

import math
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal, localcontext

SIGNIFICANT_DIGITS = 2
GPM_PLACES = 2
LPM_PLACES = 1
"""Decimals of a flow, in US gallons and in litres a minute."""
_WIDE_ENOUGH = 700


def shown(value: float, expanded_uncertainty: float, *, most_places: int | None = None) -> str:
    """`value ± U` as text, for example `92.0 ± 3.5`.

    With `most_places`, both have no more decimals than that; where decimals are cut by it, the
    uncertainty is rounded up, so that a reader is never told a narrower one.

    Raises:
        ValueError: a number is not finite, or the uncertainty is negative.
    """
    uncertainty = _checked_uncertainty(expanded_uncertainty)
    if uncertainty and most_places is not None and _supported_places(uncertainty) > most_places:
        up = _rounded(_decimal(uncertainty), most_places, ROUND_CEILING)
        return f"{fixed(value, most_places)} ± {_plain(up)}"
    return f"{shown_value(value, uncertainty)} ± {shown_uncertainty(uncertainty)}"


def shown_value(value: float, expanded_uncertainty: float) -> str:
    """`value` to the decimal place that its expanded uncertainty supports.

    With an uncertainty of zero the value is exact and is shown in full.

    Raises:
        ValueError: a number is not finite, or the uncertainty is negative.
    """
    if _checked_uncertainty(expanded_uncertainty) == 0:
        return _plain(_decimal(value).normalize())
    return fixed(value, _supported_places(expanded_uncertainty))


def shown_uncertainty(expanded_uncertainty: float) -> str:
    """An expanded uncertainty to two significant digits: `3.5`, `0.10`, `120`.

    Raises:
        ValueError: the uncertainty is not finite, or negative.
    """
    if _checked_uncertainty(expanded_uncertainty) == 0:
        return "0"
    return fixed(expanded_uncertainty, _supported_places(expanded_uncertainty))


def fixed(value: float, places: int) -> str:
    """`value` to `places` decimals, half to even; negative places round to tens, hundreds.

    Minus zero is shown as zero.

    Raises:
        ValueError: the value is not finite.
    """
    return _plain(_rounded(_decimal(value), places))


def significant(value: float, digits: int) -> str:
    """`value` to a number of significant digits, half to even, never in powers of ten.

    Raises:
        ValueError: the value is not finite, or digits is below 1.
    """
    if digits < 1:
        raise ValueError(f"expected at least 1 significant digit, not {digits!r}")
    number = _decimal(value)
    return _plain(_rounded(number, _places_for(number, digits)))


def shown_probability(p: float) -> str:
    """A probability as whole percent; near the ends a bound, as it is never certain.

    Raises:
        ValueError: p outside [0, 1].
    """
    if not 0 <= p <= 1:
        raise ValueError(f"expected a probability from 0 to 1, not {p!r}")
    if p < 0.01:
        return "< 1 %"
    if p > 0.99:
        return "> 99 %"
    percent = _rounded(_decimal(p).scaleb(2), 0)
    return f"{_plain(percent)} %"


def round_to_step(hz: float, step: float, low: float, high: float) -> float:
    """The multiple of `step` nearest to `hz` that lies inside [low, high].

    A tie goes to the even multiple. The limits are rounded inward to a multiple, so the answer
    is always one that the drive can be set to. Works for any quantity, not hertz alone.

    Raises:
        ValueError: step is not positive, a number is not finite, or no multiple of the step lies
            between the limits.
    """
    wanted, size, floor, ceiling = (_decimal(number) for number in (hz, step, low, high))
    if size <= 0:
        raise ValueError(f"expected a step above 0, not {step!r}")
    lowest = (floor / size).to_integral_value(rounding=ROUND_CEILING)
    highest = (ceiling / size).to_integral_value(rounding=ROUND_FLOOR)
    if lowest > highest:
        raise ValueError(f"no multiple of {step!r} lies between {low!r} and {high!r}")
    nearest = (wanted / size).to_integral_value(rounding=ROUND_HALF_EVEN)
    return float(min(max(nearest, lowest), highest) * size)


def _decimal(value: float) -> Decimal:
    if not math.isfinite(value):
        raise ValueError(f"expected a finite number, not {value!r}")
    return Decimal(repr(float(value)))


def _checked_uncertainty(expanded_uncertainty: float) -> float:
    if not (math.isfinite(expanded_uncertainty) and expanded_uncertainty >= 0):
        raise ValueError(f"expected an uncertainty of 0 or more, not {expanded_uncertainty!r}")
    return expanded_uncertainty


def _supported_places(expanded_uncertainty: float) -> int:
    return _places_for(_decimal(expanded_uncertainty), SIGNIFICANT_DIGITS)


def _places_for(number: Decimal, digits: int) -> int:
    """Decimals that leave `digits` significant ones, also where rounding carries (0.0996)."""
    if number == 0:
        return digits - 1
    places = digits - 1 - number.adjusted()
    return digits - 1 - _rounded(number, places).adjusted()


def _rounded(number: Decimal, places: int, rounding: str = ROUND_HALF_EVEN) -> Decimal:
    with localcontext() as context:
        context.prec = _WIDE_ENOUGH
        return number.quantize(Decimal(1).scaleb(-places), rounding=rounding)


def _plain(number: Decimal) -> str:
    text = format(number, "f")
    return text.removeprefix("-") if number == 0 else text
