"""One machine's failures, in sentences, in a picture and by their hours."""

from ledger.assess.failure_costs import failure_costs
from ledger.assess.reliability import BestAge, MachineReliability
from ledger.compute.failure_trend import GrowthModel
from ledger.compute.rounding import fixed, significant
from ledger.model.ledger import Ledger
from ledger.report import words
from ledger.report.blocks import Block, Bullets, Heading, Picture, Spans, Table, left, right
from ledger.report.pages.reliability_words import (
    cost_words,
    life_words,
    mtbf_words,
    replacement_words,
    trend_words,
)
from ledger.report.plot import Axis, Curve, Mark, Plot, Sample, Samples, Stroke

MIN_PICTURED = 3
_CURVE_STEPS = 40


def machine_blocks(ledger: Ledger, found: MachineReliability) -> list[Block]:
    """One machine in sentences and a picture."""
    currency = ledger.site.costs.currency if ledger.site.costs else ""
    facts: list[Spans] = [
        (
            words.machine_link(found.machine),
            (
                f": {words.count_words(len(found.failures), 'failure')} in "
                f"{fixed(found.watch.hours, 0)} h by {found.watch.basis.lower()}, "
                f"{words.day_words(found.watch.first)} to {words.day_words(found.watch.last)}."
            ),
        ),
        f"Hours between failures: {mtbf_words(found.mtbf)}. Trend: {trend_words(found.trend)}.",
        f"From one failure to the next: {life_words(found.life)}.",
    ]
    costs = failure_costs(ledger, found)
    if costs is not None:
        facts.append(cost_words(costs, currency, found.machine.failure_cost))
    if found.replacement is not None:
        part = words.point_words(ledger, found.failures[0].place) or "the part"
        facts.append(replacement_words(found.replacement, currency, part.lower()))
        if isinstance(found.replacement, BestAge):
            facts.append(_weeks_words(found, found.replacement))
    blocks: list[Block] = [Heading(2, found.machine.name), Bullets(facts)]
    if len(found.failures) >= MIN_PICTURED:
        path = f"plots/failures-{found.machine.ident}.svg"
        blocks.append(Picture(path, failure_plot(found)))
        blocks.append(_failure_hours(found))
    return blocks


def _weeks_words(found: MachineReliability, age: BestAge) -> str:
    """The best age by the calendar, at the hours a week that the machine ran."""
    watch = found.watch
    weeks = ((watch.last - watch.first).days + 1) / 7
    return (
        f"At the {significant(watch.hours / weeks, 2)} h a week that it ran, that is about every "
        f"{significant(age.best.age_h * weeks / watch.hours, 2)} weeks."
    )


def failure_plot(found: MachineReliability) -> Plot:
    """Failures so far over operating hours; a bend is a trend."""
    count, end = len(found.failures), found.watch.hours
    steps = [end * step / _CURVE_STEPS for step in range(_CURVE_STEPS + 1)]
    if isinstance(found.life, GrowthModel):
        model = found.life
        curve = Curve(
            name="at the pace of the failures",
            stroke=Stroke.DASHED,
            corners=[(hours, model.expected_failures(hours)) for hours in steps],
        )
    else:
        curve = Curve(
            name="constant rate", stroke=Stroke.DASHED, corners=[(0.0, 0.0), (end, float(count))]
        )
    return Plot(
        title=f"{found.machine.name}: failures so far",
        summary=(
            f"{count} failures in {fixed(end, 0)} operating hours; "
            f"trend: {trend_words(found.trend)}"
        ),
        x=Axis(label="operating hours"),
        y=Axis(label="failures so far"),
        samples=[
            Samples(
                name="failure",
                mark=Mark.DISC,
                points=[
                    Sample(x=failure.hours, y=float(number))
                    for number, failure in enumerate(found.failures, 1)
                ],
            )
        ],
        curves=[curve],
    )


def _failure_hours(found: MachineReliability) -> Table:
    return Table(
        (right("No."), right("Hours"), right("Hours since the one before"), left("Date")),
        [
            (
                str(number),
                fixed(failure.hours, 0),
                fixed(failure.hours - before, 0),
                words.day_words(failure.entry.day),
            )
            for number, (failure, before) in enumerate(
                zip(found.failures, [0.0, *(f.hours for f in found.failures)], strict=False), 1
            )
        ],
    )
