"""Due work as rows for JSON."""

from collections.abc import Sequence

from ledger.book.blocks import Row
from ledger.model.ledger import Ledger
from ledger.upkeep.due.found import DueWork


def due_rows(ledger: Ledger, work: Sequence[DueWork]) -> list[Row]:
    """One row a task and place that may be done now; dates by ISO 8601."""
    return [
        {
            "station": ledger.machines[one.place.machine].station,
            "place": str(one.place),
            "task": one.task.ident,
            "title": one.task.title,
            "state": one.due.state.value,
            "due_on": None if one.due.due_on is None else one.due.due_on.isoformat(),
            "overdue_days": one.due.overdue_days,
            "because": None if one.due.because is None else str(one.due.because),
            "predicted": one.due.predicted,
            "last_done": None if one.last_done is None else one.last_done.day.isoformat(),
            "put_off": None if one.put_off is None else one.put_off.reason,
            "minutes": one.task.minutes,
            "lockout": one.task.lockout,
            "needs": sorted(one.task.needs),
        }
        for one in work
        if one.is_on_the_walk
    ]
