"""The share of work done in time, by task and month, and the due dates that nobody answered."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from enum import StrEnum

from ledger.compute.schedule import Outcome, obligations
from ledger.model.ledger import Ledger
from ledger.model.machines import InService
from ledger.model.meters import Pace
from ledger.model.references import Place
from ledger.model.tasks import Task
from ledger.upkeep.due.found import Schedule, comes_back, is_for_safety
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
    that no work answered; days are written as in ISO 8601.
    """

    task: str
    months: Sequence[tuple[str, str, int]]
    not_done: Sequence[str]


Known = dict[object, tuple[Mapping[date, Counter[Outcome]], Sequence[date]]]
"""What was worked out of places that have the same cycle and were served on the same days."""


def settled(
    ledger: Ledger,
    schedule: Schedule,
    as_of: date,
    machine: str | None = None,
    known: Known | None = None,
) -> list[Settled]:
    """Of each task, at all its places or at those of one machine.

    A round comes by many places on the same days: they are worked out once, also for others that
    are given the same `known`.
    """
    known = {} if known is None else known
    found = []
    for task in ledger.tasks.values():
        months: dict[date, Counter[Outcome]] = {}
        not_done: list[date] = []
        for place in task.places:
            if machine is not None and place.machine != machine:
                continue
            service = schedule.service(place)
            done = tuple(schedule.days_done(task, place))
            # Asked for each, so that each notes what it rests on.
            schedule.meters_of(task)
            same = task.ident, schedule.cycle(task, place), done, service.absences
            if same not in known:
                known[same] = _settled(ledger, schedule, task, place, service, as_of)
            for month, outcomes in known[same][0].items():
                months.setdefault(month, Counter()).update(outcomes)
            not_done.extend(known[same][1])
        if months:
            counts = [
                (str(month), outcome.value, count)
                for month, outcomes in sorted(months.items())
                for outcome, count in outcomes.items()
            ]
            found.append(Settled(task.ident, counts, [str(day) for day in not_done]))
    return found


def in_time(
    ledger: Ledger, schedule: Schedule, as_of: date, of: Iterable[Settled] | None = None
) -> tuple[TaskInTime, ...]:
    """Every task from the start of the record to the as-of day, by id.

    `of` are the due dates of all places, where they have been worked out.
    """
    months: dict[str, dict[date, Counter[Outcome]]] = {task: {} for task in ledger.tasks}
    not_done: dict[str, list[date]] = {task: [] for task in ledger.tasks}
    for one in settled(ledger, schedule, as_of) if of is None else of:
        for month, outcome, count in one.months:
            of_month = months[one.task].setdefault(date.fromisoformat(month), Counter())
            of_month[Outcome(outcome)] += count
        not_done[one.task].extend(map(date.fromisoformat, one.not_done))
    pace = Pace(ledger)
    return tuple(
        TaskInTime(
            task=task,
            group=group_of(ledger, task),
            frequency=_frequency(pace.interval_days(task)),
            months=dict(sorted(months[task.ident].items())),
            not_done=tuple(sorted(not_done[task.ident])),
        )
        for task in ledger.tasks.values()
    )


def _settled(
    ledger: Ledger,
    schedule: Schedule,
    task: Task,
    place: Place,
    service: InService,
    as_of: date,
) -> tuple[Mapping[date, Counter[Outcome]], Sequence[date]]:
    """Without the due dates whose window closed while the machine was away and came back."""
    gone = service.out_of_service
    last = as_of if gone is None else min(as_of, gone - timedelta(days=1))
    months: dict[date, Counter[Outcome]] = {}
    not_done = []
    for one in obligations(
        schedule.cycle(task, place),
        done=schedule.days_done(task, place),
        as_of=as_of,
        first=ledger.site.record_begins,
        last=last if task.ends is None else min(last, task.ends),
        meters=schedule.meters_of(task),
    ):
        if one.outcome is Outcome.OPEN or comes_back(service, one.window_to) is not None:
            continue
        months.setdefault(one.due_on.replace(day=1), Counter())[one.outcome] += 1
        if one.outcome is Outcome.MISSED:
            not_done.append(one.due_on)
    return months, not_done


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
