"""The due work of a walk as numbered lines a person can answer to, and entries of what was done."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any

from ledger.assess.due import DueWork, may_do
from ledger.model.ledger import Ledger
from ledger.model.references import Place
from ledger.model.site import Person
from ledger.model.tasks import Task

_MOST_PLACES = 60
_SPAN = re.compile(r"(\d{1,4})(?:-(\d{1,4}))?")


@dataclass(frozen=True, slots=True, kw_only=True)
class WalkLine:
    """One task at one machine: the places that are due there, in order."""

    task: Task
    machine: str
    places: tuple[Place, ...]
    overdue_days: int


def walk_lines(work: Sequence[DueWork], person: Person) -> tuple[WalkLine, ...]:
    """What may be done today by the person, in walking order."""
    today = [one for one in work if one.is_on_the_walk and may_do(person, one.task)]
    lines = []
    for _, found in groupby(today, key=lambda one: (one.place.machine, one.task.ident)):
        same = list(found)
        lines.append(
            WalkLine(
                task=same[0].task,
                machine=same[0].place.machine,
                places=tuple(one.place for one in same),
                overdue_days=max(one.due.overdue_days for one in same),
            )
        )
    return tuple(lines)


def chosen(text: str, count: int) -> tuple[int, ...]:
    """The numbers in `1-3 5`, or all of them for `all`, in order; ValueError in words."""
    words = text.replace(",", " ").split()
    if words == ["all"]:
        return tuple(range(1, count + 1))
    found: set[int] = set()
    for word in words:
        span = _SPAN.fullmatch(word)
        first, last = (0, 0) if span is None else (int(span[1]), int(span[2] or span[1]))
        if not 1 <= first <= last <= count:
            raise ValueError(f"`{word}` is no number of the list; write 1-3 5, or all")
        found.update(range(first, last + 1))
    return tuple(sorted(found))


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
            if ledger.machines[place.machine].in_use(day)
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
