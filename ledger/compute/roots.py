"""One root of a continuous function inside a bracket."""

import math
import sys
from collections.abc import Callable

_Three = tuple[float, float, float]


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
        fraction = _next_fraction((x1, x2, x3), (f1, f2, f3))
        fraction = min(1 - closeness, max(closeness, fraction))


def _next_fraction(xs: _Three, fs: _Three) -> float:
    """Inverse quadratic interpolation where Chandrupatla's test allows it, else the middle."""
    (x1, x2, x3), (f1, f2, f3) = xs, fs
    xi = (x1 - x2) / (x3 - x2)
    phi = (f1 - f2) / (f3 - f2)
    if not (1 - math.sqrt(1 - xi) < phi < math.sqrt(xi)):
        return 0.5
    alpha = (x3 - x1) / (x2 - x1)
    return f1 / (f2 - f1) * f3 / (f2 - f3) + alpha * f1 / (f3 - f1) * f2 / (f3 - f2)
