"""Work ahead: the minutes of the coming weeks against the hours of the people who may do it."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta

from ledger.compute.recurrence import is_daily
from ledger.compute.workload import Piece, Shortfall, levelled, shortfall
from ledger.model.ledger import Ledger
from ledger.model.site import Person
from ledger.upkeep.due.found import DueWork, Schedule, is_for_safety, minutes_of, minutes_of_walk
from ledger.values import dataclass, grouped

LEAST_TO_MOVE = 10.0
"""Minutes; less is not worth a word."""

_WEEK = timedelta(days=7)
_LOCKS = frozenset({"lockout"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """Minutes of one week, from a Monday on, or what is left of it.

    `daily` are those of daily rounds on the days the site is open, `by_kind` those of all work by
    the qualifications needed, its locks among them once a machine. `present` are the minutes of
    the people here whose hours are stated; None where nobody's are.
    """

    first: date
    open_days: int
    daily: float
    work: tuple[DueWork, ...]
    by_kind: Mapping[frozenset[str], float]
    present: float | None
    short: Shortfall | None

    @property
    def minutes(self) -> float:
        return sum(self.by_kind.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """Work that may as well be done in another week, within the window of each."""

    work: tuple[DueWork, ...]
    minutes: float
    planned: date
    better: date


@dataclass(frozen=True, slots=True, kw_only=True)
class Ahead:
    """Weeks in their order; `without_hours` are people here whose hours nobody stated."""

    weeks: tuple[Week, ...]
    moves: tuple[Move, ...]
    without_hours: tuple[Person, ...]


def ahead(ledger: Ledger, schedule: Schedule, as_of: date, weeks: int) -> Ahead:
    """The week of a day and those after it, each piece of work in the week in which it is due.

    Work that comes again is planned again, as if it were done when it is due; what is overdue is
    planned now. What is tied back is planned in no week.
    """
    monday = as_of - timedelta(days=as_of.weekday())
    mondays = [monday + n * _WEEK for n in range(weeks)]
    planned: dict[int, list[DueWork]] = defaultdict(list)
    for one in schedule.all_due():
        if any(map(is_daily, one.task.every)):
            continue
        for turn in schedule.upcoming(one, mondays[-1] + _WEEK):
            day = max(turn.due.due_on or as_of, as_of)
            planned[(day - monday).days // 7].append(turn)
    found = tuple(
        _week(ledger, schedule, first, as_of, planned[n]) for n, first in enumerate(mondays)
    )
    here = [one for one in ledger.site.people.values() if one.is_here(as_of)]
    return Ahead(
        weeks=found,
        moves=tuple(_moves(ledger, found)),
        without_hours=tuple(one for one in here if one.hours_per_week is None),
    )


def _week(
    ledger: Ledger, schedule: Schedule, first: date, as_of: date, work: Sequence[DueWork]
) -> Week:
    by_kind: dict[frozenset[str], float] = defaultdict(float)
    daily = 0.0
    every = (first + timedelta(days=n) for n in range(7))
    days = [day for day in every if day >= as_of and schedule.is_open(day)]
    for task in ledger.tasks.values():
        if task.minutes and any(map(is_daily, task.every)):
            in_use = [day for day in days if task.in_use(day)]
            places = [schedule.service(place) for place in task.places]
            minutes = task.minutes * sum(one.in_use(day) for day in in_use for one in places)
            by_kind[task.needs] += minutes
            daily += minutes
    for one in work:
        by_kind[one.task.needs] += minutes_of([one])
    by_kind[_LOCKS] += minutes_of_walk(ledger, work) - minutes_of(work)
    here = [p for p in ledger.site.people.values() if any(map(p.is_here, days))]
    people = [(p.qualified, 60 * p.hours_per_week) for p in here if p.hours_per_week is not None]
    return Week(
        first=first,
        open_days=len(days),
        daily=daily,
        work=tuple(work),
        by_kind={kind: minutes for kind, minutes in by_kind.items() if minutes},
        present=sum(minutes for _, minutes in people) if people else None,
        short=shortfall(by_kind, people) if people else None,
    )


def _moves(ledger: Ledger, weeks: Sequence[Week]) -> Iterator[Move]:
    """What to move so that the weeks are level: never work for safety, by law, or overdue."""
    mondays = [week.first for week in weeks]
    fixed = [week.daily for week in weeks]
    groups: list[list[DueWork]] = []
    pieces: list[Piece] = []
    for number, week in enumerate(weeks):
        # What is locked at one machine is done in one visit.
        together = grouped(
            week.work, lambda one: one.place.machine if one.task.lockout else one.task.ident
        )
        for group in together.values():
            minutes = minutes_of_walk(ledger, group)
            may_be_in = [n for n, first in enumerate(mondays) if _would_do(ledger, group, first)]
            if minutes >= LEAST_TO_MOVE and number in may_be_in and len(may_be_in) > 1:
                groups.append(group)
                pieces.append(Piece(minutes=minutes, planned=number, weeks=may_be_in))
            else:
                fixed[number] += minutes
    days = [week.open_days for week in weeks]
    for group, piece, to in zip(groups, pieces, levelled(fixed, days, pieces), strict=True):
        if to != piece.planned:
            yield Move(
                work=tuple(group),
                minutes=piece.minutes,
                planned=mondays[piece.planned],
                better=mondays[to],
            )


def _would_do(ledger: Ledger, group: Sequence[DueWork], monday: date) -> bool:
    """Whether all of it may be moved at all, and lies in its window somewhen in the week."""
    return all(
        not one.due.overdue_days
        and not one.task.names_law
        and not is_for_safety(ledger, one.task)
        and one.due.window_from is not None
        and one.due.window_to is not None
        and one.due.window_from < monday + _WEEK
        and monday <= one.due.window_to
        for one in group
    )
