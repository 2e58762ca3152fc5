"""What the interval of each task buys, from the site's own failures between services."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from statistics import median

from ledger.compute.numbers import NotEnoughData
from ledger.compute.reliability import IntervalValue, ServiceSpan, interval_value
from ledger.model.ledger import Ledger, last_day_filed
from ledger.model.meters import calendar_days
from ledger.model.references import Place
from ledger.model.tasks import Task
from ledger.model.visits import Entry
from ledger.upkeep.due.found import Schedule, counts_for
from ledger.upkeep.intime.found import TaskGroup, group_of
from ledger.upkeep.reliability.found import failures_on_record
from ledger.values import dataclass

_BINDING = frozenset({"law", "code", "standard", "maker", "insurer"})


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskValue:
    """One task at whose places something failed.

    `interval_days` is the shortest interval of the calendar that the plan states, or,
    `from_record`, the median of the days between services; `done_days` is that median, None where
    nothing was done twice at one place. `failures` are those at the places of the task.
    `is_bound` where law, safety or the maker sets the interval, and no record may lengthen it.
    """

    task: Task
    interval_days: float | None
    from_record: bool
    done_days: float | None
    is_bound: bool
    spans: int
    failures: tuple[Entry, ...]
    value: IntervalValue | NotEnoughData


def task_values(ledger: Ledger) -> tuple[TaskValue, ...]:
    """Every task that has a failure at one of its places, by id."""
    failed: dict[Place, list[Entry]] = {}
    for entry in failures_on_record(ledger):
        failed.setdefault(entry.places[0], []).append(entry)
    if not failed:
        return ()
    tasks = ledger.tasks.items()
    asked = {ident: task for ident, task in tasks if not failed.keys().isdisjoint(task.places)}
    covering = {one for one, counted in counts_for(ledger).items() if asked.keys() & {*counted}}
    schedule = Schedule(ledger, last_day_filed(ledger), ledger.standing_of(covering))
    return tuple(_value(ledger, schedule, task, failed) for task in asked.values())


def service_spans(
    services: Sequence[datetime], failures: Sequence[datetime], end: datetime
) -> tuple[ServiceSpan, ...]:
    """The stretches from each service to the next, the last to the end of the record.

    Failures before the first service are in none; several services at one time count as one.
    """
    spans = []
    for begin, until in pairwise([*sorted(set(services)), end]):
        # The last stretch takes a failure at the very end of the record.
        within = (at for at in failures if begin <= at < until or at == until == end)
        days = tuple(sorted(_days(begin, at) for at in within))
        if until > begin:
            spans.append(ServiceSpan(days=_days(begin, until), failure_days=days))
    return tuple(spans)


def _value(
    ledger: Ledger, schedule: Schedule, task: Task, failed: dict[Place, list[Entry]]
) -> TaskValue:
    end = ledger.overall.last_when
    spans: list[ServiceSpan] = []
    between: list[float] = []
    failures: list[Entry] = []
    for place in task.places:
        here = failed.get(place, [])
        failures.extend(here)
        services = [entry.when for entry in schedule.entries_done(task, place)]
        own = service_spans(services, [entry.when for entry in here], end)
        spans.extend(own)
        between.extend(span.days for span in own[:-1])
    stated = [
        days for every in task.every if (days := calendar_days(ledger, task, every)) is not None
    ]
    done_days = median(between) if between else None
    interval = min(stated, default=done_days)
    return TaskValue(
        task=task,
        interval_days=interval,
        from_record=not stated,
        done_days=done_days,
        is_bound=group_of(ledger, task) is TaskGroup.SAFETY or task.basis in _BINDING,
        spans=len(spans),
        failures=tuple(sorted(failures, key=lambda entry: (entry.when, entry.ref))),
        value=NotEnoughData(
            what="services on record", have=0, need=1, why="nothing to count the days from"
        )
        if interval is None or not spans
        else interval_value(spans, interval_days=interval),
    )


def _days(begin: datetime, end: datetime) -> float:
    return (end - begin) / timedelta(days=1)
