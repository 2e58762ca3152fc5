"""What was not done, and the share of work done in time: by what matters, month and task."""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from datetime import date
from itertools import chain
from typing import TypeAlias

from ledger.book import words
from ledger.book.addresses import IN_TIME_PAGE, IN_TIME_TITLE
from ledger.book.blocks import (
    Axis,
    AxisKind,
    Block,
    Column,
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
    beneath,
    right,
)
from ledger.book.entry_words import format_entry
from ledger.compute.numbers import fixed
from ledger.compute.schedule import Outcome
from ledger.model.ledger import Ledger
from ledger.upkeep.intime.found import DEFINITION, Frequency, Rounds, TaskGroup, TaskInTime
from ledger.values import grouped

LATEST_MONTHS = 4

MOST_NOT_DONE = 10

MOST_ROUNDS = 10


_RANK = {group: number for number, group in enumerate(TaskGroup)}

_OUTCOMES = {
    "In time": Outcome.IN_WINDOW,
    "Late": Outcome.LATE,
    "Early": Outcome.EARLY,
    "Not done": Outcome.MISSED,
}


_Row: TypeAlias = tuple[TaskInTime, int, Counter[Outcome]]
"""A task, or the first of several, how many they are, and what became of all their due dates."""


def in_time_page(ledger: Ledger, found: Sequence[TaskInTime], walked: Rounds, as_of: date) -> Page:
    """Depends on the day: a due date settles when its last day has passed."""
    counted = [one for one in found if one.months]
    months = sorted(_by_month(counted))
    blocks: list[Block] = [Paragraph(DEFINITION), words.pointer(IN_TIME_TITLE)]
    if not months:
        blocks.insert(0, Paragraph("No due date has settled yet."))
    else:
        latest = months[-LATEST_MONTHS:]
        daily = [one for one in counted if one.frequency is Frequency.DAILY]
        other = [one for one in counted if one.frequency is not Frequency.DAILY]
        blocks = [
            Paragraph(_in_short(counted)),
            *_not_done(counted),
            Heading(2, "By what the work is for"),
            _groups_table(counted),
            Heading(2, "By month"),
            Paragraph(
                "The daily round has many due dates of a minute each. It is counted apart, so that "
                "it does not hide the rest."
            ),
            Picture("plots/in-time.svg", in_time_plot(daily, other, as_of)),
            _months_table(daily, other),
            Heading(2, "By task"),
            Paragraph(
                "Grouped by what the work is for, the least in time first. Each month shows the "
                "share in percent, then the due dates in time and all due dates."
            ),
            _tasks_table(counted, latest),
            *_rounds(ledger, walked),
            Heading(2, "What is counted"),
            *blocks,
        ]
    return Page(
        path=IN_TIME_PAGE, title=IN_TIME_TITLE, blocks=blocks, as_of=words.format_as_of(as_of)
    )


def _rounds(ledger: Ledger, walked: Rounds) -> Iterator[Block]:
    """How much was answered by one answer for a round, and what it may have passed over."""
    if walked.claims:
        answers = walked.by_round + walked.one_by_one
        yield Heading(2, "Answered with the round")
        yield Paragraph(
            f"{walked.by_round} of {answers} answers of the daily looking "
            f"({fixed(100 * walked.by_round / answers, 0)} %) were given for a whole round at "
            "once. The newest rounds, to look at the work, not to rank people:"
        )
        yield Table.of(
            reversed(walked.claims[-MOST_ROUNDS:]),
            ("Round", lambda one: words.format_time(one.when, ledger.site)),
            ("What was said", lambda one: format_entry(ledger, one)),
            (beneath("By"), lambda one: words.format_crew(one, ledger.site)),
        )
    if walked.missed:
        yield Heading(3, "Found within a week at a place that a round found in order")
        yield Table.of(
            reversed(walked.missed),
            ("Found", lambda pair: words.format_day(pair[0].day)),
            ("Where", lambda pair: words.place_link(ledger, pair[0].places[0])),
            ("What", lambda pair: pair[0].finding),
            (beneath("Round before"), lambda pair: words.entry_link(ledger, pair[1].ref)),
        )


def in_time_plot(daily: Sequence[TaskInTime], other: Sequence[TaskInTime], until: date) -> Plot:
    """The share by month, each drawn at the month's first day; the daily round apart.

    Months that are over, before that of `until`: the share of a month that runs is no share yet.
    """
    groups = {
        ("daily round", Mark.RING): _by_month(daily),
        ("weekly and rarer work", Mark.DISC): _by_month(other),
    }
    samples = [
        Samples(
            name=name,
            mark=mark,
            points=[
                Sample(x=month.toordinal(), y=_percent(outcomes))
                for month, outcomes in sorted(by_month.items())
                if month < until.replace(day=1)
            ],
        )
        for (name, mark), by_month in groups.items()
        if by_month
    ]
    months = max((len(group.points) for group in samples), default=0)
    return Plot(
        title=IN_TIME_TITLE,
        summary=f"{words.format_count(months, 'month')}, share of due dates in percent",
        x=Axis(label="month", kind=AxisKind.DAY),
        y=Axis(label="done in time, %", span=(0, 100)),
        samples=samples,
    )


def _in_short(counted: Sequence[TaskInTime]) -> Spans:
    total = _total(counted)
    late = total[Outcome.LATE] + total[Outcome.EARLY]
    weighty = sum(len(one.not_done) for one in counted if one.group is TaskGroup.SAFETY)
    return (
        Strong(f"{total[Outcome.MISSED]} not done"),
        (
            f" of {words.format_count(total.total(), 'due date')}, {weighty} of them for safety "
            f"or by law; {late} more were done late or early."
        ),
    )


def _not_done(counted: Sequence[TaskInTime]) -> Iterator[Block]:
    """The tasks with most left undone, those that matter first."""
    undone = [one for one in counted if one.not_done]
    undone.sort(key=lambda one: (_RANK[one.group], -len(one.not_done), one.task.ident))
    if undone:
        yield Heading(2, "Not done, what matters first")
        yield Table.of(
            undone[:MOST_NOT_DONE],
            ("Task", lambda one: words.task_link(one.task)),
            ("For", lambda one: one.group.value),
            ("Comes round", lambda one: one.frequency.value),
            (right("Not done"), lambda one: str(len(one.not_done))),
            (right("On days"), lambda one: str(len(set(one.not_done)))),
            ("Last", lambda one: words.format_day(one.not_done[-1])),
        )
    if len(undone) > MOST_NOT_DONE:
        more = words.format_count(len(undone) - MOST_NOT_DONE, "more task")
        yield Paragraph(f"{more} with work not done: see by task, below.")


def _groups_table(counted: Sequence[TaskInTime]) -> Table:
    often = list(Frequency)
    ordered = sorted(counted, key=lambda one: (_RANK[one.group], often.index(one.frequency)))
    groups = grouped(ordered, lambda one: (one.group, one.frequency)).values()
    return Table.of(
        [(own[0], len(own), _total(own)) for own in groups],
        ("For", lambda row: row[0].group.value.capitalize()),
        ("Comes round", lambda row: row[0].frequency.value),
        (right("Tasks"), lambda row: str(row[1])),
        *_outcome_columns(),
    )


def _months_table(daily: Sequence[TaskInTime], other: Sequence[TaskInTime]) -> Table:
    """The newest first, then all together."""
    of_daily, of_other = _by_month(daily), _by_month(other)
    rows = [
        (words.format_month(month), of_other.get(month), of_daily.get(month))
        for month in sorted({*of_daily, *of_other}, reverse=True)
    ]
    return Table.of(
        [*rows, ("All", _total(other), _total(daily))],
        ("Month", lambda row: row[0]),
        (right("Weekly and rarer, in time"), lambda row: _format_percent(row[1])),
        (right("Not done"), lambda row: _format_not_done(row[1])),
        (right("Daily round, in time"), lambda row: _format_percent(row[2])),
        (right("Not done, daily"), lambda row: _format_not_done(row[2])),
    )


def _tasks_table(counted: Sequence[TaskInTime], latest: Sequence[date]) -> Table:
    def weight(row: _Row) -> tuple[int, float, str]:
        return _RANK[row[0].group], _percent(row[2]), row[0].task.ident

    def share(month: date) -> Callable[[_Row], str]:
        return lambda row: _share(row[0].months.get(month))

    return Table.of(
        sorted(((one, 1, _total([one])) for one in counted), key=weight),
        ("Task", lambda row: words.task_link(row[0].task)),
        ("For", lambda row: row[0].group.value),
        *_outcome_columns(),
        *((right(words.format_month(month)), share(month)) for month in latest),
    )


def _outcome_columns() -> Iterator[tuple[Column | str, Callable[[_Row], Spans]]]:
    """The share in time of some tasks, and how many due dates came to each end."""

    def number(outcome: Outcome) -> Callable[[_Row], Spans]:
        return lambda row: str(row[2][outcome])

    yield right("Share in time"), lambda row: _format_percent(row[2])
    yield from ((right(title), number(outcome)) for title, outcome in _OUTCOMES.items())


def _by_month(counted: Sequence[TaskInTime]) -> dict[date, Counter[Outcome]]:
    found: dict[date, Counter[Outcome]] = {}
    for one in counted:
        for month, outcomes in one.months.items():
            found.setdefault(month, Counter()).update(outcomes)
    return found


def _total(counted: Sequence[TaskInTime]) -> Counter[Outcome]:
    months = (outcomes.items() for one in counted for outcomes in one.months.values())
    found = Counter[Outcome]()
    for outcome, count in chain.from_iterable(months):
        found[outcome] += count
    return found


def _percent(outcomes: Counter[Outcome]) -> float:
    """The share in time; at least one due date is counted."""
    return 100 * outcomes[Outcome.IN_WINDOW] / outcomes.total()


def _format_percent(outcomes: Counter[Outcome] | None) -> str:
    if not outcomes:
        return words.NONE
    percent = _percent(outcomes)
    # All but a few is not all: 100 % is kept for nothing left out.
    if percent < 100 and fixed(percent, 0) == "100":
        return "> 99 %"
    return f"{fixed(percent, 0)} %"


def _format_not_done(outcomes: Counter[Outcome] | None) -> str:
    return str(outcomes[Outcome.MISSED]) if outcomes else words.NONE


def _share(outcomes: Counter[Outcome] | None) -> str:
    if not outcomes:
        return words.NONE
    in_time, settled = outcomes[Outcome.IN_WINDOW], outcomes.total()
    return f"{fixed(100 * in_time / settled, 0)} ({in_time}/{settled})"
