"""Reliability: what fails, how often and how long, and what the record says of intervals."""

from collections.abc import Sequence
from itertools import groupby

from ledger.assess.reliability import (
    ACCEPTED_MISS,
    DETECTION,
    LEVEL,
    Failure,
    KindReliability,
    MachineReliability,
    Reliability,
)
from ledger.assess.reliability_tasks import TaskValue
from ledger.compute.failure_trend import MIN_TREND_FAILURES
from ledger.compute.inspection import InspectionPlan
from ledger.compute.interval_value import MIN_INTERVAL_FAILURES
from ledger.compute.rounding import fixed, significant
from ledger.compute.weibull import MIN_FAILURES
from ledger.model.ledger import Ledger
from ledger.report import words
from ledger.report.blocks import (
    Block,
    Bullets,
    Heading,
    Page,
    Paragraph,
    Spans,
    Table,
    left,
    right,
)
from ledger.report.pages.method import pointer
from ledger.report.pages.reliability_machine import MIN_PICTURED, machine_blocks
from ledger.report.pages.reliability_words import (
    availability_words,
    interval_words,
    life_words,
    looks_words,
    mtbf_words,
    trend_words,
)

PATH = "reliability.md"

METHOD = (
    (
        "A failure is a finding marked as a loss of function (terms: IEC 60050-192, EN 13306). "
        "Hours are operating hours up to the last visit. The ranges in brackets hold the true "
        f"figure in {fixed(100 * LEVEL, 0)} of 100 cases for hours between failures (MTBF) and for "
        "the share available, in 95 of 100 for all else."
    ),
    (
        "Few failures are the normal case, and few failures prove nothing: below "
        f"{MIN_TREND_FAILURES} no trend is told, below {MIN_FAILURES} no life of a part, below "
        f"{MIN_INTERVAL_FAILURES} nothing on an interval. Then the page says how many there were."
    ),
)


def reliability_page(ledger: Ledger, found: Reliability, tasks: Sequence[TaskValue]) -> Page:
    """Depends on the sources only: the watch ends with the last visit."""
    blocks: list[Block] = [
        *(Paragraph(said) for said in METHOD),
        pointer("Reliability"),
    ]
    blocks.append(Heading(2, "Machines"))
    if found.failed:
        blocks.append(_machines(found.failed))
    blocks.extend(Paragraph(said) for said in _without_failure(found))
    if found.outside:
        blocks.append(
            Paragraph(
                f"{words.count_words(found.outside, 'failure')} before the hours were counted "
                "or at a machine out of service; left out."
            )
        )
    if found.kinds:
        blocks.extend((Heading(2, "Kinds of point"), _kinds(ledger, found.kinds)))
        blocks.append(Bullets([_kind_words(ledger, kind) for kind in found.kinds]))
    blocks.extend((Heading(2, "Intervals"), *_tasks(tasks)))
    for machine in found.failed:
        if len(machine.failures) >= MIN_PICTURED:
            blocks.extend(machine_blocks(ledger, machine))
    if found.failed:
        blocks.extend((Heading(2, "Every failure, newest first"), _failures(ledger, found.failed)))
    return Page(path=PATH, title="Reliability", blocks=blocks)


def _machines(failed: Sequence[MachineReliability]) -> Table:
    return Table(
        (
            left("Machine"),
            right("Hours"),
            right("Failures"),
            right("Down time"),
            left("Hours between failures"),
            left("Available"),
            left("Trend"),
        ),
        [
            (
                words.machine_link(found.machine),
                fixed(found.watch.hours, 0),
                str(len(found.failures)),
                words.minutes_words(found.down_minutes),
                mtbf_words(found.mtbf),
                availability_words(found.available),
                trend_words(found.trend),
            )
            for found in failed
        ],
    )


def _without_failure(found: Reliability) -> list[str]:
    """Machines without a failure, those of one watch in one sentence."""
    if not found.unfailed:
        return []

    def watched(machine: MachineReliability) -> tuple[str, str, str]:
        return machine.watch.basis, fixed(machine.watch.hours, 0), mtbf_words(machine.mtbf)

    sentences = []
    for (basis, hours, mtbf), group in groupby(sorted(found.unfailed, key=watched), watched):
        count = len(list(group))
        sentences.append(
            f"{words.count_words(count, 'machine')} without a failure in {hours} h "
            f"({basis.lower()}): {mtbf} between failures" + (" for each." if count > 1 else ".")
        )
    return sentences


def _kinds(ledger: Ledger, kinds: Sequence[KindReliability]) -> Table:
    rows: list[tuple[Spans, ...]] = []
    for kind in kinds:
        place, count = kind.worst
        rows.append(
            (
                kind.kind.replace("-", " "),
                str(kind.points),
                str(len(kind.failures)),
                (words.place_link(ledger, place), f" ({count})"),
                mtbf_words(kind.mtbf),
                trend_words(kind.trend),
            )
        )
    return Table(
        (
            left("Kind"),
            right("Points"),
            right("Failures"),
            left("Most at"),
            left("Hours between failures of one point"),
            left("Trend"),
        ),
        rows,
    )


def _kind_words(ledger: Ledger, kind: KindReliability) -> str:
    said = f"{kind.kind.replace('-', ' ').capitalize()}: lives of parts renewed on record: "
    said += f"{life_words(kind.life)}."
    place, count = kind.worst
    if count > 1 and kind.points > 1:
        said += (
            f" {count} of {len(kind.failures)} failures came at {ledger.place_name(place)}, and "
            "the mean of all points says little of that one."
        )
    of = words.count_words(len(kind.failures), "failure")
    said += f" Announced by a finding: {len(kind.signs)} of {of}"
    if kind.signs:
        days = sorted(sign.days for sign in kind.signs)
        said += f", {significant(days[0], 2)} days ahead at the shortest"
    said += f". How often to look for a sign: {looks_words(kind.looks)}"
    if isinstance(kind.looks, InspectionPlan):
        said += (
            f", if a look sees it {fixed(100 * DETECTION, 0)} % of the time and "
            f"{fixed(100 * ACCEPTED_MISS, 0)} % missed is accepted (both assumed)"
        )
    return said + "."


def _tasks(tasks: Sequence[TaskValue]) -> list[Block]:
    if not tasks:
        return [Paragraph("No failure is on record at a place of any task.")]
    rows: list[tuple[Spans, ...]] = [
        (
            words.task_link(value.task),
            words.interval_words(value.task.every),
            _done_words(value),
            str(value.spans),
            str(len(value.failures)),
            interval_words(value),
        )
        for value in tasks
    ]
    return [
        Paragraph(
            "The plan is what the task's file says; done about every is how it was done, by the "
            "record. The last column asks whether failures come soon after a service or late. It "
            "compares and does not explain, and nothing here is a reason for a longer interval: "
            "where failures are few, the work itself may be why. Tasks at whose places nothing "
            "failed are left out."
        ),
        Table(
            (
                left("Task"),
                left("Plan"),
                right("Done about every"),
                right("Services"),
                right("Failures"),
                left("What the record says"),
            ),
            rows,
        ),
    ]


def _done_words(value: TaskValue) -> str:
    if value.done_days is not None:
        return f"{significant(value.done_days, 2)} days"
    return "once each" if value.spans else "never"


def _failures(ledger: Ledger, failed: Sequence[MachineReliability]) -> Table:
    every: list[Failure] = sorted(
        (failure for found in failed for failure in found.failures),
        key=lambda failure: (failure.entry.when, failure.entry.ref),
        reverse=True,
    )
    return Table(
        (
            left("Date"),
            right("Hours"),
            left("Where"),
            left("What"),
            right("Stopped"),
            left("Entry"),
        ),
        [
            (
                words.day_words(failure.entry.day),
                fixed(failure.hours, 0),
                words.place_link(ledger, failure.place),
                failure.entry.finding,
                words.NONE
                if failure.entry.stopped_minutes is None
                else words.minutes_words(failure.entry.stopped_minutes),
                words.entry_link(ledger, failure.entry.ref),
            )
            for failure in every
        ],
    )
