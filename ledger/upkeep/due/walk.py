"""The due work of a walk as numbered lines a person can answer to, and entries of what was done."""

from collections.abc import Collection, Mapping, Sequence
from datetime import date
from typing import Any

from ledger.compute.schedule import State
from ledger.model.ledger import Ledger
from ledger.model.references import Place
from ledger.model.site import Person
from ledger.model.tasks import Task, When
from ledger.upkeep.due.found import DueWork, by_task, may_do
from ledger.values import dataclass

_MOST_PLACES = 60

_TURN = {when: turn for turn, when in enumerate(When)}


@dataclass(frozen=True, slots=True, kw_only=True)
class WalkLine:
    """One task and the places where it is due, or where it is not due yet, in walking order."""

    task: Task
    work: tuple[DueWork, ...]

    @property
    def machines(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(one.place.machine for one in self.work))

    @property
    def is_due(self) -> bool:
        return self.work[0].is_on_the_walk

    @property
    def next_due_on(self) -> date | None:
        """Of the place whose turn comes first; None where no interval can be dated."""
        return min((one.due.due_on for one in self.work if one.due.due_on), default=None)

    @property
    def late_machines(self) -> tuple[str, ...]:
        late = (one.place.machine for one in self.work if one.due.overdue_days)
        return tuple(dict.fromkeys(late))

    @property
    def overdue_days(self) -> int:
        """Of the place that waits longest."""
        return max(one.due.overdue_days for one in self.work)


def walk_lines(work: Sequence[DueWork], person: Person) -> tuple[WalkLine, ...]:
    """What may be done today by the person, a line a task: the late first, then pass by pass.

    Within those the lines stand as the walk comes to the tasks.
    """
    lines = _lines(person, [one for one in work if one.is_on_the_walk])
    return tuple(sorted(lines, key=lambda line: (not line.overdue_days, _TURN[line.task.when])))


def early_lines(work: Sequence[DueWork], person: Person) -> tuple[WalkLine, ...]:
    """What the person may do though it is not due yet, a line a task, the next due first."""
    early = [one for one in work if not one.is_on_the_walk and one.due.state is not State.PAUSED]
    lines = _lines(person, early)
    return tuple(sorted(lines, key=lambda line: line.next_due_on or date.max))


def _lines(person: Person, work: Sequence[DueWork]) -> list[WalkLine]:
    able = [one for one in work if may_do(person, one.task)]
    return [WalkLine(task=same[0].task, work=tuple(same)) for same in by_task(able)]


def runs_of(machines: Collection[str], walk: Sequence[str]) -> list[tuple[str, str]]:
    """The first and last machine of each unbroken run of some machines along the walk."""
    runs: list[tuple[str, str]] = []
    is_open = False
    for machine in walk:
        if machine not in machines:
            is_open = False
        elif is_open:
            runs[-1] = (runs[-1][0], machine)
        else:
            runs.append((machine, machine))
            is_open = True
    return runs


def work_entries(
    ledger: Ledger, done: Sequence[tuple[Task, Sequence[Place]]], day: date
) -> list[dict[str, Any]]:
    """Entries of work done without a reading: one a task, in the shortest true words.

    A machine stands for all of its places that the task selects, and a task without a place for
    all that it selects in use on the day.
    """
    by_task: dict[str, dict[Place, None]] = {}
    for task, places in done:
        by_task.setdefault(task.ident, {}).update(dict.fromkeys(places))
    entries: list[dict[str, Any]] = []
    for ident, found in by_task.items():
        selected = [
            place
            for place in ledger.tasks[ident].places
            if ledger.machines[place.machine].service(place.point).in_use(day)
        ]
        if set(selected) <= set(found):
            entries.append({"task": ident})
            continue
        where = _short(found, selected)
        entries.extend(
            {"task": ident, "at": some[0] if len(some) == 1 else list(some)}
            for some in (where[n : n + _MOST_PLACES] for n in range(0, len(where), _MOST_PLACES))
        )
    return entries


def _short(found: Mapping[Place, None], selected: Sequence[Place]) -> list[str]:
    words: dict[str, None] = {}
    for place in found:
        of_machine = [one for one in selected if one.machine == place.machine]
        whole = all(one in found for one in of_machine)
        words[place.machine if whole else str(place)] = None
    return list(words)
