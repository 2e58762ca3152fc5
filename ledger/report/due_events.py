"""Due work as days of a calendar: one event a task and place, known by an id that stays."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from ledger.assess.due import DueWork
from ledger.compute.schedule import State
from ledger.model.ledger import Ledger
from ledger.report import words


@dataclass(frozen=True, slots=True, kw_only=True)
class DueEvent:
    """`uid` is of the site, the task and the place alone, so a later export moves the event."""

    uid: str
    day: date
    summary: str
    description: str


def due_events(ledger: Ledger, work: Sequence[DueWork], as_of: date) -> tuple[DueEvent, ...]:
    """The next due date of each task at each place, by day; what is overdue stands on `as_of`.

    Work that cannot be dated has no event.
    """
    found = [
        DueEvent(
            uid=_uid(ledger, one),
            day=as_of if one.due.state is State.OVERDUE else one.due.due_on,
            summary=f"{one.task.title}: {ledger.place_name(one.place)}",
            description=_description(ledger, one),
        )
        for one in work
        if one.due.due_on is not None
    ]
    return tuple(sorted(found, key=lambda event: (event.day, event.uid)))


def _uid(ledger: Ledger, one: DueWork) -> str:
    """A UUID by name (RFC 9562 5.5), as RFC 7986 5.3 asks of a UID."""
    site = ledger.site.address or ledger.site.name
    name = f"tunnelbook:{site}?task={one.task.ident}&place={one.place}"
    return str(uuid.uuid5(uuid.NAMESPACE_URL, name))


def _description(ledger: Ledger, one: DueWork) -> str:
    due, task = one.due, one.task
    lines = [f"{task.ident} at {one.place}", f"Every {words.interval_words(task.every)}."]
    if due.window_from is not None and due.window_to is not None:
        lines.append(f"Due {due.due_on}, window {due.window_from} to {due.window_to}.")
    if due.state is State.OVERDUE:
        lines.append(f"{words.state_words(due).capitalize()}.")
    if due.predicted:
        lines.append("The date is predicted from a meter's recent rate.")
    if one.put_off is not None:
        lines.append(f"Put off on {one.put_off.day}: {one.put_off.reason}")
    if task.needs:
        lines.append(f"Needs: {', '.join(sorted(task.needs))}.")
    if task.lockout:
        machine = ledger.machines[one.place.machine].name
        lines.append(f"Lock out, tag out and verify first: {machine}.")
    lines += [f"Caution: {caution}" for caution in task.cautions]
    lines.append("The maker's manual, the local code and licensed people come first.")
    return "\n".join(lines)
