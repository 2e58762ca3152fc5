"""What the speeds of one day have in common: line voltage, oil, weather, the watch.

It is taken out before a brush is held against its own level, so that a cold morning does not
accuse ten of them; and it is watched for itself, so that nothing is hidden by that.
"""

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from itertools import pairwise
from statistics import fmean, median
from typing import TypeAlias

from ledger.compute.drift import MIN_BASELINE
from ledger.compute.numbers import weighted_mean
from ledger.compute.trend import BASELINE_READINGS, TimedReading
from ledger.upkeep.drift.series import Measured, Rebase, Series, SeriesReading
from ledger.values import grouped, replace

LEAST_OTHERS = 5
"""Of fewer other brushes read on a day the median is as uncertain as what it should take out."""

Parted = tuple[Rebase | None, tuple[SeriesReading, ...], tuple[SeriesReading, ...]]


def parted(series: Series) -> Iterator[Parted]:
    """Each stretch of a series: what began it, the readings of its baseline, and the others.

    A reading on the very day of a change counts to what follows it. Stretches without a reading
    are left out, but for the last, which says since when nothing is known.
    """
    # Of several on one day a renewed part says more than a changed setting.
    by_day = {
        rebase.day: rebase
        for rebase in sorted(series.rebases, key=lambda rebase: rebase.ends_trend)
    }
    for begin, end in pairwise((date.min, *sorted(by_day), date.max)):
        held = tuple(one for one in series.readings if begin <= one.entry.day < end)
        if held or end == date.max:
            yield by_day.get(begin), held[:BASELINE_READINGS], held[BASELINE_READINGS:]


Deviation: TypeAlias = tuple[float, float]
"""How far what was read on a day lies above the first level, as a share of it, and its standard
uncertainty."""

Days: TypeAlias = Mapping[int, Mapping[str, Deviation]]
"""The deviations of each day, by its ordinal, by machine in walking order; days with too few are
left out."""


def deviations(series: Series) -> Mapping[int, Deviation]:
    """Those of each day from the level of its stretch, by the day's ordinal."""
    levels = _levels(series)
    held = (reading for reading in series.readings if reading.entry.day in levels)
    found = {}
    for day, readings in grouped(held, lambda reading: reading.entry.day).items():
        measured = [reading.measured for reading in readings]
        # What they share the level has too.
        mean, u = weighted_mean([one.value for one in measured], [one.own_u**2 for one in measured])
        found[day.toordinal()] = mean / levels[day] - 1, u / levels[day]
    return found


def days_in_common(found: Mapping[str, Mapping[int, Deviation]]) -> Days:
    """The days on which enough was read, by day, from the deviations of each machine."""
    days: dict[int, dict[str, Deviation]] = defaultdict(dict)
    for machine, of_day in found.items():
        for day, deviation in of_day.items():
            days[day][machine] = deviation
    return {day: of for day, of in sorted(days.items()) if len(of) > LEAST_OTHERS}


def less_common(series: Series, days: Days) -> Series:
    """The series with the common part noted beside its readings.

    The common part of a day is the median of the other brushes' deviations, and its uncertainty
    that of a median, √(π/2) of a mean's. Days with fewer than five other brushes have none.
    """
    levels = _levels(series)
    readings = []
    for reading in series.readings:
        day = reading.entry.day
        level, of_day = levels.get(day), days.get(day.toordinal())
        common = None
        if level is not None and of_day is not None:
            value, u = _middle([one for who, one in of_day.items() if who != series.place.machine])
            common = Measured(value=level * value, u=level * u)
        readings.append(replace(reading, common=common))
    return replace(series, readings=tuple(readings))


def together(days: Days) -> tuple[TimedReading, ...]:
    """What all brushes of a day have in common, in %."""
    middles = ((day, _middle(list(of_day.values()))) for day, of_day in days.items())
    return tuple(
        TimedReading(day=day, value=100 * value, standard_uncertainty=100 * u)
        for day, (value, u) in middles
    )


def _levels(series: Series) -> Mapping[date, float]:
    """The level of the first readings of its stretch, for each day of a reading."""
    return {
        reading.entry.day: fmean(one.measured.value for one in first)
        for _, first, rest in parted(series)
        if len(first) >= MIN_BASELINE
        for reading in (*first, *rest)
    }


def _middle(deviations: Sequence[Deviation]) -> Deviation:
    values, us = zip(*deviations, strict=True)
    return median(values), math.sqrt(math.pi / 2) * math.hypot(*us) / len(us)
