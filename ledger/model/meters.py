"""What the site's meters have counted, and what follows: days between tasks, hours run."""

from bisect import bisect_right
from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime, time, timedelta
from functools import cache
from itertools import accumulate

from ledger.compute import recurrence
from ledger.compute.meter import MeterLog, MeterReading, meter_log, total_on
from ledger.compute.recurrence import Interval, Rule, Unit
from ledger.model.ledger import Ledger
from ledger.model.machines import Absence, Machine
from ledger.model.site import Site
from ledger.model.tasks import Task
from ledger.values import dataclass, replace


def log_of(ledger: Ledger, meter: str, until: date = date.max) -> MeterLog:
    """What a meter had counted as far as it was read by a day; empty where it never was."""
    return meter_log(
        MeterReading(on=day, reading=reading)
        for day, reading in ledger.overall.meters.get(meter, ())
        if day <= until
    )


def vehicle_log(ledger: Ledger, until: date = date.max) -> MeterLog:
    """The log of the first meter of the site that counts vehicles."""
    meter = _vehicle_meter(ledger.site)
    return log_of(ledger, meter, until) if meter else MeterLog()


def _vehicle_meter(site: Site) -> str:
    return next((one.ident for one in site.meters.values() if one.counts == "vehicles"), "")


DAYS_IN_YEAR = 365.2425
DAYS_IN_MONTH = DAYS_IN_YEAR / 12

_DAYS = {Unit.DAY: 1.0, Unit.WEEK: 7.0, Unit.MONTH: DAYS_IN_YEAR / 12, Unit.YEAR: DAYS_IN_YEAR}


# A rule is counted over four years, which hold a leap year.
_RULE_SPAN = timedelta(days=1461)


class Pace:
    """How fast the meters of one ledger run over the whole record; read once, asked often."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._per_day = {meter: _per_day(ledger, meter) for meter in ledger.site.meters}
        self._vehicles = _vehicle_meter(ledger.site)

    def interval_days(self, task: Task) -> float | None:
        """The shortest of a task's intervals in days; None where none of them can be said."""
        known = (self._days(every, task) for every in task.every)
        return min(filter(None, known), default=None)

    def _days(self, every: Interval, task: Task) -> float | None:
        match every:
            case recurrence.Vehicles() | recurrence.Hours():
                is_of_hours = isinstance(every, recurrence.Hours)
                per_day = self._per_day.get(task.hours_meter if is_of_hours else self._vehicles)
                return every.count / per_day if per_day else None
            case _:
                return calendar_days(self._ledger, task, every)


def calendar_days(ledger: Ledger, task: Task, every: Interval) -> float | None:
    """The days of an interval that the calendar counts; None for one that a meter counts."""
    match every:
        case recurrence.Calendar():
            return every.count * _DAYS[every.unit]
        case Rule():
            return _rule_days(every, task.starts or ledger.site.in_service)
        case _:
            return None


def _rule_days(rule: Rule, anchor: date) -> float | None:
    """The mean days between the rule's dates."""
    end = anchor + _RULE_SPAN
    dates = []
    day: date | None = anchor - timedelta(days=1)
    while day is not None and day <= end:
        _, day = recurrence.rule_neighbours(rule, anchor, day)
        if day is not None:
            dates.append(day)
    if len(dates) < 2:
        return None
    return (dates[-1] - dates[0]).days / (len(dates) - 1)


def _per_day(ledger: Ledger, meter: str) -> float | None:
    log = log_of(ledger, meter)
    if len(log.days) < 2:
        return None
    return (log.totals[-1] - log.totals[0]) / (log.days[-1] - log.days[0]).days


OPENING_HOURS = "opening hours"

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Watch:
    """The days on which a machine was watched, and its operating hours up to each.

    `basis` says what counted the hours: the name of a meter, or `OPENING_HOURS`.
    """

    first: date
    last: date
    basis: str
    count: Callable[[date], float]
    absences: tuple[Absence, ...] = ()

    @property
    def hours(self) -> float:
        """Operating hours of the whole watch."""
        return self.count(self.last + _DAY) - self.count(self.first)

    @property
    def hours_per_day(self) -> float:
        """Operating hours of a mean day of the watch."""
        return self.hours / ((self.last - self.first).days + 1)

    def hours_at(self, day: date) -> float:
        """Hours run by the middle of a day, since the time of day hardly tells the hours run."""
        middle = (self.count(day) + self.count(day + _DAY)) / 2
        return middle - self.count(self.first)

    def holds(self, day: date) -> bool:
        return self.first <= day <= self.last and not any(a.holds(day) for a in self.absences)


class Watches:
    """The watch of every machine of one ledger; meters are read once."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._last = ledger.overall.last_day or ledger.site.record_begins
        self._last_failed = max(
            (entry.day for entry in ledger.events if entry.failed), default=date.min
        )
        self._logs = {
            meter.ident: log_of(ledger, meter.ident)
            for meter in ledger.site.meters.values()
            if meter.counts == "hours"
        }
        self._line_meter = _line_meter(ledger, self._logs)
        self._opening = _opening_hours(ledger.site, self._last + _DAY)

    def of(self, machine: Machine) -> Watch | None:
        """The watch of a machine; None where it did not run within the record.

        A meter named after the machine counts for it (`compressor_hours` for `compressor`),
        otherwise the line's: one named after the conveyor, or after no machine. It ends with the
        last reading of the meter, or the last failure where that is later; by opening hours with
        the last visit; for a machine out of service the day before that.
        """
        last = self._last
        if machine.out_of_service is not None:
            last = min(last, machine.out_of_service - _DAY)
        watch = self._metered(machine, last) or Watch(
            first=max(machine.in_service, self._ledger.site.record_begins),
            last=last,
            basis=OPENING_HOURS,
            count=self._opening,
        )
        away = [a for a in machine.absences if a.last is not None]
        watch = replace(watch, count=_without(away, watch.count), absences=tuple(away))
        return watch if watch.first <= watch.last and watch.hours > 0 else None

    def _metered(self, machine: Machine, last: date) -> Watch | None:
        own = [meter for meter in _meters_of(machine) if meter in self._logs]
        ident = own[0] if own else self._line_meter
        log = self._logs.get(ident, MeterLog())
        # One reading tells no hours, and hours before the first reading are not known.
        if len(log.days) < 2:
            return None
        return Watch(
            first=max(machine.in_service, log.days[0]),
            last=min(last, max(log.days[-1], self._last_failed)),
            basis=self._ledger.site.meters[ident].name,
            count=lambda day: total_on(log, day) or 0.0,
        )


def _without(
    absences: Sequence[Absence], count: Callable[[date], float]
) -> Callable[[date], float]:
    """The count without what was counted while the machine was away; absences do not overlap."""

    def left(day: date) -> float:
        away = sum(
            count(min(day, absence.last + _DAY)) - count(absence.first)
            for absence in absences
            if absence.last is not None and absence.first < day
        )
        return count(day) - away

    return left


def _opening_hours(site: Site, end: date) -> Callable[[date], float]:
    """Counts the hours open from the day the record begins up to the beginning of a day."""
    span = max(0, (end - site.record_begins).days)
    days = [site.record_begins + _DAY * n for n in range(span + 1)]
    totals = [0.0, *accumulate(open_hours(site, day) for day in days)]
    return lambda day: totals[bisect_right(days, day - _DAY)]


def _meters_of(machine: Machine) -> list[str]:
    """The names of a meter that counts for the machine, by what it is and was called."""
    return [f"{name.replace('-', '_')}_hours" for name in (machine.ident, *machine.formerly)]


def _line_meter(ledger: Ledger, meters: Iterable[str]) -> str:
    machines = ledger.machines.values()
    conveyors = [name for m in machines if m.kind == "conveyor" for name in _meters_of(m)]
    of_others = {name for m in machines for name in _meters_of(m)} - {*conveyors}
    fitting = [meter for meter in meters if meter not in of_others]
    return next((meter for meter in fitting if meter in conveyors), next(iter(fitting), ""))


def open_between(site: Site, begin: datetime, end: datetime) -> float:
    """Hours open from one instant to another."""
    first, last = (moment.astimezone(site.zone).date() for moment in (begin, end))
    hours = 0.0
    for day in (first + _DAY * n for n in range((last - first).days + 1)):
        if times := _times_open(site, day):
            opens, closes = (datetime.combine(day, one, site.zone) for one in times)
            hours += max(timedelta(), min(closes, end) - max(opens, begin)) / timedelta(hours=1)
    return hours


def counted_between(log: MeterLog, first: date, last: date) -> float:
    """Counted from one day to another; nothing counts as nought where it cannot be said."""
    return (total_on(log, last) or 0.0) - (total_on(log, first) or 0.0)


def open_hours(site: Site, day: date) -> float:
    """Hours open on a day, by the clock on the wall."""
    times = _times_open(site, day)
    return 0.0 if times is None else _hours_between(*times)


@cache
def _hours_between(opens: time, closes: time) -> float:
    begin, end = (datetime.combine(date.min, one) for one in (opens, closes))
    return (end - begin) / timedelta(hours=1)


def _times_open(site: Site, day: date) -> tuple[time, time] | None:
    """When the site opens and closes on a day; None where it stays closed."""
    times = site.open_hours.get(day.weekday())
    is_closed = times is None or any(c.first <= day <= c.last for c in site.closures)
    return None if is_closed else times
