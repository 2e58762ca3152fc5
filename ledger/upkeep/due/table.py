"""Due work as a flat table, and as rows for JSON."""

from collections.abc import Sequence
from datetime import date

from ledger.book.flat import FlatTable, JsonRow, day, json_rows, number, table, text, whole, yes_no
from ledger.compute.schedule import State
from ledger.model.ledger import Ledger
from ledger.upkeep.due.found import DueWork, before_it_runs_again

_NOT_IN_JSON = frozenset({"window_from", "window_to"})


def due_rows(ledger: Ledger, work: Sequence[DueWork]) -> list[JsonRow]:
    """One row a task and place that may be done now; dates by ISO 8601."""
    walk = [one for one in work if one.is_on_the_walk]
    return [
        {name: value for name, value in row.items() if name not in _NOT_IN_JSON}
        | {"needs": sorted(one.task.needs)}
        for one, row in zip(walk, json_rows(due_table(ledger, walk)), strict=True)
    ]


def tied_back_rows(ledger: Ledger, as_of: date) -> list[JsonRow]:
    """One row a machine whose work waits, with the entry that `closes` has to name."""
    return [
        {
            "station": ledger.machines[one.machine].station,
            "place": one.machine,
            "state": State.PAUSED.value,
            "since": one.since.isoformat(),
            "why": one.why,
            "closed_by_naming": str(one.ref),
            "before_it_runs_again": [
                task.ident for task in before_it_runs_again(ledger, one.machine)
            ],
        }
        for one in ledger.tied_back(as_of).values()
    ]


def due_table(ledger: Ledger, work: Sequence[DueWork]) -> FlatTable:
    """One row a task and place."""
    return table(
        "due",
        "One task at one place, as seen on the day of the export.",
        work,
        (
            number("station", "", "Place in walking order.",
                   lambda w: ledger.machines[w.place.machine].station),
            text("place", "Machine, or machine and point.", lambda w: str(w.place)),
            text("task", "Id of the task.", lambda w: w.task.ident),
            text("title", "Title of the task.", lambda w: w.task.title),
            text("state", "Not due, due, overdue, tied back or unknown.",
                 lambda w: w.due.state.value),
            day("due_on", "Due date.", lambda w: w.due.due_on),
            day("window_from", "First day on which the work counts.", lambda w: w.due.window_from),
            day("window_to", "Last day in time.", lambda w: w.due.window_to),
            whole("overdue_days", "d", "Days past the last day in time.",
                  lambda w: w.due.overdue_days),
            text("because", "The interval that made the date.",
                 lambda w: None if w.due.because is None else str(w.due.because)),
            yes_no("predicted", "Whether a meter's rate predicted it.", lambda w: w.due.predicted),
            day("last_done", "Last day done.", lambda w: w.last_done.day if w.last_done else None),
            text("remembered", "When it was last done before the record began, as remembered.",
                 lambda w: w.remembered.text if w.remembered else None),
            text("put_off", "Why it was not done since.",
                 lambda w: w.put_off.reason if w.put_off else None),
            number("minutes", "min", "Time it takes.", lambda w: w.task.minutes),
            yes_no("lockout", "Whether the machine is locked out first.", lambda w: w.task.lockout),
            text("needs", "Qualifications it takes.", lambda w: " ".join(sorted(w.task.needs))),
        ),
        key="task place",
        refers="task",
    )  # fmt: skip
