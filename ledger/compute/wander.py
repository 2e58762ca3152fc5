"""Readings that follow one another: how much less sure a fitted line is where its residuals wander.

A finger keeps its own beat, oil warms through a morning: neighbouring residuals then go together,
and the usual uncertainty of the slope is too small. The residuals are taken as a first-order
autoregression in the order of the readings.
"""

import math
from bisect import bisect_right
from collections.abc import Sequence
from itertools import pairwise
from operator import mul

from ledger.values import dataclass

MOST_CORRELATION = 0.95
"""The estimate is cut here: beyond, the row hardly tells its slope."""

# One-sided 5 % of the lag-1 correlation of a line's residuals where nothing wanders; simulated
# (40,000 rows for each number of readings, evenly spaced).
_CRITICAL = (
    (8, 0.196),
    (10, 0.233),
    (15, 0.248),
    (20, 0.243),
    (26, 0.228),
    (30, 0.222),
    (40, 0.204),
    (60, 0.173),
)

LEAST_TO_WANDER = _CRITICAL[0][0]
"""Fewer readings cannot show that they wander."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wander:
    """What the autocorrelation of a line's residuals does to the uncertainty of its slope.

    `lag_one` is r₁ of the residuals and `correlation` the estimate ρ̂ made of it. `factor` is what
    the slope's standard uncertainty grows by, and `dof` its effective degrees of freedom;
    `is_shown` where r₁ is beyond what rows without any wander reach in 5 % of cases.
    """

    lag_one: float
    correlation: float
    factor: float
    dof: float
    is_shown: bool


def wander(
    places: Sequence[float],
    residuals: Sequence[float],
    levels: Sequence[float] | None = None,
    *,
    stated: float = 0.0,
) -> Wander:
    """The wander of a line's residuals, over the places (days, passes) that it was fitted at.

    Of a weighted line places and residuals are over the readings' uncertainties, and `levels` are
    1/u of each. The residuals are never all nought. ρ̂ = (m r₁ + 2)/(m - 4), cut to 0 to
    0.95, as r₁ of a line's residuals is about -2/m where nothing wanders. Where they do wander, or
    scatter more than was stated, half the standard error 1/√m of r₁ is added, as few readings often
    show less of it than there is. `stated` is the part of their variance that the stated
    uncertainties explain: it goes together with nothing, so that the rest, which has to make the
    whole of r₁, goes together by ρ̂/(1 - stated); or all of it by ρ̂, if that makes the factor
    larger. With V = stated I + (1 - stated) ρ^|i-j| and M = I - X(XᵀX)⁻¹Xᵀ the factor is
    √(xᵀVx/xᵀx · (m-2)/tr MV), and ν = tr(MV)²/tr(MVMV), by matching the first two moments of the
    residual sum of squares (F. E. Satterthwaite, Biometrics Bulletin 2, 1946, recalled, not read).

    Raises:
        ValueError: fewer than 5 readings.
    """
    count = len(residuals)
    if count < 5:
        raise ValueError(f"expected residuals of at least 5 readings, not {count}")
    squares = math.fsum(e * e for e in residuals)
    lag_one = math.fsum(a * b for a, b in pairwise(residuals)) / squares
    is_shown = count >= LEAST_TO_WANDER and lag_one > critical_lag_one(count)
    rho = max((count * lag_one + 2) / (count - 4), 0.0)
    if is_shown or stated:
        rho += 0.5 / math.sqrt(count)
    factor, dof, rho = max(
        (*correction(places, together, levels, stated=apart), together)
        for apart in (0.0, stated)
        for together in (min(rho / (1 - apart), MOST_CORRELATION),)
    )
    return Wander(lag_one=lag_one, correlation=rho, factor=factor, dof=dof, is_shown=is_shown)


def correction(
    places: Sequence[float],
    rho: float,
    levels: Sequence[float] | None = None,
    *,
    stated: float = 0.0,
) -> tuple[float, float]:
    """The factor and the degrees of freedom of `wander` for a known correlation.

    `levels` is the column of the line's level, ones unless the rows were scaled by uncertainties.
    """
    count = len(places)
    level = [1.0] * count if levels is None else list(levels)
    tilt = math.fsum(map(mul, level, places)) / math.fsum(map(mul, level, level))
    columns = [_unit(level), _unit([p - tilt * a for p, a in zip(places, level, strict=True)])]
    spread = [_correlated(column, rho) for column in columns]
    crossed = [[math.fsum(map(mul, q, v)) for v in spread] for q in columns]
    trace = count - crossed[0][0] - crossed[1][1]
    whole = math.fsum(
        (1 if lag == 0 else 2) * (count - lag) * rho ** (2 * lag) for lag in range(count)
    )
    twice = whole - 2 * math.fsum(math.fsum(e * e for e in v) for v in spread)
    twice += math.fsum(cell * cell for row in crossed for cell in row)
    free, rest = count - 2, 1 - stated
    slope = stated + rest * crossed[1][1]
    twice = stated**2 * free + 2 * stated * rest * trace + rest**2 * twice
    trace = stated * free + rest * trace
    return math.sqrt(slope * free / trace), trace**2 / twice


def critical_lag_one(count: int) -> float:
    """The r₁ that rows of so many readings without any wander exceed in 5 % of cases.

    Between the simulated sizes by straight lines, and beyond the largest as 1/√m.
    """
    last, critical = _CRITICAL[-1]
    if count >= last:
        return critical * math.sqrt(last / count)
    above = bisect_right(_CRITICAL, (max(count, LEAST_TO_WANDER), 1.0))
    (low, at_low), (high, at_high) = _CRITICAL[above - 1 : above + 1]
    return at_low + (at_high - at_low) * max(count - low, 0) / (high - low)


def _unit(column: Sequence[float]) -> list[float]:
    length = math.sqrt(math.fsum(e * e for e in column))
    return [e / length for e in column]


def _correlated(column: Sequence[float], rho: float) -> list[float]:
    """V times the column, V = rho^|i-j|, by one pass from either end."""
    ahead, behind = list(column), list(column)
    for i in range(1, len(column)):
        ahead[i] += rho * ahead[i - 1]
        behind[-1 - i] += rho * behind[-i]
    return [a + b - e for a, b, e in zip(ahead, behind, column, strict=True)]
