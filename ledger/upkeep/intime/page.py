"""What was not done, and the share of work done in time: by what matters, month and task."""

from collections.abc import Mapping, Sequence
from datetime import date

from ledger.book import words
from ledger.book.addresses import IN_TIME_PAGE, IN_TIME_TITLE
from ledger.book.blocks import (
    Axis,
    AxisKind,
    Block,
    Heading,
    Mark,
    Page,
    Paragraph,
    Picture,
    Plot,
    Sample,
    Samples,
    Spans,
    Strong,
    Table,
    left,
    right,
)
from ledger.book.method import pointer
from ledger.compute.numbers import fixed
from ledger.compute.schedule import Outcome
from ledger.upkeep.intime.found import DEFINITION, MonthOfTask, Round, TaskCompliance, TaskGroup

LATEST_MONTHS = 4

MOST_NOT_DONE = 10


_RANK = {group: number for number, group in enumerate(TaskGroup)}

_COLUMNS = (
    right("Share in time"),
    right("In time"),
    right("Late"),
    right("Early"),
    right("Not done"),
)


def compliance_page(found: Sequence[TaskCompliance], as_of: date) -> Page:
    """Depends on the day: a due date settles when its last day has passed."""
    counted = [one for one in found if one.months]
    months = sorted({month for one in counted for month in one.months})
    blocks: list[Block] = [Paragraph(DEFINITION), pointer(IN_TIME_TITLE)]
    if not months:
        blocks.insert(0, Paragraph("No due date has settled yet."))
    else:
        latest = months[-LATEST_MONTHS:]
        daily, other = _parted(counted)
        blocks = [
            Paragraph(_in_short(counted)),
            *_not_done(counted),
            Heading(2, "By what the work is for"),
            _by_group(counted),
            Heading(2, "By month"),
            Paragraph(
                "The daily round is many due dates of a minute each; it is counted apart, or it "
                "would hide the rest."
            ),
            Picture("plots/compliance.svg", compliance_plot(daily, other, as_of)),
            _by_month(months, daily, other),
            Heading(2, "By task"),
            Paragraph(
                "By what the work is for, then the least in time first. In the months: share in "
                "percent, and in time of all that fell due."
            ),
            _by_task(counted, latest),
            Heading(2, "What is counted"),
            *blocks,
        ]
    return Page(
        path=IN_TIME_PAGE, title=IN_TIME_TITLE, blocks=blocks, as_of=words.format_as_of(as_of)
    )


def compliance_plot(
    daily: Sequence[TaskCompliance], other: Sequence[TaskCompliance], until: date
) -> Plot:
    """The share by month, each drawn at the month's first day; the daily round apart.

    Months that are over, before that of `until`: the share of a month that runs is no share yet.
    """
    groups = [
        ("daily round", Mark.RING, _of_month(daily)),
        ("weekly and rarer work", Mark.DISC, _of_month(other)),
    ]
    samples = [
        Samples(
            name=name,
            mark=mark,
            points=[
                Sample(x=month.toordinal(), y=share)
                for month, of in sorted(of_month.items())
                if month < until.replace(day=1) and (share := _percent(of)) is not None
            ],
        )
        for name, mark, of_month in groups
        if of_month
    ]
    months = max((len(group.points) for group in samples), default=0)
    return Plot(
        title=IN_TIME_TITLE,
        summary=f"{words.format_count(months, 'month')}, share of due dates in percent",
        x=Axis(label="month", kind=AxisKind.DAY),
        y=Axis(label="done in time, %", span=(0, 100)),
        samples=samples,
    )


def _parted(
    counted: Sequence[TaskCompliance],
) -> tuple[list[TaskCompliance], list[TaskCompliance]]:
    daily = [one for one in counted if one.round is Round.DAILY]
    return daily, [one for one in counted if one.round is not Round.DAILY]


def _in_short(counted: Sequence[TaskCompliance]) -> Spans:
    months = [month for one in counted for month in one.months.values()]
    settled = sum(month.settled for month in months)
    undone = sum(len(one.not_done) for one in counted)
    late = sum(_count(months, outcome) for outcome in (Outcome.LATE, Outcome.EARLY))
    weighty = sum(len(one.not_done) for one in counted if one.group is TaskGroup.SAFETY)
    return (
        Strong(f"{undone} not done"),
        (
            f" of {words.format_count(settled, 'due date')}, {weighty} of them for safety or by "
            f"law; {late} more were done late or early."
        ),
    )


def _not_done(counted: Sequence[TaskCompliance]) -> list[Block]:
    """The tasks with most left undone, those that matter first."""
    undone = [one for one in counted if one.not_done]
    if not undone:
        return []
    undone.sort(key=lambda one: (_RANK[one.group], -len(one.not_done), one.task.ident))
    rows: list[tuple[Spans, ...]] = []
    for one in undone[:MOST_NOT_DONE]:
        days = sorted({missed.due_on for missed in one.not_done})
        rows.append(
            (
                words.task_link(one.task),
                one.group.value,
                one.round.value,
                str(len(one.not_done)),
                str(len(days)),
                words.format_day(days[-1]),
            )
        )
    blocks: list[Block] = [
        Heading(2, "Not done, what matters first"),
        Table(
            (
                left("Task"),
                left("For"),
                left("Comes round"),
                right("Not done"),
                right("On days"),
                left("Last"),
            ),
            rows,
        ),
    ]
    if len(undone) > MOST_NOT_DONE:
        more = words.format_count(len(undone) - MOST_NOT_DONE, "more task")
        blocks.append(Paragraph(f"{more} with work not done: see by task, below."))
    return blocks


def _by_group(counted: Sequence[TaskCompliance]) -> Table:
    rows: list[tuple[Spans, ...]] = []
    for group in TaskGroup:
        for often in Round:
            own = [one for one in counted if (one.group, one.round) == (group, often)]
            if own:
                months = [month for one in own for month in one.months.values()]
                name = group.value.capitalize()
                rows.append((name, often.value, str(len(own)), *_cells(months)))
    return Table((left("For"), left("Comes round"), right("Tasks"), *_COLUMNS), rows)


def _by_month(
    months: Sequence[date], daily: Sequence[TaskCompliance], other: Sequence[TaskCompliance]
) -> Table:
    of_daily, of_other = _of_month(daily), _of_month(other)
    every = (
        [month for of in of_daily.values() for month in of],
        [month for of in of_other.values() for month in of],
    )
    return Table(
        (
            left("Month"),
            right("Weekly and rarer, in time"),
            right("Not done"),
            right("Daily round, in time"),
            right("Not done, daily"),
        ),
        [
            *(
                (
                    words.format_month(month),
                    *_short_cells(of_other.get(month, ())),
                    *_short_cells(of_daily.get(month, ())),
                )
                for month in reversed(months)
            ),
            ("All", *_short_cells(every[1]), *_short_cells(every[0])),
        ],
    )


def _by_task(counted: Sequence[TaskCompliance], latest: Sequence[date]) -> Table:
    def share(one: TaskCompliance) -> float:
        percent = _percent(list(one.months.values()))
        return 101.0 if percent is None else percent

    rows: list[tuple[Spans, ...]] = [
        (
            words.task_link(one.task),
            one.group.value,
            *_cells(list(one.months.values())),
            *(_share(one.months.get(month)) for month in latest),
        )
        for one in sorted(counted, key=lambda one: (_RANK[one.group], share(one), one.task.ident))
    ]
    return Table(
        (
            left("Task"),
            left("For"),
            *_COLUMNS,
            *(right(words.format_month(month)) for month in latest),
        ),
        rows,
    )


def _of_month(counted: Sequence[TaskCompliance]) -> Mapping[date, list[MonthOfTask]]:
    found: dict[date, list[MonthOfTask]] = {}
    for one in counted:
        for month, of in one.months.items():
            found.setdefault(month, []).append(of)
    return found


def _cells(months: Sequence[MonthOfTask]) -> tuple[str, ...]:
    return (
        _format_percent(months),
        *(
            str(_count(months, outcome))
            for outcome in (Outcome.IN_WINDOW, Outcome.LATE, Outcome.EARLY, Outcome.MISSED)
        ),
    )


def _short_cells(months: Sequence[MonthOfTask]) -> tuple[str, str]:
    if not months:
        return words.NONE, words.NONE
    return _format_percent(months), str(_count(months, Outcome.MISSED))


def _count(months: Sequence[MonthOfTask], outcome: Outcome) -> int:
    return sum(month.outcomes.get(outcome, 0) for month in months)


def _percent(months: Sequence[MonthOfTask]) -> float | None:
    settled = sum(month.settled for month in months)
    return 100 * sum(month.in_time for month in months) / settled if settled else None


def _format_percent(months: Sequence[MonthOfTask]) -> str:
    percent = _percent(months)
    if percent is None:
        return words.NONE
    # All but a few is not all: 100 % is kept for nothing left out.
    if percent < 100 and fixed(percent, 0) == "100":
        return "> 99 %"
    return f"{fixed(percent, 0)} %"


def _share(month: MonthOfTask | None) -> str:
    if month is None or not month.settled:
        return words.NONE
    return f"{fixed(100 * month.in_time / month.settled, 0)} ({month.in_time}/{month.settled})"
