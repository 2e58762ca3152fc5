"""What the speeds of one day have in common: line voltage, oil, weather, the watch.

It is taken out before a brush is held against its own level, so that a cold morning does not
accuse ten of them; and it is watched for itself, so that nothing is hidden by that.
"""

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from statistics import fmean, median

from ledger.compute.drift import MIN_BASELINE
from ledger.compute.numbers import weighted_mean
from ledger.compute.trend import TimedReading, stretches
from ledger.upkeep.drift.series import Measured, Rebase, Series, SeriesReading

LEAST_OTHERS = 5
"""Of fewer other brushes read on a day the median is as uncertain as what it should take out."""

Parted = tuple[Rebase | None, tuple[SeriesReading, ...], tuple[SeriesReading, ...]]


def parted(series: Series) -> Iterator[Parted]:
    """Each stretch of a series: what began it, the readings of its baseline, and the others."""
    found = stretches(
        [reading.timed for reading in series.readings],
        change_days=[rebase.day.toordinal() for rebase in series.rebases],
    )
    # Of several on one day a renewed part says more than a changed setting.
    by_day = {
        rebase.day.toordinal(): rebase
        for rebase in sorted(series.rebases, key=lambda rebase: rebase.ends_trend)
    }
    begin = 0
    for stretch in found:
        middle = begin + len(stretch.baseline)
        end = middle + len(stretch.watched)
        since = None if stretch.since_day is None else by_day[int(stretch.since_day)]
        yield since, series.readings[begin:middle], series.readings[middle:end]
        begin = end


def less_common(every: Sequence[Series]) -> tuple[tuple[Series, ...], tuple[TimedReading, ...]]:
    """The series with the common part noted beside their readings, and that part by day, in %.

    A reading's deviation is its share above the level of the first readings of its stretch; the
    common part of a day is the median of the other brushes' deviations, and its uncertainty that
    of a median, √(π/2) of a mean's. Days with fewer than five other brushes have none.
    """
    days: dict[date, dict[int, Measured]] = defaultdict(dict)
    levels: list[Mapping[date, float]] = []
    for number, series in enumerate(every):
        levels.append(_levels(series))
        for day, deviation in _deviations(series, levels[-1]).items():
            days[day][number] = deviation
    changed = []
    for number, series in enumerate(every):
        readings = []
        for reading in series.readings:
            day = reading.entry.day
            others = [one for other, one in days.get(day, {}).items() if other != number]
            level = levels[number].get(day)
            common = None
            if level is not None and len(others) >= LEAST_OTHERS:
                middle = _middle(others)
                common = Measured(value=level * middle.value, u=level * middle.u)
            readings.append(replace(reading, common=common))
        changed.append(replace(series, readings=tuple(readings)))
    together = [
        TimedReading(
            day=day.toordinal(), value=100 * middle.value, standard_uncertainty=100 * middle.u
        )
        for day, found in sorted(days.items())
        if len(found) > LEAST_OTHERS
        for middle in (_middle(list(found.values())),)
    ]
    return tuple(changed), tuple(together)


def _levels(series: Series) -> Mapping[date, float]:
    """The level of the first readings of its stretch, for each day of a reading."""
    return {
        reading.entry.day: fmean(one.measured.value for one in first)
        for _, first, rest in parted(series)
        if len(first) >= MIN_BASELINE
        for reading in (*first, *rest)
    }


def _deviations(series: Series, levels: Mapping[date, float]) -> Mapping[date, Measured]:
    """How far the readings of each day lie above their level, as a share of it."""
    by_day: dict[date, list[Measured]] = defaultdict(list)
    for reading in series.readings:
        if reading.entry.day in levels:
            by_day[reading.entry.day].append(reading.measured)
    found = {}
    for day, measured in by_day.items():
        # What they share the level has too.
        mean, u = weighted_mean([one.value for one in measured], [one.own_u**2 for one in measured])
        found[day] = Measured(value=mean / levels[day] - 1, u=u / levels[day])
    return found


def _middle(deviations: Sequence[Measured]) -> Measured:
    u_mean = math.hypot(*(one.u for one in deviations)) / len(deviations)
    return Measured(
        value=median(one.value for one in deviations), u=math.sqrt(math.pi / 2) * u_mean
    )
