"""The share of work done in its window, per task and month."""

from collections.abc import Mapping, Sequence
from datetime import date

from ledger.assess.compliance import DEFINITION, MonthOfTask, TaskCompliance
from ledger.compute.rounding import fixed
from ledger.compute.schedule import Outcome
from ledger.report import words
from ledger.report.blocks import (
    Block,
    Heading,
    Page,
    Paragraph,
    Picture,
    Spans,
    Table,
    left,
    right,
)
from ledger.report.plot import Axis, AxisKind, Mark, Plot, Sample, Samples

PATH = "compliance.md"
LATEST_MONTHS = 4

_TITLE = "Work done in its window"
_COLUMNS = (right("Share"), right("In time"), right("Late"), right("Early"), right("Missed"))


def compliance_page(found: Sequence[TaskCompliance], as_of: date) -> Page:
    """Depends on the day: a due date settles when its window closes."""
    counted = [one for one in found if one.months]
    months = sorted({month for one in counted for month in one.months})
    blocks: list[Block] = [Paragraph(DEFINITION)]
    if not months:
        blocks.append(Paragraph("No due date has settled yet."))
        return Page(path=PATH, title=_TITLE, blocks=blocks, as_of=words.as_of_words(as_of))
    of_month = {
        month: [one.months[month] for one in counted if month in one.months] for month in months
    }
    every = [month for one in counted for month in one.months.values()]
    blocks.extend(
        (
            Heading(2, "By month, all tasks"),
            Picture("plots/compliance.svg", compliance_plot(of_month)),
            Table(
                (left("Month"), *_COLUMNS),
                [
                    *(
                        (words.month_words(month), *_cells(of_month[month]))
                        for month in reversed(months)
                    ),
                    ("All", *_cells(every)),
                ],
            ),
            Heading(2, "By task"),
            Paragraph(
                "The least in time first. In the months: share in percent, and in time of all "
                "that fell due."
            ),
            _by_task(counted, months[-LATEST_MONTHS:]),
        )
    )
    return Page(path=PATH, title=_TITLE, blocks=blocks, as_of=words.as_of_words(as_of))


def compliance_plot(of_month: Mapping[date, Sequence[MonthOfTask]]) -> Plot:
    """The share of all tasks by month, each drawn at the month's first day."""
    shares = {month: share for month, of in of_month.items() if (share := _percent(of)) is not None}
    return Plot(
        title="Work done in its window",
        summary=f"{len(shares)} months, share of all due dates in percent",
        x=Axis(label="month", kind=AxisKind.DAY),
        y=Axis(label="done in its window, %"),
        samples=[
            Samples(
                name="all tasks",
                mark=Mark.DISC,
                points=[Sample(x=month.toordinal(), y=share) for month, share in shares.items()],
            )
        ],
    )


def _by_task(counted: Sequence[TaskCompliance], latest: Sequence[date]) -> Table:
    def share(one: TaskCompliance) -> float:
        percent = _percent(list(one.months.values()))
        return 101.0 if percent is None else percent

    rows: list[tuple[Spans, ...]] = [
        (
            words.task_link(one.task),
            *_cells(list(one.months.values())),
            *(_share(one.months.get(month)) for month in latest),
        )
        for one in sorted(counted, key=lambda one: (share(one), one.task.ident))
    ]
    return Table(
        (left("Task"), *_COLUMNS, *(right(words.month_words(month)) for month in latest)), rows
    )


def _cells(months: Sequence[MonthOfTask]) -> tuple[str, ...]:
    percent = _percent(months)
    return (
        words.NONE if percent is None else f"{fixed(percent, 0)} %",
        *(
            str(sum(month.outcomes.get(outcome, 0) for month in months))
            for outcome in (Outcome.IN_WINDOW, Outcome.LATE, Outcome.EARLY, Outcome.MISSED)
        ),
    )


def _percent(months: Sequence[MonthOfTask]) -> float | None:
    settled = sum(month.settled for month in months)
    return 100 * sum(month.in_time for month in months) / settled if settled else None


def _share(month: MonthOfTask | None) -> str:
    if month is None or not month.settled:
        return words.NONE
    return f"{fixed(100 * month.in_time / month.settled, 0)} ({month.in_time}/{month.settled})"
