"""The walk of the day: what is due, in walking order, with what must be locked out first."""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from itertools import groupby

from ledger.assess.due import DueWork, may_do
from ledger.assess.follow_up import FollowUp
from ledger.compute.recurrence import is_daily
from ledger.compute.schedule import State
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

PATH = "due.md"
COMING_DAYS = 7


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
        Heading(2, "The walk"),
        *_by_machine(ledger, walk),
        *_follow_ups(ledger, asked),
        *_coming(ledger, work, as_of),
        *_undated(ledger, work),
    ]
    return Page(path=PATH, title="Due work", blocks=blocks, as_of=f"As of {words.long_day(as_of)}.")


def minutes_of(walk: Iterable[DueWork]) -> float:
    """Minutes the work takes by its tasks; tasks that state none count as nothing."""
    return sum(one.task.minutes or 0.0 for one in walk)


def _summary(walk: Sequence[DueWork]) -> Spans:
    if not walk:
        return "Nothing is due on this day."
    overdue = sum(one.due.state is State.OVERDUE for one in walk)
    tasks = len({one.task.ident for one in walk})
    machines = len({one.place.machine for one in walk})
    return (
        (
            f"{words.count_words(tasks, 'task')} at {words.count_words(len(walk), 'place')} on "
            f"{words.count_words(machines, 'machine')}, about "
            f"{words.minutes_words(minutes_of(walk))} of work. "
        ),
        Strong(f"{overdue} overdue."),
    )


def _lockout(ledger: Ledger, walk: Sequence[DueWork]) -> list[Block]:
    rows = []
    for machine, found in groupby(
        (one for one in walk if one.task.lockout), key=lambda one: one.place.machine
    ):
        tasks = dict.fromkeys(one.task.title for one in found)
        of = ledger.machines[machine]
        rows.append((words.number_words(of.station), words.machine_link(of), "; ".join(tasks)))
    if not rows:
        return []
    return [
        Heading(2, "Lock out first"),
        Paragraph(
            "These machines are locked out, tagged and verified before the work named. "
            "Do not touch them before."
        ),
        Table((right("Station"), left("Machine"), left("Before")), rows),
    ]


def _people(ledger: Ledger, walk: Sequence[DueWork], as_of: date) -> list[Block]:
    tasks = {one.task.ident: one.task for one in walk if one.task.needs}
    if not tasks:
        return []
    here = [person for person in ledger.site.people.values() if person.is_here(as_of)]
    rows = [
        (
            words.task_link(task),
            words.in_words(sorted(task.needs)),
            ", ".join(p.name for p in here if may_do(p, task)) or "nobody of this site",
        )
        for task in tasks.values()
    ]
    return [
        Heading(2, "Who may do it"),
        Paragraph("By the qualifications in site.yaml. Work that is not listed needs none."),
        Table((left("Task"), left("Needs"), left("May do it")), rows),
    ]


def _by_machine(ledger: Ledger, walk: Sequence[DueWork]) -> list[Block]:
    blocks: list[Block] = []
    for machine, found in groupby(walk, key=lambda one: one.place.machine):
        of = ledger.machines[machine]
        work = list(found)
        blocks.append(Heading(3, f"{words.number_words(of.station)} · {of.name}"))
        cautions = dict.fromkeys(line for one in work for line in one.task.cautions)
        if cautions:
            blocks.append(Caution(list(cautions)))
        blocks.append(
            Checklist(
                [
                    _line(ledger, list(same))
                    for _, same in groupby(work, key=lambda one: one.task.ident)
                ]
            )
        )
    return blocks


def _line(ledger: Ledger, work: list[DueWork]) -> Spans:
    task = work[0].task
    points = [name for one in work if (name := words.point_words(ledger, one.place))]
    worst = max(work, key=lambda one: one.due.overdue_days)
    parts: list[str | Strong | Link] = [words.task_link(task)]
    if points:
        parts.append(f": {words.in_words(points)}")
    facts = []
    if task.lockout:
        facts.append("locked out")
    if task.minutes:
        facts.append(words.minutes_words(minutes_of(work)))
    facts.extend(_uses(ledger, task))
    if worst.last_done is not None:
        facts.append(f"last done {words.day_words(worst.last_done.day)}")
    if facts:
        parts.append(f" ({'; '.join(facts)})")
    if worst.due.state is State.OVERDUE:
        parts.extend((". ", Strong(words.state_words(worst.due).capitalize()), "."))
    put_off = next((one.put_off for one in work if one.put_off is not None), None)
    if put_off is not None:
        parts.append(
            f" Put off on {words.day_words(put_off.day)} by "
            f"{words.person_words(put_off.by, ledger.site)}: {put_off.reason}"
        )
    return tuple(parts)


def _uses(ledger: Ledger, task: Task) -> list[str]:
    return [
        f"{words.number_words(amount.quantity)} {amount.unit} of "
        f"{ledger.parts[part].name if part in ledger.parts else part} each"
        for part, amount in task.uses.items()
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


def _coming(ledger: Ledger, work: Sequence[DueWork], as_of: date) -> list[Block]:
    last = as_of + timedelta(days=COMING_DAYS)
    ahead = [
        one
        for one in work
        if one.due.state is State.NOT_DUE
        and one.due.due_on is not None
        and one.due.due_on <= last
        and not _is_daily(one)
    ]
    if not ahead:
        return []
    ahead.sort(key=lambda one: (one.due.due_on or last, one.task.ident))
    rows = []
    for (due_on, _), found in groupby(ahead, key=lambda one: (one.due.due_on, one.task.ident)):
        same = list(found)
        machines = dict.fromkeys(ledger.machines[one.place.machine].name for one in same)
        basis = same[0].due
        rate = (
            f" (predicted from {words.number_words(round(basis.rate.per_day, 1))} a day over "
            f"the last {basis.rate.span_days} days)"
            if basis.predicted and basis.rate is not None
            else ""
        )
        rows.append(
            (
                words.day_words(due_on or last) + rate,
                words.task_link(same[0].task),
                words.count_words(len(same), "place"),
                ", ".join(machines),
            )
        )
    return [
        Heading(2, f"Coming in the next {COMING_DAYS} days"),
        Table((left("Due"), left("Task"), right("Places"), left("Machines")), rows),
    ]


def _is_daily(one: DueWork) -> bool:
    return one.due.because is not None and is_daily(one.due.because)


def _undated(ledger: Ledger, work: Sequence[DueWork]) -> list[Block]:
    lines = [
        f"{one.task.title} at {ledger.place_name(one.place)}: {words.state_words(one.due)}"
        for one in work
        if one.due.state is State.UNKNOWN
    ]
    if not lines:
        return []
    return [Heading(2, "Cannot be dated"), Bullets(lines)]
