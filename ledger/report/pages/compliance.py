"""The share of work done in its window, per task and month."""

from collections.abc import Sequence
from datetime import date

from ledger.assess.compliance import DEFINITION, MonthOfTask, TaskCompliance
from ledger.compute.rounding import fixed
from ledger.compute.schedule import Outcome
from ledger.report import words
from ledger.report.blocks import Heading, Page, Paragraph, Spans, Table, left, right

PATH = "compliance.md"


def compliance_page(found: Sequence[TaskCompliance], as_of: date) -> Page:
    """Depends on the day: a due date settles when its window closes."""
    counted = [one for one in found if one.months]
    months = sorted({month for one in counted for month in one.months})
    header = tuple(right(words.month_words(month)) for month in months)
    rows: list[tuple[Spans, ...]] = [
        (
            words.task_link(one.task),
            *(_share(one.months.get(month)) for month in months),
            _share_of(list(one.months.values())),
        )
        for one in counted
    ]
    every: tuple[Spans, ...] = (
        "All tasks",
        *(
            _share_of([one.months[month] for one in counted if month in one.months])
            for month in months
        ),
        _share_of([month for one in counted for month in one.months.values()]),
    )
    return Page(
        path=PATH,
        title="Work done in its window",
        as_of=f"As of {words.long_day(as_of)}.",
        blocks=[
            Paragraph(DEFINITION),
            Heading(2, "Share in time"),
            Paragraph("Each cell: share in percent, and in time of all that fell due."),
            Table((left("Task"), *header, right("All")), [*rows, every]),
            Heading(2, "What became of the rest"),
            Table(
                (left("Task"), right("In time"), right("Late"), right("Early"), right("Missed")),
                [(words.task_link(one.task), *_outcomes(one)) for one in counted],
            ),
        ],
    )


def _share(month: MonthOfTask | None) -> str:
    return words.NONE if month is None else _share_of([month])


def _share_of(months: Sequence[MonthOfTask]) -> str:
    settled = sum(month.settled for month in months)
    if settled == 0:
        return words.NONE
    in_time = sum(month.in_time for month in months)
    return f"{fixed(100 * in_time / settled, 0)} ({in_time}/{settled})"


def _outcomes(one: TaskCompliance) -> tuple[str, ...]:
    shown = (Outcome.IN_WINDOW, Outcome.LATE, Outcome.EARLY, Outcome.MISSED)
    return tuple(
        str(sum(month.outcomes.get(outcome, 0) for month in one.months.values()))
        for outcome in shown
    )
