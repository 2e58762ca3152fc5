"""A running meter (vehicles, hours) and the days a site is open, which due work counts by."""

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from datetime import date, timedelta

from ledger.values import dataclass

# Rounding in the totals must not turn a day on which a count is just reached into the next.
_DAY_SLACK = 1e-5


RECENT_SPAN_DAYS = 28  # four whole weeks, so that closed weekdays weigh alike in every span


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterReading:
    """The meter's face on a day."""

    on: date
    reading: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """Counted per day, over the days between the two readings it was taken from."""

    per_day: float
    span_days: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterLog:
    """What a meter has counted since its first reading, by day.

    `totals` never fall. Readings that stand out of line between their neighbours (a misread digit)
    are set aside. A meter that went back counts anew, the count between that reading and the one
    before being unknown and taken as none.
    """

    days: tuple[date, ...] = ()
    totals: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterFaults:
    """Which of a meter's readings, by their places in order, are set aside and which start anew."""

    misread: frozenset[int]
    resets: frozenset[int]


def meter_faults(readings: Sequence[float]) -> MeterFaults:
    """The readings, in order of time, that cannot be right or cannot be of one meter.

    A reading below the one before it is misread if the next returns above; failing that, the
    one before is misread if it alone was too high; failing both, the meter was reset, or one of
    the two is misread and nothing tells which.
    """
    kept: list[int] = []
    misread: set[int] = set()
    resets: set[int] = set()
    for place, now in enumerate(readings):
        if kept and now < readings[kept[-1]]:
            if place + 1 < len(readings) and readings[place + 1] >= readings[kept[-1]]:
                misread.add(place)
                continue
            if len(kept) > 1 and now >= readings[kept[-2]] and kept[-1] not in resets:
                misread.add(kept.pop())
            else:
                resets.add(place)
        kept.append(place)
    return MeterFaults(misread=frozenset(misread), resets=frozenset(resets))


def meter_log(readings: Iterable[MeterReading]) -> MeterLog:
    """The log of readings in any order; of several on one day the last given stands."""
    by_day = {reading.on: reading for reading in sorted(readings, key=lambda r: r.on)}
    ordered = list(by_day.values())
    faults = meter_faults([one.reading for one in ordered])
    days: list[date] = []
    totals: list[float] = []
    before = 0.0
    for place, now in enumerate(ordered):
        if place in faults.misread:
            continue
        gain = 0.0 if not days or place in faults.resets else now.reading - before
        totals.append(totals[-1] + gain if totals else 0.0)
        days.append(now.on)
        before = now.reading
    return MeterLog(days=tuple(days), totals=tuple(totals))


def recent_rate(log: MeterLog) -> Rate | None:
    """The rate between the last reading and the one nearest to 28 days before it.

    None with fewer than two days of readings.
    """
    if len(log.days) < 2:
        return None
    last = log.days[-1]
    start = min(
        range(len(log.days) - 1),
        key=lambda n: (abs((last - log.days[n]).days - RECENT_SPAN_DAYS), log.days[n]),
    )
    span_days = (last - log.days[start]).days
    return Rate(per_day=(log.totals[-1] - log.totals[start]) / span_days, span_days=span_days)


def total_on(log: MeterLog, day: date) -> float | None:
    """Counted since the first reading, by straight line between readings.

    Zero before the first reading (what went before is not known); past the last reading by the
    recent rate. None where it cannot be said.
    """
    if not log.days:
        return None
    if day <= log.days[0]:
        return 0.0
    place = bisect_left(log.days, day)
    if place == len(log.days):
        rate = recent_rate(log)
        if rate is None:
            return None
        return log.totals[-1] + rate.per_day * (day - log.days[-1]).days
    before, after = log.days[place - 1], log.days[place]
    share = (day - before).days / (after - before).days
    return log.totals[place - 1] + share * (log.totals[place] - log.totals[place - 1])


def day_reaching(log: MeterLog, total: float) -> date | None:
    """The first day on which the count has reached `total`, read or predicted.

    Predicted (later than the last reading) by the recent rate; None where there is no rate, the
    rate is zero, or the day lies past the year 9999.
    """
    if not log.days:
        return None
    if total <= log.totals[-1]:
        place = bisect_left(log.totals, total)
        if place == 0:
            return log.days[0]
        before, low, high = log.days[place - 1], log.totals[place - 1], log.totals[place]
        span_days = (log.days[place] - before).days
        # Held to the reading that proves it, which rounding could overshoot by a day.
        days = min(math.ceil(span_days * (total - low) / (high - low) - _DAY_SLACK), span_days)
        return before + timedelta(days=days)
    rate = recent_rate(log)
    if rate is None or rate.per_day <= 0:
        return None
    days_ahead = (total - log.totals[-1]) / rate.per_day
    if days_ahead > date.max.toordinal() - log.days[-1].toordinal() - 1:
        return None
    return log.days[-1] + timedelta(days=max(1, math.ceil(days_ahead - _DAY_SLACK)))


def log_until(log: MeterLog, day: date) -> MeterLog:
    """The log as far as it had been read on `day`."""
    end = bisect_right(log.days, day)
    return MeterLog(days=log.days[:end], totals=log.totals[:end])


_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Closure:
    """A run of closed days, first and last included."""

    first: date
    last: date


@dataclass(frozen=True, slots=True, kw_only=True)
class OperatingCalendar:
    """The open weekdays (ISO 8601: Monday 1 to Sunday 7) less the closures.

    Raises ValueError where no weekday is open, a weekday is not 1 to 7, or a closure ends
    before it begins.
    """

    open_weekdays: frozenset[int] = frozenset(range(1, 8))
    closures: tuple[Closure, ...] = ()

    def __post_init__(self) -> None:
        if not self.open_weekdays or not self.open_weekdays <= frozenset(range(1, 8)):
            raise ValueError("open weekdays are one or more of 1 (Monday) to 7 (Sunday)")
        if any(closure.last < closure.first for closure in self.closures):
            raise ValueError("a closure ends before it begins")

    def is_open(self, day: date) -> bool:
        return day.isoweekday() in self.open_weekdays and self._closure_of(day) is None

    def last_open_on_or_before(self, day: date) -> date | None:
        """None where no open day is left before the year 1."""
        while True:
            closure = self._closure_of(day)
            if closure is None and day.isoweekday() in self.open_weekdays:
                return day
            before = day if closure is None else closure.first
            if before == date.min:
                return None
            day = before - _DAY

    def first_open_after(self, day: date) -> date | None:
        """None where no open day is left before the year 10000."""
        while day < date.max:
            day += _DAY
            closure = self._closure_of(day)
            if closure is not None:
                day = closure.last
            elif day.isoweekday() in self.open_weekdays:
                return day
        return None

    def _closure_of(self, day: date) -> Closure | None:
        # A plain loop: sites have few closures, and due dates ask often.
        for closure in self.closures:
            if closure.first <= day <= closure.last:
                return closure
        return None
