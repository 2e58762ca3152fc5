"""The share of work done in its window, by task and month."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from ledger.assess.due import Schedule
from ledger.compute.schedule import Outcome
from ledger.model.ledger import Ledger
from ledger.model.tasks import Task

DEFINITION = (
    "Each due date of a task at a place counts once, in the month it falls in. It is in time when "
    "the work was done between the opening and the close of its window. Missed, late and early "
    "work is not in time. Due dates whose window is still open are left out. "
    "The window is this site's own choice, and the share measures keeping to the plan, "
    "not what the work achieves."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthOfTask:
    """Due dates of one task in one month, by what became of them; open ones left out."""

    outcomes: Mapping[Outcome, int]

    @property
    def settled(self) -> int:
        return sum(self.outcomes.values())

    @property
    def in_time(self) -> int:
        return self.outcomes.get(Outcome.IN_WINDOW, 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskCompliance:
    """`months` maps a month's first day to its counts; months without due dates are left out."""

    task: Task
    months: Mapping[date, MonthOfTask]


def compliance(ledger: Ledger, schedule: Schedule, as_of: date) -> tuple[TaskCompliance, ...]:
    """Every task from the start of the record to the as-of day, by id."""
    found = []
    for task in ledger.tasks.values():
        counted: dict[date, Counter[Outcome]] = {}
        for place in task.places:
            machine = ledger.machines[place.machine]
            last = as_of
            if machine.out_of_service is not None:
                last = min(last, machine.out_of_service - timedelta(days=1))
            if task.ends is not None:
                last = min(last, task.ends)
            for one in schedule.obligations(task, place, ledger.site.in_service, last):
                if one.outcome is not Outcome.OPEN:
                    month = counted.setdefault(one.due_on.replace(day=1), Counter())
                    month[one.outcome] += 1
        months = {month: MonthOfTask(outcomes=dict(n)) for month, n in sorted(counted.items())}
        found.append(TaskCompliance(task=task, months=months))
    return tuple(found)
