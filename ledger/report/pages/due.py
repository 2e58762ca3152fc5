"""The walk of the day: what is due, in walking order, with what must be locked out first."""

from collections.abc import Sequence
from datetime import date, timedelta
from itertools import groupby

from ledger.assess.due import DueWork, may_do
from ledger.assess.due_groups import belongs_to_daily_round, minutes_of
from ledger.assess.follow_up import FollowUp
from ledger.compute.recurrence import Hours, Vehicles
from ledger.compute.rounding import significant
from ledger.compute.schedule import Due, State
from ledger.model.ledger import Ledger
from ledger.model.tasks import Task
from ledger.report import follow_up_words, words
from ledger.report.blocks import (
    Block,
    Bullets,
    Caution,
    Checklist,
    Heading,
    Link,
    Page,
    Paragraph,
    Spans,
    Strong,
    Table,
    left,
    right,
)
from ledger.report.pages.due_walk import walk_blocks

PATH = "due.md"
COMING_DAYS = 7
MOST_NAMED = 4
"""Machines that are named in a row of what is coming; of more only the ends."""


def due_page(
    ledger: Ledger, work: Sequence[DueWork], asked: Sequence[FollowUp], as_of: date
) -> Page:
    """The page for one day; `work` is every task at every place, in walking order.

    `asked` are the readings that settings ask for; those confirmed are left out.
    """
    walk = [one for one in work if one.is_on_the_walk]
    blocks: list[Block] = [
        Paragraph(_summary(walk)),
        Caution(words.SAFETY),
        *_lockout(ledger, walk),
        *_people(ledger, walk, as_of),
        *walk_blocks(ledger, walk),
        *_follow_ups(ledger, asked),
        *_coming(ledger, work, as_of),
        *_closed(ledger, as_of),
        *_undated(ledger, work),
    ]
    return Page(path=PATH, title="Due work", blocks=blocks, as_of=words.as_of_words(as_of))


def _summary(walk: Sequence[DueWork]) -> Spans:
    if not walk:
        return "Nothing is due on this day."
    overdue = sum(one.due.state is State.OVERDUE for one in walk)
    tasks = len({one.task.ident for one in walk})
    machines = len({one.place.machine for one in walk})
    minutes = minutes_of(walk)
    return (
        (
            f"{words.count_words(tasks, 'task')} at {words.count_words(len(walk), 'place')} on "
            f"{words.count_words(machines, 'machine')}"
            + (f", about {words.minutes_words(minutes)} of work. " if minutes else ". ")
        ),
        Strong(f"{words.count_words(overdue, 'place')} overdue."),
    )


def _lockout(ledger: Ledger, walk: Sequence[DueWork]) -> list[Block]:
    """Machines with the same work before them together, in walking order."""
    before: dict[str, dict[str, None]] = {}
    for one in walk:
        if one.task.lockout:
            before.setdefault(one.place.machine, {})[one.task.title] = None
    if not before:
        return []
    machines_of: dict[tuple[str, ...], list[str]] = {}
    for machine, tasks in before.items():
        machines_of.setdefault(tuple(tasks), []).append(machine)
    rows: list[tuple[Spans, ...]] = [
        (_machine_links(ledger, machines), "; ".join(tasks))
        for tasks, machines in machines_of.items()
    ]
    return [
        Heading(2, "Lock out first"),
        Paragraph(
            "These machines are locked out, tagged and verified before the work named. "
            "Do not touch them before."
        ),
        Table((left("Machines"), left("Before")), rows),
    ]


def _machine_links(ledger: Ledger, machines: Sequence[str]) -> Spans:
    said: list[str | Link] = []
    for ident in machines:
        machine = ledger.machines[ident]
        said.extend(("; " if said else "", f"{words.number_words(machine.station)} · "))
        said.append(words.machine_link(machine))
    return tuple(said)


def _people(ledger: Ledger, walk: Sequence[DueWork], as_of: date) -> list[Block]:
    """Tasks with the same needs together."""
    tasks_of: dict[tuple[str, ...], dict[str, Task]] = {}
    for one in walk:
        if one.task.needs:
            needs = tuple(sorted(one.task.needs))
            tasks_of.setdefault(needs, {})[one.task.ident] = one.task
    if not tasks_of:
        return []
    here = [person for person in ledger.site.people.values() if person.is_here(as_of)]
    rows: list[tuple[Spans, ...]] = [
        (
            words.in_words(needs),
            "; ".join(task.title for task in tasks.values()),
            "; ".join(
                words.person_and_roles(p) for p in here if may_do(p, next(iter(tasks.values())))
            )
            or Strong("nobody of this site"),
        )
        for needs, tasks in tasks_of.items()
    ]
    return [
        Heading(2, "Who may do it"),
        Paragraph("By the qualifications in site.yaml. Work that is not listed needs none."),
        Table((left("Needs"), left("Work"), left("May do it")), rows),
    ]


def _follow_ups(ledger: Ledger, asked: Sequence[FollowUp]) -> list[Block]:
    wanted = [one for one in asked if one.is_open]
    if not wanted:
        return []
    return [
        Heading(2, "Confirm settings"),
        Paragraph(
            "A setting stands proven once a speed read at it agrees with what was predicted. "
            "Count from outside the guards."
        ),
        Checklist([follow_up_words.open_words(ledger, one) for one in wanted]),
    ]


def _closed(ledger: Ledger, as_of: date) -> list[Block]:
    last = as_of + timedelta(days=COMING_DAYS)
    said = [
        f"{words.closure_words(closure)} ({closure.why})"
        for closure in ledger.site.closures
        if closure.first <= last and as_of <= closure.last
    ]
    return [Paragraph(f"Closed {'; '.join(said)}.")] if said else []


def _coming(ledger: Ledger, work: Sequence[DueWork], as_of: date) -> list[Block]:
    last = as_of + timedelta(days=COMING_DAYS)
    ahead = [
        one
        for one in work
        if one.due.state is State.NOT_DUE
        and one.due.due_on is not None
        and one.due.due_on <= last
        and not belongs_to_daily_round(one)
    ]
    if not ahead:
        return []
    ahead.sort(key=lambda one: (one.due.due_on or last, one.task.ident))
    rows: list[tuple[Spans, ...]] = []
    for (due_on, _), found in groupby(ahead, key=lambda one: (one.due.due_on, one.task.ident)):
        same = list(found)
        machines = dict.fromkeys(ledger.machines[one.place.machine].name for one in same)
        rows.append(
            (
                words.day_words(due_on or last),
                words.task_link(same[0].task),
                str(len(same)),
                "; ".join(machines)
                if len(machines) <= MOST_NAMED
                else f"{len(machines)} machines, {next(iter(machines))} to {list(machines)[-1]}",
                _basis(same[0].due),
            )
        )
    return [
        Heading(2, f"Coming in the next {COMING_DAYS} days"),
        Table(
            (left("Due"), left("Task"), right("Places"), left("Machines"), left("Dated by")), rows
        ),
    ]


def _basis(due: Due) -> str:
    """What the date rests on: the calendar, or how fast a meter runs."""
    if not due.predicted or due.rate is None:
        return "calendar" if not isinstance(due.because, Hours | Vehicles) else "meter as read"
    counted = "hours" if isinstance(due.because, Hours) else "vehicles"
    per_day = words.number_words(float(significant(due.rate.per_day, 2)))
    return f"{per_day} {counted} a day over the last {due.rate.span_days} days"


def _undated(ledger: Ledger, work: Sequence[DueWork]) -> list[Block]:
    lines = [
        f"{one.task.title} at {ledger.place_name(one.place)}: {words.state_words(one.due)}"
        for one in work
        if one.due.state is State.UNKNOWN
    ]
    if not lines:
        return []
    return [Heading(2, "Cannot be dated"), Bullets(lines)]
