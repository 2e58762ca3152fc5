"""The due work of a walk as a person answers to it: as numbered lines, or a round at once.

The daily round of a pass: what one answer speaks for, and what is looked at before it is given.

The phone's page asks by the same rules (`rounds.js`): two places are drawn by day and person, and
what is seen there is answered first.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date
from itertools import groupby
from typing import Any

from ledger.compute.schedule import State
from ledger.filing.posted import check_digits
from ledger.model.ledger import Ledger
from ledger.model.references import Place
from ledger.model.site import Person
from ledger.model.tasks import Task, When
from ledger.upkeep.due.found import (
    DueWork,
    belongs_to_daily_round,
    by_task,
    is_looked_at,
    may_do,
    minutes_of,
)
from ledger.values import dataclass

LOOKED_AT = "looked at"
"""What is answered at a drawn place whose task asks nothing."""

HURRY_SHARE = 0.25
"""Below this share of the minutes stated, it is asked again. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """The round of a pass said to be in order but at the places of `left_out`, after `minutes`."""

    of_pass: When
    work: tuple[DueWork, ...]
    left_out: tuple[str, ...] = ()
    minutes: float | None = None

    @property
    def spoken_for(self) -> tuple[DueWork, ...]:
        names = frozenset(self.left_out)
        return tuple(
            one for one in self.work if names.isdisjoint((str(one.place), one.place.machine))
        )


def in_round(ledger: Ledger, one: DueWork) -> bool:
    """Whether one answer may speak for the work together with the rest of its pass."""
    return belongs_to_daily_round(one) and is_looked_at(ledger, one.task)


def round_work(
    ledger: Ledger, work: Iterable[DueWork], person: Person, of_pass: When
) -> tuple[DueWork, ...]:
    """The person's daily round of a pass: what is due of it, or all of it where nothing is."""
    every = tuple(
        one
        for one in work
        if one.task.when is of_pass
        and in_round(ledger, one)
        and may_do(person, one.task)
        and one.due.state is not State.PAUSED
    )
    return tuple(one for one in every if one.is_on_the_walk) or every


def round_said(
    ledger: Ledger,
    work: tuple[DueWork, ...],
    of_pass: When,
    left_out: Sequence[str],
    minutes: float | None,
) -> Said:
    """The answer to a round. Raises ValueError where it leaves out what the round does not hold."""
    places = {place for one in work for place in ledger.tasks[one.task.ident].places}
    strays = [one for one in left_out if not any(one in (str(p), p.machine) for p in places)]
    if strays:
        raise ValueError(f"the round does not include {', '.join(sorted(strays))}")
    return Said(of_pass=of_pass, work=work, left_out=tuple(left_out), minutes=minutes)


def drawn(said: Said, person: Person, day: date) -> tuple[DueWork, ...]:
    """The places to be looked at first, of two machines where there are two.

    Drawn from those where something is asked, as long as there are any.
    """

    def rank(one: DueWork) -> tuple[bool, str]:
        lot = f"{day} {person.ident} {said.of_pass.value} {one.task.ident} {one.place}"
        return one.task.asks is None, check_digits(lot)

    ranked = sorted(said.work, key=rank)
    if not ranked:
        return ()
    first = ranked[0]
    others = [one for one in ranked if one.place.machine != first.place.machine] or [
        one for one in ranked if one.place != first.place
    ]
    return (first, *others[:1])


def answers_of(one: DueWork, day: date) -> tuple[str, ...]:
    """What may be answered at a drawn place, each day begun with another of the answers."""
    asks = one.task.asks
    if asks is None:
        return (LOOKED_AT,)
    answers = (*asks.fine, *asks.wrong)
    first = int(check_digits(f"{day} {one.task.ident} {one.place}")[:2], 16) % len(answers)
    return (*answers[first:], *answers[:first])


def is_wrong(one: DueWork, answer: str) -> bool:
    """Whether an answer is a finding."""
    return one.task.asks is not None and answer in one.task.asks.wrong


def is_hurried(said: Said) -> bool:
    return said.minutes is not None and said.minutes < HURRY_SHARE * minutes_of(said.work)


def asked_of(ledger: Ledger, task: str, day: date) -> tuple[str, ...]:
    """The places of a task that a round asks about, by name."""
    return tuple(sorted(map(str, _in_use(ledger, task, day))))


def _in_use(ledger: Ledger, task: str, day: date) -> list[Place]:
    return [
        place
        for place in ledger.tasks[task].places
        if ledger.machines[place.machine].service(place.point).in_use(day)
    ]


def list_of(
    ledger: Ledger, tasks: Iterable[str], day: date, without: Sequence[str] = ()
) -> tuple[int, str]:
    """How many places a round of some tasks asks about, and the digits by which they are known."""
    asked = [[p for p in asked_of(ledger, ident, day) if p not in without] for ident in tasks]
    return sum(map(len, asked)), check_digits(" ".join(map(digits_of, asked)))


def asked_about(
    ledger: Ledger, claim: Mapping[str, Any], days: Iterable[date]
) -> frozenset[tuple[str, str]] | None:
    """Tasks and places that a round asked about; None where the files name others on those days."""
    tasks = claim["tasks"]
    if not ledger.tasks.keys() >= {*tasks}:
        return None
    for day in days:
        count, digits = list_of(ledger, tasks, day)
        if (count, digits) == (claim["of"], claim.get("list", digits)):
            return frozenset((task, p) for task in tasks for p in asked_of(ledger, task, day))
    return None


def digits_of(places: Iterable[str]) -> str:
    return check_digits(" ".join(places))


def claim_entry(
    ledger: Ledger, said: Said, seen: Sequence[tuple[DueWork, str]], day: date
) -> dict[str, Any]:
    """The round as the one entry that it stays, with what was seen at the drawn places.

    Nobody looks at what is tied back, so it is left out, as is a drawn place where something was
    wrong.
    """
    idents = list(dict.fromkeys(one.task.ident for one in said.work))
    count, digits = list_of(ledger, idents, day)
    entry: dict[str, Any] = {
        "in_order": said.of_pass.value,
        "tasks": idents,
        "of": count,
        "list": digits,
    }
    machines = {place.machine for ident in idents for place in ledger.tasks[ident].places}
    left_out = [
        *said.left_out,
        *(str(one.place) for one, answer in seen if is_wrong(one, answer)),
        *(machine for machine in ledger.tied_back(day) if machine in machines),
    ]
    if left_out:
        entry["except"] = list(dict.fromkeys(left_out))
    if said.minutes is not None:
        entry["minutes"] = said.minutes
    if seen:
        entry["drawn"] = [str(one.place) for one, _ in seen]
        entry["seen"] = [answer for _, answer in seen]
    return entry


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
    grouped = groupby(walk, key=lambda machine: machine in machines)
    runs = [list(run) for is_among, run in grouped if is_among]
    return [(run[0], run[-1]) for run in runs]


def work_entries(
    ledger: Ledger, done: Sequence[tuple[Task, Sequence[Place]]], day: date
) -> list[dict[str, Any]]:
    """Entries of work done without a reading: one a task, in the shortest true words.

    A machine stands for all of its places that the task selects, and a task without a place for
    all that it selects in use on the day.
    """
    places_of: dict[str, dict[Place, None]] = {}
    for task, places in done:
        places_of.setdefault(task.ident, {}).update(dict.fromkeys(places))
    entries: list[dict[str, Any]] = []
    for ident, found in places_of.items():
        selected = _in_use(ledger, ident, day)
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
