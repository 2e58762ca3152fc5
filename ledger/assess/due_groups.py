"""Due work put together as people go about it: by task, and the daily round apart."""

from collections.abc import Sequence

from ledger.assess.due import DueWork
from ledger.compute.recurrence import is_daily


def by_task(work: Sequence[DueWork]) -> list[list[DueWork]]:
    """The work of each task together, in the order in which the walk comes to the tasks."""
    found: dict[str, list[DueWork]] = {}
    for one in work:
        found.setdefault(one.task.ident, []).append(one)
    return list(found.values())


def belongs_to_daily_round(one: DueWork) -> bool:
    """Whether the work comes round every day."""
    return one.due.because is not None and is_daily(one.due.because)


def minutes_of(work: Sequence[DueWork]) -> float:
    """Minutes the work takes by its tasks; tasks that state none count as nothing."""
    return sum(one.task.minutes or 0.0 for one in work)
