"""The walk of the day: what is due, in walking order, with what must be locked out first."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from itertools import groupby
from typing import Any

from ledger.book import words
from ledger.book.addresses import DUE_PAGE, LOCKOUT_PAGE
from ledger.book.blocks import (
    Block,
    Bullets,
    Caution,
    Checklist,
    Heading,
    Lines,
    Link,
    Page,
    Paragraph,
    Span,
    Spans,
    Station,
    Strong,
    Table,
    Walk,
    beneath,
    right,
)
from ledger.compute.numbers import significant
from ledger.compute.recurrence import Hours, Vehicles
from ledger.compute.schedule import Due, State
from ledger.model.ledger import Ledger
from ledger.model.tasks import Task
from ledger.upkeep.due.found import (
    PASSES,
    DueWork,
    belongs_to_daily_round,
    by_task,
    is_looked_at,
    may_do,
    minutes_of,
    minutes_of_walk,
)
from ledger.upkeep.due.words import format_tie_back
from ledger.upkeep.register.found import standing_of
from ledger.values import grouped

COMING_DAYS = 7

_NO_BREAK = "\N{NO-BREAK SPACE}"

MOST_NAMED = 4
"""Machines that are named in a row of what is coming; of more only the ends."""


def due_page(
    ledger: Ledger, work: Sequence[DueWork], to_confirm: Sequence[Spans], as_of: date
) -> Page:
    """The page for one day; `work` is every task at every place, in walking order.

    `to_confirm` are the readings that settings ask for, a line each.
    """
    walk = [one for one in work if one.is_on_the_walk]
    blocks: list[Block] = [
        Paragraph(f"{format_extent(ledger, walk)}." if walk else "Nothing is due on this day."),
        Caution(words.SAFETY),
        *walk_blocks(ledger, walk, as_of),
        *_tied_back(ledger, as_of),
        *_people(ledger, walk, as_of),
        *_to_confirm(to_confirm),
        *_never_on_record(ledger, work),
        *_coming(ledger, work, as_of),
        *_closed(ledger, as_of),
        *_undated(ledger, work),
    ]
    return Page(path=DUE_PAGE, title="Due work", blocks=blocks, as_of=words.format_as_of(as_of))


def _tied_back(ledger: Ledger, as_of: date) -> Iterator[Block]:
    if tied := ledger.tied_back(as_of):
        yield Heading(2, "Tied back")
        yield Paragraph(
            "Out of action while the line runs, so its work waits. Tied back is not locked out: "
            "lock out before hands go in."
        )
        machines = [
            (words.machine_link(ledger.machines[ident]), one) for ident, one in tied.items()
        ]
        yield Bullets([(link, f" {format_tie_back(ledger, one)}") for link, one in machines])


def _lockout(ledger: Ledger, walk: Sequence[DueWork]) -> Iterator[Block]:
    """Machines with the same work before them together, in walking order."""
    before: dict[str, dict[str, None]] = {}
    for one in walk:
        if one.task.lockout:
            before.setdefault(one.place.machine, {})[one.task.title] = None
    if before:
        first = (
            "Lock out, tag and verify these machines before the work named, with the conveyor, the "
            "machines in reach and the automatic start. Do not touch them before that. Devices: "
        )
        yield Heading(3, "Lock out first")
        yield Paragraph((first, Link("lockout", LOCKOUT_PAGE), "."))
        yield Table.of(
            grouped(before, lambda machine: tuple(before[machine])).items(),
            ("Machines", lambda row: _machine_links(ledger, row[1])),
            ("Before", lambda row: "; ".join(row[0])),
        )


def _machine_links(ledger: Ledger, machines: Sequence[str]) -> Spans:
    links: list[str | Link] = []
    for ident in machines:
        machine = ledger.machines[ident]
        links.extend(("; " if links else "", f"{words.format_number(machine.station)} · "))
        links.append(words.machine_link(machine))
    return tuple(links)


def _people(ledger: Ledger, walk: Sequence[DueWork], as_of: date) -> Iterator[Block]:
    """Tasks with the same needs together."""
    tasks_of: dict[tuple[str, ...], dict[str, Task]] = {}
    for one in walk:
        if one.task.needs:
            needs = tuple(sorted(one.task.needs))
            tasks_of.setdefault(needs, {})[one.task.ident] = one.task
    here = [person for person in ledger.site.people.values() if person.is_here(as_of)]

    def people(tasks: Mapping[str, Task]) -> Spans:
        # The tasks of a row need the same, so who may do one may do all.
        one = next(iter(tasks.values()))
        able = [words.format_person_and_roles(person) for person in here if may_do(person, one)]
        return "; ".join(able) or Strong("nobody of this site")

    if tasks_of:
        yield Heading(2, "Who may do it", is_folded=True)
        yield Paragraph("By the qualifications in site.yaml. Work that is not listed needs none.")
        yield Table.of(
            tasks_of.items(),
            ("Needs", lambda row: words.in_words(row[0])),
            (beneath("Work"), lambda row: "; ".join(task.title for task in row[1].values())),
            ("May do it", lambda row: people(row[1])),
        )


def walk_blocks(ledger: Ledger, walk: Sequence[DueWork], as_of: date) -> list[Block]:
    """What may be done today, pass by pass and in walking order; a caution is read once a pass.

    Of the daily round, what is only looked at is one answer with its exceptions, and what has to
    be answered for is a line a task; other work stands at its station.
    """
    return [
        block
        for when, title in PASSES.items()
        if (work := [one for one in walk if one.task.when is when])
        for block in (
            Heading(2, title),
            Paragraph(f"{format_extent(ledger, work)}."),
            *_lockout(ledger, work),
            *_cautions(ledger, work),
            _pass(ledger, work, as_of),
        )
    ]


def format_extent(ledger: Ledger, work: Sequence[DueWork]) -> str:
    """How much some work is: `3 tasks at 12 places, about 40 min; 2 overdue`."""
    tasks = words.format_count(len({one.task.ident for one in work}), "task")
    minutes = minutes_of_walk(ledger, work)
    takes = f", about {words.format_minutes(minutes)}" if minutes else ""
    overdue = sum(one.due.overdue_days > 0 for one in work)
    late = f"; {overdue} overdue" if overdue else ""
    return f"{tasks} at {words.format_count(len(work), 'place')}{takes}{late}"


def _cautions(ledger: Ledger, work: Sequence[DueWork]) -> Iterator[Block]:
    """Each danger once, by its own sentence in bold, then what to do, and where or at what work."""
    measures_of: dict[str, dict[str, dict[str, None]]] = {}
    for one in work:
        machine = ledger.machines[one.place.machine]
        at = words.format_number(machine.station)
        cautions = [(caution, at) for caution in machine.cautions]
        cautions += [(caution, one.task.brief.lower()) for caution in one.task.cautions]
        for caution, whose in cautions:
            danger, _, what_to_do = caution.partition(". ")
            measures = measures_of.setdefault(danger.rstrip("."), {})
            measures.setdefault(what_to_do.rstrip("."), {})[whose] = None
    if measures_of:
        yield Caution(
            [
                (Strong(f"{danger}."), *(_measure(todo, of) for todo, of in measures.items()))
                for danger, measures in measures_of.items()
            ]
        )


def _measure(what_to_do: str, of: Iterable[str]) -> str:
    """` Pin it (10, 20).`"""
    return f" {what_to_do} ({', '.join(of)})." if what_to_do else f" ({', '.join(of)})"


def _pass(ledger: Ledger, work: Sequence[DueWork], as_of: date) -> Walk:
    daily = [one for one in work if belongs_to_daily_round(one)]
    claimed = [one for one in daily if is_looked_at(ledger, one.task)]
    alone = [one for one in daily if not is_looked_at(ledger, one.task)]
    rest = [one for one in work if not belongs_to_daily_round(one)]
    claim: Spans = (Strong("Daily round in order"), f", {format_extent(ledger, claimed)}; but not:")
    return Walk(
        claim=claim if claimed else "",
        exceptions=[_daily_item(ledger, same) for same in by_task(claimed)],
        alone=[_daily_item(ledger, same) for same in by_task(alone)],
        stations=[
            _station(ledger, machine, list(found), as_of)
            for machine, found in groupby(rest, key=lambda one: one.place.machine)
        ],
    )


def _daily_item(ledger: Ledger, work: Sequence[DueWork]) -> Lines:
    """One task at all machines."""
    text = (
        words.task_link(work[0].task),
        _facts(ledger, work, last_done=False),
        *_lateness(ledger, work, of_several=True),
        _put_off(ledger, work),
    )
    machines = [ledger.machines[ident] for ident in dict.fromkeys(w.place.machine for w in work)]
    numbers = [words.format_number(machine.station) for machine in machines]
    at = "; ".join(f"{n} {m.name}" for n, m in zip(numbers, machines, strict=True))
    return Lines(text, [f"At: {at}"], brief=f"At {', '.join(numbers)}")


def _station(ledger: Ledger, ident: str, work: Sequence[DueWork], as_of: date) -> Station:
    """The work at one machine, a box a task."""
    machine = ledger.machines[ident]
    setting = standing_of(ledger, ident, as_of).change
    approved = "" if setting is None else words.format_change(setting, ledger.site)
    return Station(
        words.format_number(machine.station),
        words.machine_link(machine),
        [
            _item(ledger, list(same), approved)
            for _, same in groupby(work, key=lambda one: one.task.ident)
        ],
    )


def _item(ledger: Ledger, work: Sequence[DueWork], approved: str) -> Lines:
    """One task at the points of one machine; beside a setting to be read stands the approved."""
    task = work[0].task
    points = [name for one in work if (name := words.format_point(ledger, one.place))]
    set_at = approved if "setting" in task.reads else ""
    text = (
        words.task_link(task),
        f": {words.in_words(points)}" if points else "",
        _facts(ledger, work, last_done=True, approved=set_at),
        *_lateness(ledger, work, of_several=False),
        _put_off(ledger, work),
    )
    late = _worst(work).due.overdue_days
    brief = (
        task.brief,
        f" ×{len(points)}" if len(points) > 1 else "",
        f" {set_at}" if set_at else "",
        f" {words.marked('overdue', f'{late}{_NO_BREAK}d')}" if late else "",
    )
    return Lines(text, brief="".join(brief))


def _machine_names(ledger: Ledger, work: Sequence[DueWork]) -> list[str]:
    return list(dict.fromkeys(ledger.machines[one.place.machine].name for one in work))


def _few_machines(ledger: Ledger, work: Sequence[DueWork]) -> str:
    names = _machine_names(ledger, work)
    if len(names) <= MOST_NAMED:
        return "; ".join(names)
    return f"{len(names)} machines, {names[0]} to {names[-1]}"


def _facts(ledger: Ledger, work: Sequence[DueWork], *, last_done: bool, approved: str = "") -> str:
    task = work[0].task
    facts = (
        "locked out" if task.lockout else "",
        words.format_minutes(minutes_of(work)) if task.minutes else "",
        *(f"{words.format_use(ledger, part, used)} each" for part, used in task.uses.items()),
        f"closes with {words.in_words(task.reads)}" if task.reads else "",
        f"approved {approved}" if approved else "",
        _last_done(_worst(work)) if last_done else "",
    )
    told = "; ".join(filter(None, facts))
    return f" ({told})" if told else ""


def _last_done(one: DueWork) -> str:
    if one.last_done is not None:
        return f"last done {words.format_day(one.last_done.day)}"
    if one.remembered is not None and one.remembered.first:
        return f"last done {words.format_remembered(one.remembered)}, as remembered"
    return "never on record"


def _worst(work: Sequence[DueWork]) -> DueWork:
    return max(work, key=lambda one: one.due.overdue_days)


def _lateness(
    ledger: Ledger, work: Sequence[DueWork], *, of_several: bool
) -> tuple[Span | str, ...]:
    """How late the worst is; on a line of several machines also which are late, if not all."""
    worst = _worst(work).due
    late = [one for one in work if one.due.overdue_days]
    if not late:
        return ()
    is_split = of_several and len(late) < len(work)
    where = f" at {'; '.join(_machine_names(ledger, late))}" if is_split else ""
    return ". ", Strong(words.format_state(worst).capitalize()), f"{where}."


def _put_off(ledger: Ledger, work: Sequence[DueWork]) -> str:
    put_off = next((one.put_off for one in work if one.put_off is not None), None)
    if put_off is None:
        return ""
    who = words.format_person(put_off.by, ledger.site)
    return f" Put off on {words.format_day(put_off.day)} by {who}: {put_off.reason}"


def _to_confirm(lines: Sequence[Spans]) -> Iterator[Block]:
    if lines:
        yield Heading(2, "Confirm settings")
        yield Paragraph(
            "A setting is confirmed once a speed read at it agrees with what was predicted. "
            "Count from outside the guards."
        )
        yield Checklist(lines)


def _together(
    work: Iterable[DueWork], turn: Callable[[DueWork], tuple[Any, ...]]
) -> list[list[DueWork]]:
    """Work of the same turn together, in the order of the turns."""
    return [list(same) for _, same in groupby(sorted(work, key=turn), key=turn)]


def _coming(ledger: Ledger, work: Sequence[DueWork], as_of: date) -> Iterator[Block]:
    last = as_of + timedelta(days=COMING_DAYS)
    ahead = [
        one
        for one in work
        if one.due.state is State.NOT_DUE
        and one.due.due_on is not None
        and one.due.due_on <= last
        and not belongs_to_daily_round(one)
    ]
    if ahead:
        yield Heading(2, f"Coming in the next {COMING_DAYS} days", is_folded=True)
        yield Table.of(
            _together(ahead, lambda one: (one.due.due_on, one.task.ident)),
            ("Due", lambda same: words.or_dash(same[0].due.due_on, words.format_day)),
            (beneath("Dated by"), lambda same: _basis(same[0].due)),
            ("Task", lambda same: words.task_link(same[0].task)),
            (beneath("Machines"), lambda same: _few_machines(ledger, same)),
            (right("Places"), lambda same: str(len(same))),
        )


def _never_on_record(ledger: Ledger, work: Sequence[DueWork]) -> Iterator[Block]:
    """What is not on the walk and has no time to count from, by task and by what was said of it."""

    def said(one: DueWork) -> str:
        return one.remembered.text if one.remembered else ""

    def first_due(same: Sequence[DueWork]) -> str:
        days = [one.due.due_on for one in same if one.due.due_on is not None]
        return words.or_dash(min(days, default=None), words.format_day)

    found = [one for one in work if one.is_never_on_record and not one.is_on_the_walk]
    if found:
        yield Heading(2, "Never on record")
        yield Paragraph(
            "Nobody filed this work or remembers a time, so it counts from the day that the record "
            "began or the machine came. Do first what you doubt was done."
        )
        yield Table.of(
            _together(found, lambda one: (one.task.ident, said(one))),
            ("Task", lambda same: words.task_link(same[0].task)),
            (beneath("Machines"), lambda same: _few_machines(ledger, same)),
            (right("Places"), lambda same: str(len(same))),
            ("Before the record", lambda same: said(same[0]).replace("-", " ")),
            ("First due", first_due),
        )


def _basis(due: Due) -> str:
    """What the date rests on: the calendar, or how fast a meter runs."""
    if not due.predicted or due.rate is None:
        return "calendar" if not isinstance(due.because, Hours | Vehicles) else "meter as read"
    counted = "hours" if isinstance(due.because, Hours) else "vehicles"
    per_day = words.format_number(float(significant(due.rate.per_day, 2)))
    return f"{per_day} {counted} a day over the last {due.rate.span_days} days"


def _closed(ledger: Ledger, as_of: date) -> Iterator[Block]:
    last = as_of + timedelta(days=COMING_DAYS)
    texts = [
        f"{words.format_closure(closure)} ({closure.why})"
        for closure in ledger.site.closures
        if closure.first <= last and as_of <= closure.last
    ]
    if texts:
        yield Paragraph(f"Closed {'; '.join(texts)}.")


def _undated(ledger: Ledger, work: Sequence[DueWork]) -> Iterator[Block]:
    lines = [
        f"{one.task.title} at {ledger.place_name(one.place)}: {words.format_state(one.due)}"
        for one in work
        if one.due.state is State.UNKNOWN
    ]
    if lines:
        yield Heading(2, "Cannot be dated")
        yield Bullets(lines)
