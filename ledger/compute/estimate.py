"""A value with its uncertainty, and how a formula carries the uncertainties of what it takes.

Inputs are taken as independent: what two of them share (one meter, one blank) is one input.
"""

import math
from collections.abc import Callable

from ledger.compute.numbers import check_not_negative
from ledger.values import dataclass


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
