"""The walk itself: the daily round by task, the rest machine by machine, cautions at the work."""

from collections.abc import Sequence
from itertools import groupby

from ledger.assess.due import DueWork
from ledger.assess.due_groups import belongs_to_daily_round, by_task, minutes_of
from ledger.compute.schedule import State
from ledger.model.ledger import Ledger
from ledger.model.tasks import Task
from ledger.report import words
from ledger.report.blocks import (
    CAUTION_WORDS,
    Block,
    Checklist,
    Heading,
    Lines,
    Link,
    Paragraph,
    Spans,
    Strong,
)


def walk_blocks(ledger: Ledger, walk: Sequence[DueWork]) -> list[Block]:
    """What may be done today, in walking order.

    Work of every day is one line a task, since it looks alike at every machine; other work
    stands with its machine. The cautions of a task stand at each of its boxes.
    """
    daily = [one for one in walk if belongs_to_daily_round(one)]
    rest = [one for one in walk if not belongs_to_daily_round(one)]
    blocks: list[Block] = []
    if daily:
        blocks.append(Heading(2, "Daily round"))
        blocks.append(Checklist([_daily_item(ledger, same) for same in by_task(daily)]))
    if rest:
        blocks.append(Heading(2, "The walk" if not daily else "Besides the daily round"))
        for machine, found in groupby(rest, key=lambda one: one.place.machine):
            of = ledger.machines[machine]
            blocks.append(Heading(3, f"{words.number_words(of.station)} · {of.name}"))
            blocks.append(
                Checklist(
                    [
                        _item(ledger, list(same))
                        for _, same in groupby(found, key=lambda one: one.task.ident)
                    ]
                )
            )
    elif daily:
        blocks.append(Paragraph("Nothing is due but the daily round."))
    return blocks


def _daily_item(ledger: Ledger, work: Sequence[DueWork]) -> Lines:
    machines = dict.fromkeys(ledger.machines[one.place.machine].name for one in work)
    parts: list[str | Strong | Link] = [words.task_link(work[0].task)]
    parts.append(_facts(ledger, work, last_done=False))
    parts.extend(_lateness(ledger, work, of_several=True))
    parts.extend(_put_off(ledger, work))
    return Lines(tuple(parts), (*_cautions(work), f"At: {'; '.join(machines)}"))


def _item(ledger: Ledger, work: Sequence[DueWork]) -> Lines:
    points = [name for one in work if (name := words.point_words(ledger, one.place))]
    parts: list[str | Strong | Link] = [words.task_link(work[0].task)]
    if points:
        parts.append(f": {words.in_words(points)}")
    parts.append(_facts(ledger, work, last_done=True))
    parts.extend(_lateness(ledger, work, of_several=False))
    parts.extend(_put_off(ledger, work))
    return Lines(tuple(parts), _cautions(work))


def _cautions(work: Sequence[DueWork]) -> Sequence[Spans]:
    return [(Strong(CAUTION_WORDS), f" {said}") for said in work[0].task.cautions]


def _facts(ledger: Ledger, work: Sequence[DueWork], *, last_done: bool) -> str:
    task = work[0].task
    facts = []
    if task.lockout:
        facts.append("locked out")
    if task.minutes:
        facts.append(words.minutes_words(minutes_of(work)))
    facts.extend(_uses(ledger, task))
    worst = max(work, key=lambda one: one.due.overdue_days)
    if last_done and worst.last_done is not None:
        facts.append(f"last done {words.day_words(worst.last_done.day)}")
    return f" ({'; '.join(facts)})" if facts else ""


def _lateness(
    ledger: Ledger, work: Sequence[DueWork], *, of_several: bool
) -> list[str | Strong | Link]:
    """How late the worst is; on a line of several machines also which are late, if not all."""
    late = [one for one in work if one.due.state is State.OVERDUE]
    if not late:
        return []
    worst = max(late, key=lambda one: one.due.overdue_days)
    where = ""
    if of_several and len(late) < len(work):
        machines = dict.fromkeys(ledger.machines[one.place.machine].name for one in late)
        where = f" at {'; '.join(machines)}"
    return [". ", Strong(words.state_words(worst.due).capitalize()), f"{where}."]


def _put_off(ledger: Ledger, work: Sequence[DueWork]) -> list[str | Strong | Link]:
    put_off = next((one.put_off for one in work if one.put_off is not None), None)
    if put_off is None:
        return []
    who = words.person_words(put_off.by, ledger.site)
    return [f" Put off on {words.day_words(put_off.day)} by {who}: {put_off.reason}"]


def _uses(ledger: Ledger, task: Task) -> list[str]:
    return [
        f"{words.number_words(amount.quantity)} {amount.unit} of "
        f"{ledger.parts[part].name if part in ledger.parts else part} each"
        for part, amount in task.uses.items()
    ]
