"""When a series will leave its limits, as far as its readings can say."""

import math
from collections.abc import Sequence
from datetime import date, timedelta
from typing import TypeAlias

from ledger.compute import trend
from ledger.compute.distributions import normal_quantile
from ledger.compute.meter import MeterLog
from ledger.compute.numbers import NotEnoughData, weighted_mean
from ledger.compute.shared import shared_covariance
from ledger.compute.trend import Line, NoTrend, StripForecast, fit_line
from ledger.upkeep.drift.series import STRIP_LENGTH, Measured, Series, SeriesReading
from ledger.values import dataclass

HORIZON = timedelta(days=3653)
"""No date further than ten years past the last reading is given: no part's wear is that even."""


_LEVEL_READINGS = 5


# One-sided, as a level is beyond one limit at a time.
_SURE_SIGMAS = normal_quantile(0.95)


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """When the true value leaves its limits, if wear goes on as it did.

    A day is None where it lies beyond the horizon, or where the readings set no such end.
    """

    limit: float
    on: date | None
    earliest: date | None
    latest: date | None
    line: Line


@dataclass(frozen=True, slots=True, kw_only=True)
class BeyondAlready:
    """The level of the last readings is beyond a limit at 95 %, whatever the pace."""

    limit: float
    level: Measured
    readings: int
    line: Line | NotEnoughData


@dataclass(frozen=True, slots=True, kw_only=True)
class NoLimit:
    """There is a pace, in the unit per day, but no limit is stated to hold it against."""

    line: Line


Outlook: TypeAlias = BeyondAlready | Crossing | StripForecast | NoTrend | NoLimit | NotEnoughData


def line_of(found: Outlook) -> Line | None:
    """The line that an outlook rests on; None where readings are too few for one."""
    line = found if isinstance(found, NotEnoughData) else found.line
    return None if isinstance(line, NotEnoughData) else line


def line_shown(found: Outlook) -> Line | None:
    """The line of a series that moves, over days; None where neither a rise nor a fall shows."""
    line = None if isinstance(found, StripForecast) else line_of(found)
    return line if line is not None and line.is_shown else None


def trend_readings(series: Series) -> tuple[SeriesReading, ...]:
    """The newest readings since the part was last renewed."""
    renewed = max((rebase.day for rebase in series.rebases if rebase.ends_trend), default=date.min)
    since = [reading for reading in series.readings if reading.entry.day >= renewed]
    return tuple(since[-trend.MOST_TREND_READINGS :])


def even_readings(readings: tuple[SeriesReading, ...]) -> tuple[SeriesReading, ...]:
    """The newest readings that move at one pace."""
    kept = trend.at_one_pace([reading.timed for reading in readings])
    return readings[len(readings) - kept :]


def level_now(readings: Sequence[SeriesReading]) -> Measured:
    """The weighted mean of the last five readings, and its uncertainty.

    u = 1/√Σ(1/u²) of their own, or more where they scatter: by the Birge ratio, never below 1.
    What they share is added once.
    """
    last = [reading.measured for reading in readings[-_LEVEL_READINGS:]]
    variances = [measured.own_u**2 for measured in last]
    mean, u = weighted_mean([measured.value for measured in last], variances)
    chi2 = math.fsum(((one.value - mean) / one.own_u) ** 2 for one in last)
    birge = math.sqrt(chi2 / (len(last) - 1)) if len(last) > 1 else 1.0
    parts = [
        (u**2 / variance, shared)
        for variance, one in zip(variances, last, strict=True)
        for shared in one.shared
    ]
    common = math.sqrt(shared_covariance(parts, parts))
    return Measured(value=mean, u=math.hypot(max(1.0, birge) * u, common))


def outlook(series: Series, readings: Sequence[SeriesReading], vehicles: MeterLog) -> Outlook:
    """When the series leaves its limits; strips by the vehicles washed where they are counted."""
    timed = [reading.timed for reading in readings]
    beyond = _beyond_already(series, readings)
    if beyond is not None:
        return beyond
    if series.kind == STRIP_LENGTH and series.lower is not None and vehicles.days:
        return trend.strip_forecast(timed, limit_mm=series.lower, vehicles=vehicles)
    if series.lower is None and series.upper is None:
        line = fit_line(timed)
        if isinstance(line, NotEnoughData):
            return line
        return NoLimit(line=line) if line.is_shown else NoTrend(line=line, text=trend.NOTHING_SHOWN)
    found = trend.limit_crossing(timed, lower=series.lower, upper=series.upper)
    if not isinstance(found, trend.LimitCrossing):
        return found
    last = readings[-1].entry.day
    return Crossing(
        limit=found.limit,
        on=_day(found.day, last),
        earliest=_day(found.earliest_day, last),
        latest=_day(found.latest_day, last),
        line=found.line,
    )


def _beyond_already(series: Series, readings: Sequence[SeriesReading]) -> BeyondAlready | None:
    if len(readings) < _LEVEL_READINGS:
        return None
    level = level_now(readings)
    reach = _SURE_SIGMAS * level.u
    if series.lower is not None and level.value + reach < series.lower:
        limit = series.lower
    elif series.upper is not None and level.value - reach > series.upper:
        limit = series.upper
    else:
        return None
    return BeyondAlready(
        limit=limit,
        level=level,
        readings=_LEVEL_READINGS,
        line=fit_line([reading.timed for reading in readings]),
    )


def _day(ordinal: float, last: date) -> date | None:
    """The day of an ordinal; None from the horizon on, and where the readings set no bound."""
    if not 1 <= ordinal < (last + HORIZON).toordinal():
        return None
    return date.fromordinal(math.floor(ordinal))
