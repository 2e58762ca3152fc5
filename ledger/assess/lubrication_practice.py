"""How often a task comes round in days, whatever its intervals count by."""

from datetime import date, timedelta

from ledger.assess.meters import log_of
from ledger.compute.recurrence import (
    Calendar,
    Hours,
    Interval,
    Rule,
    Unit,
    Vehicles,
    rule_neighbours,
)
from ledger.model.ledger import Ledger
from ledger.model.tasks import Task

DAYS_IN_YEAR = 365.2425
_DAYS = {Unit.DAY: 1.0, Unit.WEEK: 7.0, Unit.MONTH: DAYS_IN_YEAR / 12, Unit.YEAR: DAYS_IN_YEAR}

# A rule is counted over four years, which hold a leap year.
_RULE_SPAN = timedelta(days=1461)


class Pace:
    """How fast the meters of one ledger run over the whole record; read once, asked often."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._per_day = {meter: _per_day(ledger, meter) for meter in ledger.site.meters}
        self._vehicles = next(
            (meter.ident for meter in ledger.site.meters.values() if meter.counts == "vehicles"), ""
        )

    def interval_days(self, task: Task) -> float | None:
        """The shortest of a task's intervals in days; None where none of them can be said."""
        known = [
            days for every in task.every if (days := self._days(every, task)) is not None and days
        ]
        return min(known, default=None)

    def _days(self, every: Interval, task: Task) -> float | None:
        match every:
            case Vehicles():
                return _quotient(every.count, self._per_day.get(self._vehicles))
            case Hours():
                return _quotient(every.count, self._per_day.get(task.hours_meter))
            case Calendar() | Rule():
                return calendar_days(self._ledger, task, every)


def calendar_days(ledger: Ledger, task: Task, every: Interval) -> float | None:
    """The days of an interval that the calendar counts; None for one that a meter counts."""
    match every:
        case Calendar():
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
        _, day = rule_neighbours(rule, anchor, day)
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


def _quotient(count: float, per_day: float | None) -> float | None:
    return count / per_day if per_day else None
