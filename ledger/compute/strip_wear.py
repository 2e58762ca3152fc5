"""Brush strips: how fast they shorten by vehicles washed, and when they reach their limit."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from ledger.compute.forecast import LimitCrossing, NoTrend, limit_crossing
from ledger.compute.meter import MeterLog, day_reaching, total_on
from ledger.compute.not_enough_data import NotEnoughData
from ledger.compute.timed_reading import TimedReading

# Common practice, no source: a torn edge and a hanging strip are read to about a quarter inch.
STRIP_U_MM = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StripReading:
    """A strip's length on a day, in mm, with its standard uncertainty."""

    on: date
    length_mm: float
    u_mm: float = STRIP_U_MM


@dataclass(frozen=True, slots=True, kw_only=True)
class StripForecast:
    """Wear in mm per thousand vehicles, with limits, and when the strips reach their limit.

    The dates are the middle, earliest and latest by the wear's confidence level and the meter's
    recent rate; None where no date can be set (no end, no rate, or past the year 9999).
    """

    wear_mm_per_thousand: float
    lower_mm_per_thousand: float
    upper_mm_per_thousand: float
    level: float
    limit_mm: float
    reached_on: date | None
    earliest_on: date | None
    latest_on: date | None


def strip_forecast(
    readings: Sequence[StripReading], *, limit_mm: float, vehicles: MeterLog, level: float = 0.95
) -> StripForecast | NoTrend | NotEnoughData:
    """Strip wear by vehicles washed, and the date it reaches `limit_mm`.

    The slope is robust (Theil-Sen) over the vehicle meter, not over days, so that a quiet winter
    does not look like better cloth; the crossing's dates follow from the meter's recent rate. The
    readings are of one set of strips: a new set begins anew. Days before the meter's first
    reading count as that reading. `NotEnoughData` without a meter or below five readings at
    different counts, `NoTrend` where the lengths do not show wear.
    """
    counted = [(reading, total_on(vehicles, reading.on)) for reading in readings]
    placed = [
        TimedReading(day=total / 1000, value=reading.length_mm, standard_uncertainty=reading.u_mm)
        for reading, total in counted
        if total is not None
    ]
    if not placed:
        return NotEnoughData(
            what="strip lengths with a vehicle count",
            have=0,
            need=1,
            why="wear is worked out by vehicles, and the vehicle meter has no readings",
        )
    crossing = limit_crossing(placed, lower=limit_mm, level=level)
    if not isinstance(crossing, LimitCrossing):
        return crossing
    return StripForecast(
        wear_mm_per_thousand=-crossing.slope.slope,
        lower_mm_per_thousand=-crossing.slope.upper,
        upper_mm_per_thousand=-crossing.slope.lower,
        level=level,
        limit_mm=limit_mm,
        reached_on=_on(vehicles, crossing.day),
        earliest_on=_on(vehicles, crossing.earliest_day),
        latest_on=_on(vehicles, crossing.latest_day),
    )


def _on(vehicles: MeterLog, thousands: float) -> date | None:
    return day_reaching(vehicles, thousands * 1000) if math.isfinite(thousands) else None
