"""Numbers in one place: checks, means, roots, rounding for show, and units.

Shown is with the digits that the uncertainty supports, and no more: an expanded uncertainty is
rounded to two significant digits, and its value to the same decimal place (GUM, JCGM 100:2008,
7.2.6, which allows at most two); speeds of shafts keep two decimals at most, finer than any drive
can be set. Rounding is half to even and works on the shortest decimal text of the number, not on
its binary value, so 0.125 shown with two places is 0.12 on every machine and in every language.

Unit factors are those of NIST Special Publication 811 (2008), appendix B. Each is exact by
definition or the product of exact definitions: 1 in = 25.4 mm, 1 lb = 0.453 592 37 kg = 7000
grains, 1 gal (US) = 231 in³, g_n = 9.806 65 m/s². A revolution is not a radian: rotational speed
is kept in r/min throughout and is not in the table. Unit names are the endings of field names, so
`flow_gpm` is converted from `gpm`.
"""

import math
import sys
from collections.abc import Callable, Sequence
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Context, Decimal
from functools import lru_cache

from ledger.values import dataclass


def bracketed_root(function: Callable[[float], float], low: float, high: float) -> float:
    """The x in [low, high] where `function` crosses zero, to the last few bits of x.

    Method: T. R. Chandrupatla, "A new hybrid quadratic/bisection algorithm", Advances in
    Engineering Software 28(3), 1997, 145-149. It never leaves the bracket.

    Raises:
        ValueError: the function has the same sign at both ends, or is not finite there.
    """
    x1, x2 = low, high
    f1, f2 = function(x1), function(x2)
    if not (math.isfinite(f1) and math.isfinite(f2)):
        raise ValueError(f"the function is not finite at the ends of [{low!r}, {high!r}]")
    if f1 == 0:
        return x1
    if f2 == 0:
        return x2
    if (f1 > 0) == (f2 > 0):
        raise ValueError(f"no change of sign between {low!r} and {high!r}")
    x3, f3 = x1, f1
    fraction = 0.5
    while True:
        x = x1 + fraction * (x2 - x1)
        f = function(x)
        if (f > 0) == (f1 > 0):
            x3, f3 = x1, f1
        else:
            x3, f3, x2, f2 = x2, f2, x1, f1
        x1, f1 = x, f
        best = x1 if abs(f1) < abs(f2) else x2
        tolerance = 2 * sys.float_info.epsilon * abs(best) + sys.float_info.min
        closeness = tolerance / abs(x2 - x1) if x2 != x1 else 1.0
        if f == 0 or closeness > 0.5:
            return best
        # Inverse quadratic interpolation where Chandrupatla's test allows it, else the middle.
        xi = (x1 - x2) / (x3 - x2)
        phi = (f1 - f2) / (f3 - f2)
        fraction = 0.5
        if 1 - math.sqrt(1 - xi) < phi < math.sqrt(xi):
            alpha = (x3 - x1) / (x2 - x1)
            fraction = f1 / (f2 - f1) * f3 / (f2 - f3) + alpha * f1 / (f3 - f1) * f2 / (f3 - f2)
        fraction = min(1 - closeness, max(closeness, fraction))


def _check(numbers: dict[str, float], is_right: Callable[[float], bool], wanted: str) -> None:
    for name, number in numbers.items():
        if not is_right(number):
            raise ValueError(f"expected {name} to be {wanted}, not {number!r}")


def check_above_zero(**numbers: float) -> None:
    """Refuse quantities that are not finite and above 0.

    Raises:
        ValueError: naming the quantity and its value.
    """
    _check(numbers, lambda n: 0 < n < math.inf, "a number above 0")


def check_not_negative(**numbers: float) -> None:
    """Refuse quantities that are not finite, or below 0.

    Raises:
        ValueError: naming the quantity and its value.
    """
    _check(numbers, lambda n: 0 <= n < math.inf, "a number of 0 or more")


def check_whole(**numbers: float) -> None:
    """Refuse counts that are not whole numbers of 1 or more.

    Raises:
        ValueError: naming the count and its value.
    """
    _check(numbers, lambda n: 1 <= n < math.inf and n == int(n), "a whole number of 1 or more")


def check_share(**numbers: float) -> None:
    """Refuse efficiencies and shares that are not above 0 and at most 1.

    Raises:
        ValueError: naming the share and its value.
    """
    _check(numbers, lambda n: 0 < n <= 1, "above 0 and at most 1")


def check_level(**numbers: float) -> None:
    """Refuse confidence levels, coverages and significances that are not between 0 and 1.

    Raises:
        ValueError: naming the level and its value.
    """
    _check(numbers, lambda n: 0 < n < 1, "between 0 and 1")


def weighted_mean(values: Sequence[float], variances: Sequence[float]) -> tuple[float, float]:
    """The mean of values weighted by 1/u², and its standard uncertainty 1/√Σ(1/u²).

    `variances` are the u² of the values (JCGM 100:2008, 5.1.2, applied to the weighted mean).
    """
    weights = [1 / variance for variance in variances]
    total = math.fsum(weights)
    weighted = math.fsum(w * value for w, value in zip(weights, values, strict=True))
    return weighted / total, 1 / math.sqrt(total)


@dataclass(frozen=True, slots=True, kw_only=True)
class NotEnoughData:
    """A result of its own kind: there are `have` of `what`, and an answer takes `need`.

    `why` is the reason for the threshold, in words a person can read.
    """

    what: str
    have: int
    need: int
    why: str

    @property
    def text(self) -> str:
        return f"not enough data: {self.have} {self.what}, needs {self.need}: {self.why}"


@dataclass(frozen=True, slots=True)
class NoAnswer:
    """A formula or a table has no answer here; `text` says why."""

    text: str


def answer_or_none(found: float | NoAnswer) -> float | None:
    return None if isinstance(found, NoAnswer) else found


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A value and its standard uncertainty, in one unit.

    Raises:
        ValueError: the uncertainty is negative or not finite.
    """

    value: float
    u: float = 0.0

    def __post_init__(self) -> None:
        check_not_negative(u=self.u)


def worked_out(formula: Callable[..., float], *inputs: Estimate) -> Estimate:
    """The result of a formula and its combined standard uncertainty.

    Inputs are taken as independent: what two of them share (one meter, one blank) is one input.
    u² = Σ Z_i² with Z_i = ½ [f(…, x_i + u_i, …) - f(…, x_i - u_i, …)], which needs no derivatives
    (JCGM 100:2008, 5.1.3, note 2).

    Raises:
        ValueError: the formula is not defined at the inputs, or within their uncertainty of them.
    """
    values = [one.value for one in inputs]

    def moved(place: int, by: float) -> float:
        return formula(*values[:place], values[place] + by, *values[place + 1 :])

    changes = [
        (moved(place, one.u) - moved(place, -one.u)) / 2
        for place, one in enumerate(inputs)
        if one.u
    ]
    return Estimate(value=formula(*values), u=math.hypot(*changes) if changes else 0.0)


SIGNIFICANT_DIGITS = 2

GPM_PLACES = 2

LPM_PLACES = 1
"""Decimals of a flow, in US gallons and in litres a minute."""

_WIDE_ENOUGH = Context(prec=700)


# The speed of a reading stands on several pages.
@lru_cache(maxsize=65_536)
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


def shown_bounds(lower: float, upper: float) -> str:
    """`78.1 to 82.0`: bounds rounded outward, to the digits that half their distance supports.

    Bounds that are equal are shown in full.

    Raises:
        ValueError: a number is not finite, or the bounds are turned round.
    """
    half = _checked_uncertainty((upper - lower) / 2)
    if half == 0:
        return f"{shown_value(lower, 0)} to {shown_value(upper, 0)}"
    places = _supported_places(half)
    low = _rounded(_decimal(lower), places, ROUND_FLOOR)
    high = _rounded(_decimal(upper), places, ROUND_CEILING)
    return f"{_plain(low)} to {_plain(high)}"


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


def significant_bounds(lower: float, upper: float, digits: int) -> str:
    """`330 to 1500`: each bound to so many significant digits of its own, rounded outward.

    Raises:
        ValueError: a bound is not finite, or digits is below 1.
    """
    low, high = _decimal(lower), _decimal(upper)
    if digits < 1:
        raise ValueError(f"expected at least 1 significant digit, not {digits!r}")
    return " to ".join(
        _plain(_rounded(bound, digits - 1 - bound.adjusted() if bound else 0, outward))
        for bound, outward in ((low, ROUND_FLOOR), (high, ROUND_CEILING))
    )


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
    return number.quantize(Decimal(1).scaleb(-places), rounding, _WIDE_ENOUGH)


def _plain(number: Decimal) -> str:
    text = format(number, "f")
    return text.removeprefix("-") if number == 0 else text


_M_PER_IN = 0.0254

_M_PER_FT = 0.3048

_KG_PER_LB = 0.45359237

_MG_PER_GRAIN = _KG_PER_LB / 7000 * 1e6

_N_PER_LBF = _KG_PER_LB * 9.80665

_L_PER_GAL = 3.785411784


# In units of the SI that a person of the trade uses: a factor for each unit of a quantity.
_FACTORS: dict[str, dict[str, float]] = {
    "length": {"mm": 0.001, "cm": 0.01, "m": 1, "in": _M_PER_IN, "ft": _M_PER_FT},
    "speed": {"m_s": 1, "m_min": 1 / 60, "ft_s": _M_PER_FT, "ft_min": _M_PER_FT / 60},
    "volume": {
        "ml": 0.001,
        "cm3": 0.001,
        "l": 1,
        "in3": (_M_PER_IN * 10) ** 3,
        "floz": _L_PER_GAL / 128,
        "gal": _L_PER_GAL,
    },
    "flow": {"l_min": 1, "gpm": _L_PER_GAL},
    "pressure": {"kpa": 1, "bar": 100, "mpa": 1000, "psi": _N_PER_LBF / _M_PER_IN**2 / 1000},
    # Hardness as calcium carbonate: a grain is 64.798 91 mg, to a US gallon.
    "concentration": {"mg_l": 1, "gpg": _MG_PER_GRAIN / _L_PER_GAL},
    "mass": {
        "g": 0.001,
        "grains": _MG_PER_GRAIN / 1e6,
        "kg": 1,
        "oz": _KG_PER_LB / 16,
        "lb": _KG_PER_LB,
    },
    "force": {"n": 1, "kn": 1000, "lbf": _N_PER_LBF},
    "torque": {"nm": 1, "lbf_ft": _N_PER_LBF * _M_PER_FT, "lbf_in": _N_PER_LBF * _M_PER_IN},
    "power": {"w": 1, "kw": 1000, "hp": 550 * _M_PER_FT * _N_PER_LBF},
    "temperature": {"c": 1, "f": 1 / 1.8},
}

_QUANTITIES = {unit: quantity for quantity, units in _FACTORS.items() for unit in units}


def convert(value: float, from_unit: str, to_unit: str) -> float:
    """`value` in `from_unit`, expressed in `to_unit`; units are named as field endings.

    Degrees go by t_C = (t_F - 32)/1.8 (SP 811 B.8).

    Raises:
        ValueError: a unit is unknown, or the two measure different quantities.
    """
    quantity, wanted = quantity_of(from_unit), quantity_of(to_unit)
    if quantity != wanted:
        raise ValueError(f"{from_unit} measures {quantity} and {to_unit} measures {wanted}")
    if quantity == "temperature" and from_unit != to_unit:
        return (value - 32) / 1.8 if to_unit == "c" else 1.8 * value + 32
    # A unit's ratio to itself is 1 to the last bit.
    return value * (_FACTORS[quantity][from_unit] / _FACTORS[quantity][to_unit])


def quantity_of(unit: str) -> str:
    """What `unit` measures, such as length, flow or temperature.

    Raises:
        ValueError: the unit is unknown.
    """
    if unit not in _QUANTITIES:
        import difflib  # noqa: PLC0415 - for a wrong unit only

        near = difflib.get_close_matches(unit.lower(), sorted(_QUANTITIES), n=1)
        remedy = f"; nearest is {near[0]}" if near else ""
        raise ValueError(f"unknown unit {unit!r}{remedy}")
    return _QUANTITIES[unit]
