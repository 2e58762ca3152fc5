"""Reliability: what fails, how often and how long, and what the record says of intervals."""

from collections.abc import Sequence
from itertools import count, groupby

from ledger.book import words
from ledger.book.addresses import RELIABILITY_PAGE
from ledger.book.blocks import (
    Axis,
    Block,
    Bullets,
    Curve,
    Heading,
    Mark,
    Page,
    Paragraph,
    Picture,
    Plot,
    Sample,
    Samples,
    Spans,
    Stroke,
    Table,
    right,
)
from ledger.compute import reliability as formulas
from ledger.compute.numbers import fixed, significant
from ledger.compute.weibull import MIN_FAILURES, AgeAdvice
from ledger.model.ledger import Ledger
from ledger.upkeep.reliability import found as results
from ledger.upkeep.reliability import words as reliability_words
from ledger.upkeep.reliability.tasks import TaskValue
from ledger.upkeep.reliability.words import format_availability, format_mtbf, format_trend

MIN_PICTURED = 3

_CURVE_STEPS = 40

METHOD = (
    (
        "A failure is a finding marked as a loss of function (terms: IEC 60050-192, EN 13306). "
        "Hours are operating hours up to the last meter reading. The ranges in brackets hold the "
        f"true figure in {fixed(100 * results.LEVEL, 0)} of 100 cases for hours between failures "
        "(MTBF) and for availability, and in 95 of 100 for all else. A machine is down from the "
        "finding of a failure, or from when it was tied back, to the entry that closes it. The "
        "line is down for the minutes noted, and runs on beside a machine that is tied back. Both "
        "are shares of the opening hours, and assume that stops come at a constant rate."
    ),
    (
        "Most machines fail seldom, and a few failures prove little. With fewer than "
        f"{formulas.MIN_TREND_FAILURES} failures the page gives no trend, with fewer than "
        f"{MIN_FAILURES} no life of a part, with fewer than {formulas.MIN_INTERVAL_FAILURES} "
        "nothing on an interval. It then gives the number of failures."
    ),
)


def reliability_page(
    ledger: Ledger, found: results.Reliability, tasks: Sequence[TaskValue]
) -> Page:
    """Depends on the sources only: the watch ends with what they tell of last."""
    blocks: list[Block] = [
        *(Paragraph(text) for text in METHOD),
        words.pointer("Reliability"),
        Heading(2, "Machines"),
    ]
    if found.failed:
        blocks.append(_machines(found.failed))
    blocks.extend(Paragraph(text) for text in _without_failure(found))
    if found.outside:
        failures = words.format_count(found.outside, "failure")
        where = "before the hours were counted or at a machine out of service"
        blocks.append(Paragraph(f"{failures} {where}; left out."))
    if found.kinds:
        said = Bullets([_format_kind(ledger, kind) for kind in found.kinds])
        blocks += [Heading(2, "Kinds of point"), _kinds(ledger, found.kinds), said]
    blocks.extend((Heading(2, "Intervals"), *_tasks(tasks)))
    for machine in found.failed:
        if len(machine.failures) >= MIN_PICTURED:
            blocks.extend(machine_blocks(ledger, machine))
    if found.failed:
        blocks.extend((Heading(2, "Every failure, newest first"), _failures(ledger, found.failed)))
    return Page(path=RELIABILITY_PAGE, title="Reliability", blocks=blocks)


def _machines(failed: Sequence[results.MachineReliability]) -> Table:
    return Table.of(
        failed,
        ("Machine", lambda found: words.machine_link(found.machine)),
        (right("Hours"), lambda found: significant(found.watch.hours, 3)),
        (right("Failures"), lambda found: str(len(found.failures))),
        ("Hours between failures", lambda found: format_mtbf(found.mtbf)),
        ("Machine available", lambda found: format_availability(found.available)),
        ("Line not stopped by it", lambda found: format_availability(found.line_available)),
        ("Trend", lambda found: format_trend(found.trend)),
    )


def _without_failure(found: results.Reliability) -> list[str]:
    """Machines without a failure, those of one watch in one sentence."""

    def watched(machine: results.MachineReliability) -> tuple[str, str, str]:
        return machine.watch.basis, significant(machine.watch.hours, 3), format_mtbf(machine.mtbf)

    sentences = []
    for (basis, hours, mtbf), group in groupby(sorted(found.unfailed, key=watched), watched):
        count = len(list(group))
        sentences.append(
            f"{words.format_count(count, 'machine')} without a failure in {hours} h "
            f"({basis.lower()}): {mtbf} between failures" + (" for each." if count > 1 else ".")
        )
    return sentences


def _kinds(ledger: Ledger, kinds: Sequence[results.KindReliability]) -> Table:
    def most_at(kind: results.KindReliability) -> Spans:
        place, count = kind.worst
        return words.place_link(ledger, place), f" ({count})"

    return Table.of(
        kinds,
        ("Kind", lambda kind: kind.kind.replace("-", " ")),
        (right("Points"), lambda kind: str(kind.points)),
        (right("Failures"), lambda kind: str(len(kind.failures))),
        ("Most at", most_at),
        ("Hours between failures of one point", lambda kind: format_mtbf(kind.mtbf)),
        ("Trend", lambda kind: format_trend(kind.trend)),
    )


def _format_kind(ledger: Ledger, kind: results.KindReliability) -> str:
    text = f"{kind.kind.replace('-', ' ').capitalize()}: lives of parts renewed on record: "
    text += f"{reliability_words.format_life(kind.life)}."
    place, count = kind.worst
    if count > 1 and kind.points > 1:
        text += (
            f" {count} of {len(kind.failures)} failures were at {ledger.place_name(place)}, so "
            "the mean of all points says little about that one."
        )
    of = words.format_count(len(kind.failures), "failure")
    text += f" Announced by a finding: {len(kind.signs)} of {of}"
    if kind.signs:
        days = sorted(sign.days for sign in kind.signs)
        text += f", {significant(days[0], 2)} days ahead at the shortest"
    text += f". How often to look for a sign: {reliability_words.format_look(kind.looks)}"
    if isinstance(kind.looks, formulas.InspectionPlan):
        text += (
            f", if a look sees it {fixed(100 * results.DETECTION, 0)} % of the time and "
            f"{fixed(100 * results.ACCEPTED_MISS, 0)} % missed is accepted (both assumed)"
        )
    return text + "."


def _tasks(tasks: Sequence[TaskValue]) -> list[Block]:
    if not tasks:
        return [Paragraph("No failure is on record at a place of any task.")]
    return [
        Paragraph(
            "The plan is the interval in the task's file; done about every is the interval by the "
            "record. The last column asks whether failures come soon after a service or late. It "
            "compares and does not explain, and nothing here is a reason for a longer interval: "
            "where failures are few, the work itself may be why. Tasks at whose places nothing "
            "failed are left out."
        ),
        Table.of(
            tasks,
            ("Task", lambda value: words.task_link(value.task)),
            ("Plan", lambda value: words.format_interval(value.task.every)),
            (right("Done about every"), _format_done),
            (right("Services"), lambda value: str(value.spans)),
            (right("Failures"), lambda value: str(len(value.failures))),
            ("What the record says", reliability_words.format_interval),
        ),
    ]


def _format_done(value: TaskValue) -> str:
    if value.done_days is not None:
        return f"{significant(value.done_days, 2)} days"
    return "once each" if value.spans else "never"


def machine_blocks(ledger: Ledger, found: results.MachineReliability) -> list[Block]:
    """One machine in sentences and a picture."""
    currency = ledger.site.costs.currency if ledger.site.costs else ""
    facts: list[Spans] = [
        (
            words.machine_link(found.machine),
            (
                f": {words.format_count(len(found.failures), 'failure')} in "
                f"{significant(found.watch.hours, 3)} h by {found.watch.basis.lower()}, "
                f"{words.format_day(found.watch.first)} to {words.format_day(found.watch.last)}."
            ),
        ),
        f"Hours between failures: {format_mtbf(found.mtbf)}. Trend: {format_trend(found.trend)}.",
        f"From one failure to the next: {reliability_words.format_life(found.life)}.",
    ]
    facts.extend(reliability_words.format_sisters(ledger, repeat) for repeat in found.repeats)
    if found.costs is not None:
        stated = found.machine.failure_cost
        facts.append(reliability_words.format_cost(found.costs, currency, stated))
    if found.replacement is not None:
        part = words.format_point(ledger, found.failures[0].place) or "the part"
        text = reliability_words.format_replacement(found.replacement, currency, part.lower())
        if any(repeat.stands_out for repeat in found.repeats):
            text = f"Until the cause is found: {text[0].lower()}{text[1:]}"
        facts.append(text)
        if isinstance(found.replacement, AgeAdvice):
            facts.append(_format_weeks(found, found.replacement))
    return [
        Heading(2, found.machine.name),
        Bullets(facts),
        Picture(f"plots/failures-{found.machine.ident}.svg", failure_plot(found)),
        _failure_hours(found),
    ]


def _format_weeks(found: results.MachineReliability, advice: AgeAdvice) -> str:
    """The best age by the calendar, at the hours a week that the machine ran."""
    a_week = 7 * found.watch.hours_per_day
    return (
        f"At the {significant(a_week, 2)} h a week that it ran, that is about every "
        f"{significant(advice.age.age_h / a_week, 2)} weeks."
    )


def failure_plot(found: results.MachineReliability) -> Plot:
    """Failures so far over operating hours; a bend is a trend."""
    failures, end = len(found.failures), found.watch.hours
    points = [Sample(x=failure.hours, y=float(n)) for n, failure in enumerate(found.failures, 1)]
    name, corners = "constant rate", [(0.0, 0.0), (end, float(failures))]
    if isinstance(found.life, formulas.GrowthModel):
        name, expected = "at the pace of the failures", found.life.expected_failures
        steps = (end * step / _CURVE_STEPS for step in range(_CURVE_STEPS + 1))
        corners = [(hours, expected(hours)) for hours in steps]
    return Plot(
        title=f"{found.machine.name}: failures so far",
        summary=(
            f"{words.format_count(failures, 'failure')} by operating hours; "
            f"trend: {format_trend(found.trend)}"
        ),
        x=Axis(label="operating hours"),
        y=Axis(label="failures so far"),
        samples=[Samples(name="failure", mark=Mark.DISC, points=points)],
        curves=[Curve(name=name, stroke=Stroke.DASHED, corners=corners)],
    )


def _failure_hours(found: results.MachineReliability) -> Table:
    before = [0.0, *(failure.hours for failure in found.failures)]
    return Table.of(
        zip(count(1), found.failures, before, strict=False),
        (right("No."), lambda row: str(row[0])),
        (right("Hours"), lambda row: fixed(row[1].hours, 0)),
        (right("Hours since the one before"), lambda row: fixed(row[1].hours - row[2], 0)),
        ("Date", lambda row: words.format_day(row[1].entry.day)),
    )


def _failures(ledger: Ledger, failed: Sequence[results.MachineReliability]) -> Table:
    every: list[results.Failure] = sorted(
        (failure for found in failed for failure in found.failures),
        key=lambda failure: (failure.entry.when, failure.entry.ref),
        reverse=True,
    )
    return Table.of(
        every,
        ("Date", lambda failure: words.format_day(failure.entry.day)),
        (right("Hours"), lambda failure: fixed(failure.hours, 0)),
        ("Where", lambda failure: words.place_link(ledger, failure.place)),
        ("What", lambda failure: failure.entry.finding),
        (
            right("Stopped"),
            lambda failure: words.or_dash(failure.entry.stopped_minutes, words.format_minutes),
        ),
        ("Entry", lambda failure: words.entry_link(ledger, failure.entry.ref)),
        newest_first=True,
    )
