"""The share of work done in time, by task and month, and the due dates that nobody answered.

Also what one answer for a whole round covered, and faults found where it said all was in order.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from enum import StrEnum

from ledger.compute.schedule import Obligation, Outcome, answered, unanswered
from ledger.model.ledger import Ledger
from ledger.model.machines import InService
from ledger.model.meters import Pace
from ledger.model.references import Place
from ledger.model.tasks import Task
from ledger.model.visits import Entry
from ledger.upkeep.due.found import Schedule, comes_back, is_for_safety, is_looked_at
from ledger.upkeep.findings.found import findings
from ledger.values import dataclass

DEFINITION = (
    "Each due date of a task at a place counts once, in the month it falls in. It is in time when "
    "the work was done between the first and the last day that the task allows. Late, early and "
    "undone work is not in time. Due dates that are still open are left out. The days allowed are "
    "this site's own choice, and the share measures keeping to the plan, not what the work "
    "achieves."
)


class TaskGroup(StrEnum):
    """What a task is for, the weightiest first."""

    SAFETY = "safety and law"
    LUBRICATION = "lubrication"
    SPEED = "speeds and settings"
    MAKER = "maker's manual"
    OTHER = "everything else"


class Frequency(StrEnum):
    """How often a task comes round."""

    DAILY = "daily"
    WEEKLY = "weekly"
    MONTHLY = "monthly"
    RARER = "rarer"


# A weekly task may come every ten days, a monthly one every six weeks.
_LONGEST = ((Frequency.DAILY, 1.5), (Frequency.WEEKLY, 10.0), (Frequency.MONTHLY, 45.0))

_LUBRICANT_UNITS = frozenset({"stroke", "strokes", "g", "kg", "oz", "mL", "L", "qt", "gal"})

_OIL = "fluid"


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskInTime:
    """The due dates of one task by what became of them; those still open are left out.

    `months` maps a month's first day to its counts; months without due dates are left out.
    `not_done` are the due dates that no work answered, one for each place.
    """

    task: Task
    group: TaskGroup
    frequency: Frequency
    months: Mapping[date, Counter[Outcome]]
    not_done: tuple[date, ...]


@dataclass(frozen=True, slots=True)
class Settled:
    """The due dates of a task at some places that are not open any more.

    `months` counts them by the month's first day and what became of them, `not_done` are those
    that no work answered, `ahead` those that work answered before they came, each with what became
    of it; days are written as in ISO 8601.
    """

    task: str
    months: Sequence[tuple[str, str, int]]
    not_done: Sequence[str]
    ahead: Sequence[tuple[str, str]] = ()


Known = dict[object, Sequence[tuple[date, Outcome]]]
"""What was worked out of places that have the same cycle and were served on the same days."""


class Count:
    """Counts the due dates of one task."""

    def __init__(self, task: Task, before: Settled | None = None) -> None:
        self._task = task
        self._months: Counter[tuple[str, str]] = Counter()
        self._not_done: list[str] = []
        self._ahead: list[tuple[str, str]] = []
        if before is not None:
            self.add(before)

    def add(self, of: Settled) -> None:
        months = self._months
        for month, outcome, count in of.months:
            months[month, outcome] += count
        self._not_done.extend(of.not_done)
        self._ahead.extend(of.ahead)

    def add_dates(self, dates: Iterable[tuple[date, Outcome]]) -> None:
        self._ahead.extend((str(due_on), outcome.value) for due_on, outcome in dates)

    def settled(self, day: date) -> Settled:
        """With what lies after a day apart."""
        last, ahead = str(day), []
        for due_on, outcome in self._ahead:
            if due_on > last:
                ahead.append((due_on, outcome))
                continue
            self._months[f"{due_on[:-2]}01", outcome] += 1
            if outcome == Outcome.MISSED:
                self._not_done.append(due_on)
        self._ahead = ahead
        counts = [(*key, count) for key, count in sorted(self._months.items())]
        return Settled(self._task.ident, counts, self._not_done, ahead)


def answered_at(
    ledger: Ledger,
    schedule: Schedule,
    task: Task,
    place: Place,
    as_of: date,
    after: date | None,
    known: Known,
) -> Iterable[tuple[date, Outcome]]:
    """The due dates that work answered, and those before it that none did.

    With `after` those of work after that day alone. A round comes by many places on the same days:
    they are worked out once, also for others that are given the same `known`.
    """
    cycle, service = schedule.cycle(task, place), schedule.service(place)
    done = tuple(schedule.days_done(task, place))
    # Asked for each, so that each notes what it rests on.
    meters = schedule.meters_of(task)
    same = task.ident, cycle, done, after, service.absences
    if same not in known:
        last = _last(service, task)
        found = answered(cycle, done=done, as_of=as_of, last=last, after=after, meters=meters)
        known[same] = [*_counted(found, ledger, service, last)]
    return known[same]


def unanswered_at(
    ledger: Ledger, schedule: Schedule, task: Task, place: Place, as_of: date
) -> Iterator[tuple[date, Outcome]]:
    """The due dates since the work was last done there that are not open any more."""
    cycle, service = schedule.cycle(task, place), schedule.service(place)
    done, meters = schedule.days_done(task, place), schedule.meters_of(task)
    found = unanswered(cycle, done=done, as_of=as_of, meters=meters)
    return _counted(found, ledger, service, _last(service, task))


def _last(service: InService, task: Task) -> date:
    """The last day on which work there may fall due."""
    gone = service.out_of_service
    last = date.max if gone is None else gone - timedelta(days=1)
    return last if task.ends is None else min(last, task.ends)


def _counted(
    found: Iterable[Obligation], ledger: Ledger, service: InService, last: date
) -> Iterator[tuple[date, Outcome]]:
    """Without the due dates whose window closed while the machine was away and came back."""
    for one in found:
        is_counted = ledger.site.record_begins <= one.due_on <= last
        if not is_counted or one.outcome is Outcome.OPEN:
            continue
        if comes_back(service, one.window_to) is None:
            yield one.due_on, one.outcome


def settled(ledger: Ledger, schedule: Schedule, as_of: date) -> Iterator[Settled]:
    """Of each task at all its places."""
    known: Known = {}
    for task in ledger.tasks.values():
        count = Count(task)
        for place in task.places:
            count.add_dates(answered_at(ledger, schedule, task, place, as_of, None, known))
            count.add_dates(unanswered_at(ledger, schedule, task, place, as_of))
        yield count.settled(as_of)


def in_time(
    ledger: Ledger, schedule: Schedule, as_of: date, of: Iterable[Settled] | None = None
) -> tuple[TaskInTime, ...]:
    """Every task from the start of the record to the as-of day, by id.

    `of` are the due dates of all places, where they have been worked out.
    """
    counts = {ident: Count(task) for ident, task in ledger.tasks.items()}
    for one in settled(ledger, schedule, as_of) if of is None else of:
        counts[one.task].add(one)
    pace = Pace(ledger)
    found = []
    for ident, task in ledger.tasks.items():
        of_task = counts[ident].settled(as_of)
        months: dict[date, Counter[Outcome]] = {}
        for month, outcome, count in of_task.months:
            months.setdefault(date.fromisoformat(month), Counter())[Outcome(outcome)] = count
        found.append(
            TaskInTime(
                task=task,
                group=group_of(ledger, task),
                frequency=_frequency(pace.interval_days(task)),
                months=months,
                not_done=tuple(map(date.fromisoformat, sorted(of_task.not_done))),
            )
        )
    return tuple(found)


def group_of(ledger: Ledger, task: Task) -> TaskGroup:
    """The weightiest thing that a task is for.

    Safety by its basis in law or by what it looks at, lubrication by what it uses or an oil level.
    """
    points = [ledger.point(place) for place in task.places]
    if is_for_safety(ledger, task):
        return TaskGroup.SAFETY
    if any(amount.unit in _LUBRICANT_UNITS for amount in task.uses.values()) or (
        points and all(point is not None and point.kind == _OIL for point in points)
    ):
        return TaskGroup.LUBRICATION
    if {"speed", "setting"} & set(task.reads):
        return TaskGroup.SPEED
    return TaskGroup.MAKER if task.basis == "maker" else TaskGroup.OTHER


def _frequency(interval_days: float | None) -> Frequency:
    if interval_days is None:
        return Frequency.RARER
    return next((name for name, longest in _LONGEST if interval_days <= longest), Frequency.RARER)


LATER = timedelta(days=7)
"""How long after a round a fault counts as one that it may have missed. Common practice, no
source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rounds:
    """`claims` are the rounds said to be in order, by time; `by_round` and `one_by_one` count the
    answers of daily looking, place by place; `missed` each fault with the last round before it.
    """

    claims: tuple[Entry, ...]
    by_round: int
    one_by_one: int
    missed: tuple[tuple[Entry, Entry], ...]


def rounds(ledger: Ledger, as_of: date, served: Mapping[str, int] | None = None) -> Rounds:
    """From the start of the record to a day.

    `served` counts by task the places at which it was done by that day, where that is known.
    """
    claims = tuple(one for one in ledger.events if one.claim is not None and one.day <= as_of)
    claimed = {ident for entry in claims if entry.claim for ident in entry.claim.tasks}
    looked_at = {i for i in claimed if i in ledger.tasks and is_looked_at(ledger, ledger.tasks[i])}
    return Rounds(
        claims=claims,
        by_round=sum(len(entry.places) for entry in claims),
        one_by_one=sum(
            len(entry.places)
            for entry in ledger.standing_of(looked_at)
            if entry.task in looked_at and entry.did_work and entry.day <= as_of
        )
        if served is None
        else sum(served.get(task, 0) for task in looked_at),
        missed=tuple(_missed(ledger, claims, as_of)),
    )


def _missed(
    ledger: Ledger, claims: tuple[Entry, ...], as_of: date
) -> Iterator[tuple[Entry, Entry]]:
    for finding in findings(ledger):
        entry = finding.entry
        if entry.day > as_of or entry.place is None:
            continue
        before = [
            claim
            for claim in claims
            if claim.when <= entry.when
            and claim.ref.visit != entry.ref.visit
            and entry.day - claim.day <= LATER
            and _covers(claim, entry.place)
        ]
        if before:
            yield entry, before[-1]


def _covers(claim: Entry, place: Place) -> bool:
    """Whether a round spoke of the place, of its machine, or of a point of the machine named."""
    return any(
        one == place or (one.machine == place.machine and not (one.point and place.point))
        for one in claim.places
    )
