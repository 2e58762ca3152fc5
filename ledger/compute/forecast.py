"""When drifting readings will cross a limit, with an interval, or that there is no trend."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ledger.compute.distributions import normal_quantile
from ledger.compute.not_enough_data import NotEnoughData
from ledger.compute.timed_reading import TimedReading, one_a_day
from ledger.compute.trend import RobustSlope, robust_slope, weighted_quantile

# A median of normal values is √(π/2) times as uncertain as their mean, and the median absolute
# deviation is 1/1.4826 of the standard deviation.
_MEDIAN_LOSS = math.sqrt(math.pi / 2)
_SD_PER_MAD = 1.4826


@dataclass(frozen=True, slots=True, kw_only=True)
class NoTrend:
    """The readings do not show that they move, or move away from the only limit.

    The slope and its bounds are in the unit of the readings per day, at the confidence `level`.
    """

    slope: RobustSlope
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitCrossing:
    """The day on which the level crosses `limit`, if the slope stays what it is.

    `earliest_day` and `latest_day` bound it at the slope's confidence level; an infinite latest
    day means that the data set no end. Days count as those of the readings and may be past.
    """

    limit: float
    day: float
    earliest_day: float
    latest_day: float
    slope: RobustSlope


def limit_crossing(
    readings: Sequence[TimedReading],
    *,
    lower: float | None = None,
    upper: float | None = None,
    level: float = 0.95,
) -> LimitCrossing | NoTrend | NotEnoughData:
    """The day the true level leaves its limits, from the robust slope of `readings`.

    Limits and values share a unit. The line goes through the weighted median of the residuals
    at the readings' mean day with the Theil-Sen slope; the interval solves
    (line - limit)² = t² u² for the day, after E. C. Fieller, J. R. Stat. Soc. B 16, 1954, with
    the uncertainty of level and slope. It is for the level of the line, not for a single
    reading, and supposes that wear goes on in proportion to time.
    `NoTrend` where the slope's interval holds 0 or no limit lies ahead; `NotEnoughData` below 5
    days of readings.

    Raises:
        ValueError: no limit is given, or the lower is above the upper.
    """
    if lower is None and upper is None:
        raise ValueError("expected a lower or an upper limit")
    if lower is not None and upper is not None and lower > upper:
        raise ValueError(f"expected limits in rising order, not {lower!r} and {upper!r}")
    slope = robust_slope(readings, level=level)
    if isinstance(slope, NotEnoughData):
        return slope
    # Bounds and test part by a hair at the edge of significance; both must speak.
    if slope.lower <= 0 <= slope.upper or slope.p_value > 1 - level or slope.slope == 0:
        return NoTrend(slope=slope, text="steady: neither a rise nor a fall shows")
    limit = upper if slope.slope > 0 else lower
    if limit is None:
        return NoTrend(slope=slope, text="the readings move away from the limit")
    return _crossing(one_a_day(readings), slope, limit)


def _crossing(daily: Sequence[TimedReading], slope: RobustSlope, limit: float) -> LimitCrossing:
    pivot, level, level_uncertainty = _level(daily, slope.slope)
    level_reach = normal_quantile((1 + slope.level) / 2) * level_uncertainty
    slope_reach = (slope.upper - slope.lower) / 2
    ahead = (limit - level) / slope.slope
    earliest, latest = _fieller(
        ahead, share=(slope_reach / slope.slope) ** 2, noise=(level_reach / slope.slope) ** 2
    )
    return LimitCrossing(
        limit=limit,
        day=pivot + ahead,
        earliest_day=pivot + earliest,
        latest_day=pivot + latest,
        slope=slope,
    )


def _fieller(ahead: float, *, share: float, noise: float) -> tuple[float, float]:
    """The days d after the pivot with (d - ahead)² <= noise + share · d², first and last.

    From a share of 1 on the slope is too vague to set an end, and for some limits a beginning.
    """
    radicand = share * ahead**2 + noise * (1 - share)
    if share < 1:
        root = math.sqrt(radicand)
        return (ahead - root) / (1 - share), (ahead + root) / (1 - share)
    if radicand < 0 or ahead <= 0:
        return -math.inf, math.inf
    return (ahead**2 - noise) / (ahead + math.sqrt(radicand)), math.inf


def _level(daily: Sequence[TimedReading], slope: float) -> tuple[float, float, float]:
    """The pivot day, the level of the line there, and its standard uncertainty.

    The uncertainty is the greater of what the readings state and what their scatter shows.
    """
    weights = [1 / r.standard_uncertainty**2 for r in daily]
    total = math.fsum(weights)
    pivot = math.fsum(w * r.day for w, r in zip(weights, daily, strict=True)) / total
    flat = [r.value - slope * (r.day - pivot) for r in daily]
    level = weighted_quantile(
        [(v, 1 / r.standard_uncertainty) for v, r in zip(flat, daily, strict=True)], 0.5
    )
    scaled = [
        (abs(v - level) / r.standard_uncertainty, 1.0) for v, r in zip(flat, daily, strict=True)
    ]
    scatter = _SD_PER_MAD * weighted_quantile(scaled, 0.5)
    return pivot, level, _MEDIAN_LOSS / math.sqrt(total) * max(1.0, scatter)
