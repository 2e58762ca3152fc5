"""The due dates of a cycle after a base day, each with its window.

After a base day (the last time done, or the day the point entered service) a cycle has a row of
due dates, each with a window. A due date is *discharged* by work done on a day on which its window
has opened. The window opens `early_days` before the due date
and closes `late_days` after it, but never reaches into the window before or after: it opens at
the earliest on the day after the due date before (or after the base), and closes at the latest on
the day before the next window opens.

Dates that move: work of every day is not due on closed days; any other due date moves to the last
open day before it, never later. Where that brings it, window and all, back to the base or to the
due date before, the work has just been done or is due already, and the due date falls away.

Intervals that roll count from the base. Fixed dates (calendar intervals that count on the
calendar, and RFC 5545 rules always) count from the anchor. Meter intervals always roll. Of several
intervals the first to come makes the due date; after one that was missed the others count from it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from ledger.compute.cycle import CountsFrom, Cycle, Meters
from ledger.compute.meter import MeterLog, day_reaching, total_on
from ledger.compute.recurrence import (
    Calendar,
    Hours,
    Interval,
    Rule,
    Vehicles,
    first_n_after,
    is_daily,
    nth_date,
    rule_neighbours,
)

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class DueDate:
    """A due date, the day its window opens, and the interval that made it.

    `predicted` where a meter had not yet been read to reach it.
    """

    due_on: date
    opens: date
    because: Interval
    predicted: bool = False


def due_row(cycle: Cycle, base: date, meters: Meters) -> Iterator[DueDate]:
    """The due dates after a base day, without end unless the intervals end."""
    if len(cycle.intervals) == 1 and cycle.counts_from is CountsFrom.LAST_DONE:
        interval = cycle.intervals[0]
        if isinstance(interval, Calendar) and not is_daily(interval):
            yield from _rolling_row(cycle, interval, base)
            return
    after = base
    while True:
        spots = [
            spot
            for interval in cycle.intervals
            if (spot := following(cycle, interval, after, meters)) is not None
        ]
        if not spots:
            return
        # Of two that fall together the later opening rules, so that work discharges both.
        first = min(spots, key=lambda spot: (spot.due_on, -spot.opens.toordinal()))
        yield first
        after = first.due_on


def following(cycle: Cycle, interval: Interval, after: date, meters: Meters) -> DueDate | None:
    """The first due date of an interval that work on day `after` has not discharged."""
    if isinstance(interval, Vehicles | Hours):
        return _following_meter(cycle, interval, after, meters)
    if isinstance(interval, Rule) or cycle.counts_from is CountsFrom.CALENDAR:
        return _following_fixed(cycle, interval, after)
    if is_daily(interval):
        due_on = cycle.operating.first_open_after(after)
        return None if due_on is None else DueDate(due_on=due_on, opens=due_on, because=interval)
    return next(_rolling_row(cycle, interval, after), None)


def window_close(cycle: Cycle, due: DueDate, then: DueDate | None) -> date:
    """The last day of a due date's window, given the due date after it, if there is one."""
    latest = date.fromordinal(
        min(due.due_on.toordinal() + cycle.window.late_days, date.max.toordinal())
    )
    return latest if then is None else min(latest, then.opens - _DAY)


def meter_of(interval: Interval, meters: Meters) -> MeterLog | None:
    """The log an interval counts by; None for intervals of the calendar."""
    if isinstance(interval, Vehicles):
        return meters.vehicles
    return meters.hours if isinstance(interval, Hours) else None


def _rolling_row(cycle: Cycle, interval: Calendar, base: date) -> Iterator[DueDate]:
    """Counted from the base throughout, so that a short month does not shorten the next."""
    before: date | None = None
    early = timedelta()
    n = 1
    while (nominal := nth_date(interval, base, n)) is not None:
        if n == 1:
            early = _early(cycle, base, nominal)
        due_on = cycle.operating.last_open_on_or_before(nominal)
        n += 1
        if due_on is None or due_on - early <= base or due_on == before:
            closed_to = _closed_to(cycle, nominal)
            if closed_to is None:
                return
            n = max(n, first_n_after(interval, base, closed_to))
            continue
        opens = due_on - early if before is None else max(due_on - early, before + _DAY)
        yield DueDate(due_on=due_on, opens=opens, because=interval)
        before = due_on


def _closed_to(cycle: Cycle, nominal: date) -> date | None:
    """The last day of the closed run a date that falls away lies in; None where it never ends.

    All dates of the run fall away with it, so a site that is closed for good costs one step.
    """
    reopens = cycle.operating.first_open_after(nominal)
    return None if reopens is None else reopens - _DAY


def _early(cycle: Cycle, base: date, nominal: date) -> timedelta:
    """The days by which a rolling window opens early, which stay within the interval."""
    return timedelta(days=min(cycle.window.early_days, (nominal - base).days - 1))


def _following_meter(
    cycle: Cycle, interval: Vehicles | Hours, after: date, meters: Meters
) -> DueDate | None:
    log = meters.vehicles if isinstance(interval, Vehicles) else meters.hours
    counted = total_on(log, after)
    if counted is None:
        return None
    early: timedelta | None = None
    n, tries = 1, 0
    while (reached := day_reaching(log, total := counted + n * interval.count)) is not None:
        nominal = max(reached, after + _DAY)
        early = _early(cycle, after, nominal) if early is None else early
        due_on = cycle.operating.last_open_on_or_before(nominal)
        if due_on is not None and due_on - early > after:
            return DueDate(
                due_on=due_on,
                opens=due_on - early,
                because=interval,
                predicted=total > log.totals[-1],
            )
        closed_to = _closed_to(cycle, nominal)
        by_then = None if closed_to is None else total_on(log, closed_to)
        if by_then is None:
            break
        reopening = int((by_then - counted) / interval.count)
        if reopening > n:
            n = reopening
            continue
        # Rounding may ask for a step or two more; the slack in the days of a racing meter holds
        # many counts, which steps that double get over.
        n += max(1, 2**tries // 4)
        tries += 1
    return None


def _following_fixed(cycle: Cycle, interval: Calendar | Rule, after: date) -> DueDate | None:
    daily = is_daily(interval)
    operating = cycle.operating
    early = timedelta(days=cycle.window.early_days)
    before, nominal = _fixed_neighbours(interval, cycle.anchor, after)
    due_before = None if before is None else operating.last_open_on_or_before(before)
    while nominal is not None:
        falls = not daily or operating.is_open(nominal)
        due_on = operating.last_open_on_or_before(nominal) if falls else None
        if due_on is not None and due_on != due_before:
            opens = due_on - early
            if due_before is not None:
                opens = max(opens, due_before + _DAY)
            if opens > after:
                return DueDate(due_on=due_on, opens=opens, because=interval)
            due_before = due_on
            passed: date | None = nominal
        else:
            passed = _closed_to(cycle, nominal)
        if passed is None:
            return None
        _, nominal = _fixed_neighbours(interval, cycle.anchor, passed)
    return None


def _fixed_neighbours(
    interval: Calendar | Rule, anchor: date, after: date
) -> tuple[date | None, date | None]:
    if isinstance(interval, Rule):
        return rule_neighbours(interval, anchor, after)
    n = first_n_after(interval, anchor, after)
    return (nth_date(interval, anchor, n - 1) if n else None), nth_date(interval, anchor, n)
