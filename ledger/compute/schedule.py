"""When work on one point is due, in its window or overdue, and whether past work was in time.

Both answers rest on one row of due dates, so that the list of due work and the share of work done
in its window, a kind of indicator of EN 15341, cannot disagree.

After a base day (the last time done, or the day the point entered service) a cycle has a row of
due dates, each with a window. A due date is *discharged* by work done on a day on which its window
has opened. The window opens `early_days` before the due date and closes `late_days` after it, but
never reaches into the window before or after: it opens at the earliest on the day after the due
date before (or after the base), and closes at the latest on the day before the next window opens.

Dates that move: work of every day is not due on closed days; any other due date moves to the last
open day before it, never later. Where that brings it, window and all, back to the base or to the
due date before, the work has just been done or is due already, and the due date falls away.

Intervals that roll count from the base. Fixed dates (calendar intervals that count on the
calendar, and RFC 5545 rules always) count from the anchor. Meter intervals always roll. Of several
intervals the first to come makes the due date; after one that was missed the others count from it.
"""

from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from enum import StrEnum

from ledger.compute import meter, recurrence
from ledger.compute.meter import MeterLog, OperatingCalendar, Rate, day_reaching, total_on
from ledger.compute.recurrence import Calendar, Hours, Interval, Rule, Vehicles, is_daily
from ledger.values import dataclass, field


class CountsFrom(StrEnum):
    """Whether calendar intervals roll from the last time done or stand on the calendar."""

    LAST_DONE = "last-done"
    CALENDAR = "calendar"


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Days a task may be done before and after its due date."""

    early_days: int = 0
    late_days: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """How one task comes round at one point.

    `in_service` is the day from which an undone task counts; work done from `done_from` on counts,
    by default from the same day. `anchor` starts the fixed dates, which count it as their first,
    and is a rule's DTSTART. With `is_due_at_once` the day in service is the first due date.
    """

    intervals: tuple[Interval, ...]
    in_service: date
    anchor: date
    done_from: date | None = None
    is_due_at_once: bool = False
    counts_from: CountsFrom = CountsFrom.LAST_DONE
    window: Window = Window()
    operating: OperatingCalendar = field(default_factory=OperatingCalendar)

    def days_done(self, done: Iterable[date], as_of: date) -> list[date]:
        """The days that count among those on which the work was done, the earliest first."""
        first = self.done_from or self.in_service
        days = sorted(set(done))
        # Of most places every day counts, which two questions tell.
        if days and first <= days[0] and days[-1] <= as_of:
            return days
        return [day for day in days if first <= day <= as_of]

    @property
    def undone_base(self) -> date:
        """The base day where nothing was done yet."""
        return self.in_service - _DAY if self.is_due_at_once else self.in_service


@dataclass(frozen=True, slots=True, kw_only=True)
class Meters:
    """The logs that meter intervals count by; read only up to the as-of day."""

    vehicles: MeterLog = field(default_factory=MeterLog)
    hours: MeterLog = field(default_factory=MeterLog)


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
    if cycle.is_due_at_once and base < cycle.in_service:
        base = cycle.in_service
        yield DueDate(due_on=base, opens=base, because=cycle.intervals[0])
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


def windows(
    cycle: Cycle, base: date, meters: Meters
) -> Iterator[tuple[DueDate, date, DueDate | None]]:
    """Each due date after a base day, the last day of its window, and the due date after it."""
    row = due_row(cycle, base, meters)
    spot = next(row, None)
    while spot is not None:
        then = next(row, None)
        latest = date.fromordinal(
            min(spot.due_on.toordinal() + cycle.window.late_days, date.max.toordinal())
        )
        yield spot, latest if then is None else min(latest, then.opens - _DAY), then
        spot = then


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
    while (nominal := recurrence.nth_date(interval, base, n)) is not None:
        if n == 1:
            early = _early(cycle, base, nominal)
        due_on = cycle.operating.last_open_on_or_before(nominal)
        n += 1
        if due_on is None or due_on - early <= base or due_on == before:
            closed_to = _closed_to(cycle, nominal)
            if closed_to is None:
                return
            n = max(n, recurrence.first_n_after(interval, base, closed_to))
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
        return recurrence.rule_neighbours(interval, anchor, after)
    n = recurrence.first_n_after(interval, anchor, after)
    return (recurrence.nth_date(interval, anchor, n - 1) if n else None), recurrence.nth_date(
        interval, anchor, n
    )


class State(StrEnum):
    """Where a due date stands on a day; unknown only where no interval can be dated.

    What is paused can wait whatever its dates are: its machine is out of action.
    """

    NOT_DUE = "not due"
    IN_WINDOW = "due"
    OVERDUE = "overdue"
    PAUSED = "tied back"
    UNKNOWN = "unknown"


class Outcome(StrEnum):
    """What became of an obligation."""

    IN_WINDOW = "in time"
    LATE = "late"
    EARLY = "early"
    MISSED = "not done"
    OPEN = "open"


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """The next due date of a task at a point, as seen on a day, by which its state goes.

    Where no window tells the state, `rests` does. `because` is the interval that came first.
    `predicted` says that the date rests on a meter's recent rate, which `rate` gives.
    """

    seen_on: date
    rests: State | None = None
    due_on: date | None = None
    window_from: date | None = None
    window_to: date | None = None
    because: Interval | None = None
    predicted: bool = False
    rate: Rate | None = None

    @property
    def state(self) -> State:
        if self.rests is not None or self.window_from is None or self.window_to is None:
            return self.rests or State.UNKNOWN
        if self.seen_on < self.window_from:
            return State.NOT_DUE
        return State.IN_WINDOW if self.seen_on <= self.window_to else State.OVERDUE

    @property
    def overdue_days(self) -> int:
        """Counted from the close of the window, so the first day too late is 1."""
        if self.window_to is None or self.state is not State.OVERDUE:
            return 0
        return (self.seen_on - self.window_to).days


@dataclass(frozen=True, slots=True)
class Obligation:
    """One due date and what became of it."""

    due_on: date
    window_from: date
    window_to: date
    done_on: date | None
    outcome: Outcome


def next_due(
    cycle: Cycle, *, done: Iterable[date], as_of: date, meters: Meters | None = None
) -> Due:
    """The earliest due date that nothing done up to `as_of` has discharged.

    `done` are the days the task, or one that covers it, was done at the point, in any order; days
    after `as_of` or before work counts are left out. Entries that say not done do
    not belong in it.
    """
    known = _known(meters, as_of)
    base = max(cycle.days_done(done, as_of), default=cycle.undone_base)
    first = next(windows(cycle, base, known), None)
    if first is None:
        ended = all(isinstance(interval, Calendar | Rule) for interval in cycle.intervals)
        rests = State.NOT_DUE if ended else State.UNKNOWN
        return Due(seen_on=as_of, rests=rests)
    spot, closes, _ = first
    log = meter_of(spot.because, known)
    return Due(
        seen_on=as_of,
        due_on=spot.due_on,
        window_from=spot.opens,
        window_to=closes,
        because=spot.because,
        predicted=spot.predicted,
        rate=None if log is None else meter.recent_rate(log),
    )


def answered(
    cycle: Cycle,
    *,
    done: Iterable[date],
    as_of: date,
    last: date,
    after: date | None = None,
    meters: Meters | None = None,
) -> Iterator[Obligation]:
    """The due dates up to each day done, and what became of them; all of those up to `last`.

    Walking through the days done, oldest first, from the last on or before the day in service, or
    from that day:

    - A day done discharges the latest due date whose window had opened. That one's outcome is
      *in window*, or *late* when its window had closed. Earlier due dates since the base, whose
      windows the work did not meet, are *missed*: neglect over eight weeks of a weekly task is
      seven missed rounds and a late one, not one late round.
    - Work before any window had opened is *early* where the interval rolls, for the next due date
      then counts from it. On fixed dates it discharges nothing and has no obligation of its own.

    `done` is as for `next_due`. With `after`, the last day done that was dealt with before, those
    of later days alone. Of the days before that one none is asked for but the last before the day
    in service. Early work before a closure can bring the next due date before the one it
    discharged. The share done in the window over a period is the count of *in window* over the
    count of all, those of `unanswered` too, that are not *open*.
    """
    known = _known(meters, as_of)
    days_done = cycle.days_done(done, as_of)
    base = _first_base(cycle, days_done)
    for day in (day for day in days_done if day > base):
        if base >= last:
            return
        if after is None or day > after:
            yield from _settled(cycle, base, day, known)
        base = day


def unanswered(
    cycle: Cycle, *, done: Iterable[date], as_of: date, meters: Meters | None = None
) -> Iterator[Obligation]:
    """The due dates since the last day done.

    Those whose windows closed before `as_of` are *missed* (the latest of them becomes *late* if the
    work is done before the next window opens), and the first whose window has not closed is *open*.
    """
    days_done = cycle.days_done(done, as_of)
    base = max([_first_base(cycle, days_done), *days_done[-1:]])
    return _standing(cycle, base, as_of, _known(meters, as_of))


def _first_base(cycle: Cycle, days_done: Iterable[date]) -> date:
    return max(
        (day for day in days_done if day <= cycle.in_service and not cycle.is_due_at_once),
        default=cycle.undone_base,
    )


def _settled(cycle: Cycle, base: date, day: date, meters: Meters) -> Iterator[Obligation]:
    """The due dates between one day done and the next, the last of them done on `day`."""
    for spot, closes, then in windows(cycle, base, meters):
        if day < spot.opens:
            after = next(due_row(cycle, day, meters), None)
            if after is None or after.due_on != spot.due_on:
                yield Obligation(spot.due_on, spot.opens, closes, day, Outcome.EARLY)
            return
        if then is None or day < then.opens:
            outcome = Outcome.IN_WINDOW if day <= closes else Outcome.LATE
            yield Obligation(spot.due_on, spot.opens, closes, day, outcome)
            return
        yield Obligation(spot.due_on, spot.opens, closes, None, Outcome.MISSED)


def _standing(cycle: Cycle, base: date, as_of: date, meters: Meters) -> Iterator[Obligation]:
    """The due dates after the last day done: missed ones, and the one now open."""
    for spot, closes, _ in windows(cycle, base, meters):
        if closes >= as_of:
            yield Obligation(spot.due_on, spot.opens, closes, None, Outcome.OPEN)
            return
        yield Obligation(spot.due_on, spot.opens, closes, None, Outcome.MISSED)


def _known(meters: Meters | None, as_of: date) -> Meters:
    if meters is None:
        return Meters()
    return Meters(
        vehicles=meter.log_until(meters.vehicles, as_of), hours=meter.log_until(meters.hours, as_of)
    )
