"""When work on one point is due, in its window or overdue, and whether past work was in time.

Both answers rest on the one rule of `ledger.compute.due_row`, so that the list of due work and
the share of work done in its window, a kind of indicator of EN 15341, cannot disagree.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from ledger.compute.cycle import CountsFrom, Cycle, Meters, Window
from ledger.compute.due_row import DueDate, due_row, following, meter_of, window_close
from ledger.compute.meter import Rate, log_until, recent_rate
from ledger.compute.recurrence import Calendar, Interval, Rule

__all__ = [
    "CountsFrom",
    "Cycle",
    "Due",
    "Meters",
    "Obligation",
    "Outcome",
    "State",
    "Window",
    "next_due",
    "obligations",
]


class State(StrEnum):
    """Where a due date stands on a day; unknown only where no interval can be dated."""

    NOT_DUE = "not due"
    IN_WINDOW = "due"
    OVERDUE = "overdue"
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
    """The next due date of a task at a point, as seen on a day.

    `overdue_days` counts from the close of the window, so the first day too late is 1.
    `because` is the interval that came first. `predicted` says that the date rests on a meter's
    recent rate, which `rate` gives. `undated` are the intervals that could not be dated, because
    their meter has no readings or no rate, or their rule has ended.
    """

    state: State
    due_on: date | None = None
    window_from: date | None = None
    window_to: date | None = None
    overdue_days: int = 0
    because: Interval | None = None
    predicted: bool = False
    rate: Rate | None = None
    undated: tuple[Interval, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
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
    after `as_of` or before the point entered service are left out. Entries that say not done do
    not belong in it.
    """
    known = _known(meters, as_of)
    base = max((day for day in done if cycle.in_service <= day <= as_of), default=cycle.in_service)
    undated = tuple(
        interval for interval in cycle.intervals if following(cycle, interval, base, known) is None
    )
    row = due_row(cycle, base, known)
    spot = next(row, None)
    if spot is None:
        ended = all(isinstance(interval, Calendar | Rule) for interval in cycle.intervals)
        return Due(state=State.NOT_DUE if ended else State.UNKNOWN, undated=undated)
    closes = window_close(cycle, spot, next(row, None))
    log = meter_of(spot.because, known)
    return Due(
        state=state_on(as_of, opens=spot.opens, closes=closes),
        due_on=spot.due_on,
        window_from=spot.opens,
        window_to=closes,
        overdue_days=max(0, (as_of - closes).days),
        because=spot.because,
        predicted=spot.predicted,
        rate=None if log is None else recent_rate(log),
        undated=undated,
    )


def state_on(day: date, *, opens: date, closes: date) -> State:
    """Where a day lies by the window of work not done yet."""
    if day < opens:
        return State.NOT_DUE
    return State.IN_WINDOW if day <= closes else State.OVERDUE


def obligations(
    cycle: Cycle,
    *,
    done: Iterable[date],
    as_of: date,
    first: date,
    last: date,
    meters: Meters | None = None,
) -> tuple[Obligation, ...]:
    """Every due date from `first` to `last`, and what became of it as known on `as_of`.

    Walking through the days done, oldest first, from the day in service:

    - A day done discharges the latest due date whose window had opened. That one's outcome is
      *in window*, or *late* when its window had closed. Earlier due dates since the base, whose
      windows the work did not meet, are *missed*: neglect over eight weeks of a weekly task is
      seven missed rounds and a late one, not one late round.
    - Work before any window had opened is *early* where the interval rolls, for the next due date
      then counts from it. On fixed dates it discharges nothing and has no obligation of its own.
    - After the last day done, due dates whose windows closed before `as_of` are *missed* (the
      latest of them becomes *late* if the work is done before the next window opens), and the
      first whose window has not closed is *open*.

    The share done in the window over a period is the count of *in window* over the count of all
    that are not *open*. `done` is as for `next_due`.
    """
    known = _known(meters, as_of)
    days_done = sorted({day for day in done if cycle.in_service < day <= as_of})
    found: list[Obligation] = []
    base = cycle.in_service
    for day in days_done:
        found.extend(_settled(cycle, base, day, known))
        base = day
        if base >= last:
            break
    else:
        found.extend(_standing(cycle, base, as_of, known))
    # Early work before a closure can bring the next due date before the one it discharged.
    found.sort(key=lambda obligation: (obligation.due_on, obligation.window_from))
    return tuple(obligation for obligation in found if first <= obligation.due_on <= last)


def _settled(cycle: Cycle, base: date, day: date, meters: Meters) -> Iterator[Obligation]:
    """The due dates between one day done and the next, the last of them done on `day`."""
    row = due_row(cycle, base, meters)
    spot = next(row, None)
    if spot is None:
        return
    if day < spot.opens:
        after = next(due_row(cycle, day, meters), None)
        if after is None or after.due_on != spot.due_on:
            yield _obligation(spot, window_close(cycle, spot, next(row, None)), day, Outcome.EARLY)
        return
    for then in row:
        if day < then.opens:
            closes = window_close(cycle, spot, then)
            break
        yield _obligation(spot, window_close(cycle, spot, then), None, Outcome.MISSED)
        spot = then
    else:
        closes = window_close(cycle, spot, None)
    yield _obligation(spot, closes, day, Outcome.IN_WINDOW if day <= closes else Outcome.LATE)


def _standing(cycle: Cycle, base: date, as_of: date, meters: Meters) -> Iterator[Obligation]:
    """The due dates after the last day done: missed ones, and the one now open."""
    row = due_row(cycle, base, meters)
    spot = next(row, None)
    while spot is not None:
        then = next(row, None)
        closes = window_close(cycle, spot, then)
        if closes >= as_of:
            yield _obligation(spot, closes, None, Outcome.OPEN)
            return
        yield _obligation(spot, closes, None, Outcome.MISSED)
        spot = then


def _obligation(spot: DueDate, closes: date, done_on: date | None, outcome: Outcome) -> Obligation:
    return Obligation(
        due_on=spot.due_on,
        window_from=spot.opens,
        window_to=closes,
        done_on=done_on,
        outcome=outcome,
    )


def _known(meters: Meters | None, as_of: date) -> Meters:
    if meters is None:
        return Meters()
    return Meters(vehicles=log_until(meters.vehicles, as_of), hours=log_until(meters.hours, as_of))
