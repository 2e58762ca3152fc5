"""Control limits for single readings: individuals, moving range and EWMA charts."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

from ledger.compute.not_enough_data import NotEnoughData

# Mean and upper limit factor of the range of two normal values (NIST/SEMATECH 6.3.2.2).
D2_OF_TWO = 1.128
D4_OF_TWO = 3.267

# With 7 readings the standard deviation from moving ranges is still about 36 % uncertain and
# 3-sigma limits mislead; ISO 7870-2 asks for far more. 8 is the project's own floor.
MIN_BASELINE = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Baseline:
    """The level and spread of a steady stretch of readings, frozen until it is re-based.

    All numbers are in the unit of the readings. `sigma` is the mean moving range over d2, so a
    slow drift inside the baseline does not widen the limits.
    """

    count: int
    centre: float
    mean_moving_range: float
    sigma: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """A centre line and the control limits about it, in the unit of the readings."""

    lower: float
    centre: float
    upper: float

    def hold(self, value: float) -> bool:
        """Whether the value is within the limits or on one."""
        return self.lower <= value <= self.upper


def individuals_baseline(values: Sequence[float]) -> Baseline | NotEnoughData:
    """The baseline of single readings in the order they were taken.

    Undefined (`NotEnoughData`) below 8 readings. Source: NIST/SEMATECH e-Handbook 6.3.2.2.
    """
    if len(values) < MIN_BASELINE:
        return NotEnoughData(
            what="baseline readings",
            have=len(values),
            need=MIN_BASELINE,
            why="limits from fewer are mostly the luck of the draw",
        )
    ranges = [abs(after - before) for before, after in pairwise(values)]
    mean_range = math.fsum(ranges) / len(ranges)
    return Baseline(
        count=len(values),
        centre=math.fsum(values) / len(values),
        mean_moving_range=mean_range,
        sigma=mean_range / D2_OF_TWO,
    )


def individuals_limits(baseline: Baseline, *, sigmas: float = 3.0) -> Limits:
    """Limits for single readings: centre ± `sigmas` · MR̄/d2 (NIST/SEMATECH 6.3.2.2)."""
    half = sigmas * baseline.sigma
    return Limits(
        lower=baseline.centre - half, centre=baseline.centre, upper=baseline.centre + half
    )


def moving_range_limits(baseline: Baseline) -> Limits:
    """Limits for the range of two neighbours: 0 to D4 · MR̄ (NIST/SEMATECH 6.3.2.2)."""
    mean_range = baseline.mean_moving_range
    return Limits(lower=0.0, centre=mean_range, upper=D4_OF_TWO * mean_range)


def ewma(values: Sequence[float], *, start: float, weight: float) -> tuple[float, ...]:
    """The exponentially weighted moving average after each value, begun at `start`.

    E_t = weight · x_t + (1 - weight) · E_(t-1) (NIST/SEMATECH 6.3.2.4).

    Raises:
        ValueError: the weight is not in (0, 1].
    """
    _check_weight(weight)
    averages = accumulate(values, lambda old, x: weight * x + (1 - weight) * old, initial=start)
    return tuple(averages)[1:]


def ewma_limits(
    *, centre: float, sigma: float, weight: float, width: float = 3.0, after: int | None = None
) -> Limits:
    """Limits for the EWMA `after` that many readings, or the settled ones (NIST 6.3.2.4).

    Half width = width · sigma · √(λ/(2-λ) · (1 - (1-λ)^(2·after))); the settled ones leave the
    last bracket out.

    Raises:
        ValueError: the weight is not in (0, 1], or `after` is below 1.
    """
    half = width * sigma * math.sqrt(ewma_variance(weight=weight, after=after))
    return Limits(lower=centre - half, centre=centre, upper=centre + half)


def ewma_variance(*, weight: float, after: int | None = None) -> float:
    """The variance of the EWMA over that of a reading, `after` that many readings or settled.

    Raises:
        ValueError: the weight is not in (0, 1], or `after` is below 1.
    """
    _check_weight(weight)
    settled = weight / (2 - weight)
    if after is None:
        return settled
    if after < 1:
        raise ValueError(f"expected 1 reading or more, not {after!r}")
    return settled * (1 - (1 - weight) ** (2 * after))


def _check_weight(weight: float) -> None:
    if not 0 < weight <= 1:
        raise ValueError(f"expected a weight above 0 and up to 1, not {weight!r}")
