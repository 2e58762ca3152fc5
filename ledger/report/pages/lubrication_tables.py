"""The tables of the lubrication page; bearings alike in name and numbers share a row."""

from collections.abc import Callable, Sequence

from ledger.assess.lubrication import GreasePoint, swings_per_min
from ledger.assess.lubrication_given import GreaseGiven, GreaseTask
from ledger.compute.lubrication import OutOfRange
from ledger.compute.rounding import fixed
from ledger.model.ledger import Ledger
from ledger.report import words
from ledger.report.blocks import Block, Bullets, Heading, Paragraph, Spans, Table, left, right
from ledger.report.pages.lubrication_words import (
    bounds_words,
    handbook_words,
    hours_words,
    in_force_words,
    share_words,
    span_words,
)

_WHERE = (left("Bearing"), left("Machines"))


def intervals(ledger: Ledger, points: Sequence[GreasePoint]) -> list[Block]:
    """Charge, strokes, handbook and what is in force, below the practice of each bearing."""
    by_practice: dict[tuple[Spans, ...], list[GreasePoint]] = {}
    for point in points:
        by_practice.setdefault(tuple(map(_practice, point.tasks)), []).append(point)
    blocks: list[Block] = []
    for practice, found in by_practice.items():
        titles = words.in_words([one.task.title for one in found[0].tasks])
        blocks.append(Heading(3, titles or "No task greases these"))
        if practice:
            blocks.append(Bullets(practice))
        blocks.append(
            Table(
                (
                    *_WHERE,
                    right("Charge, g"),
                    right("In strokes"),
                    left("Handbook"),
                    left("In force"),
                ),
                _rows(ledger, found, _interval_cells),
            )
        )
    return blocks


def _practice(one: GreaseTask) -> Spans:
    grams = f" ({bounds_words(one.each_g, places=1)} g)" if one.amount.unit != "g" else ""
    amount = f"{words.number_words(one.amount.quantity)} {one.amount.unit}{grams}"
    return (
        words.task_link(one.task),
        f": {amount} of {one.part.name}, {words.task_cycle_words(one.task)}",
    )


def _interval_cells(point: GreasePoint) -> tuple[Spans, ...]:
    strokes = point.charge_strokes
    return (
        words.NONE if point.charge_g is None else fixed(point.charge_g, 1),
        words.NONE if strokes is None else bounds_words(strokes, places=1),
        handbook_words(point),
        in_force_words(point),
    )


def factors(ledger: Ledger, points: Sequence[GreasePoint]) -> list[Block]:
    """The handbook's formula with every factor shown."""
    reckoned = [point for point in points if not isinstance(point.handbook_h, OutOfRange)]
    if not reckoned:
        return []
    return [
        Heading(2, "The handbook's factors"),
        Paragraph(
            "Speeds are the band's targets at the site's line rate, or the nameplate speed over "
            "the reduction. A day's running hours are those on record, closed days among them. A "
            "factor that is not named is 1."
        ),
        Table(
            (
                *_WHERE,
                right("Bore, mm"),
                right("r/min"),
                left("Factors"),
                right("K"),
                right("Interval"),
                right("Hours a day"),
            ),
            _rows(ledger, reckoned, _factor_cells),
        ),
    ]


def _factor_cells(point: GreasePoint) -> tuple[Spans, ...]:
    handbook_h = point.handbook_h
    return (
        words.number_words(point.bearing.bore_mm or 0.0),
        fixed(point.speed_rpm or 0.0, 0),
        "; ".join(
            f"{factor.symbol} {words.number_words(factor.value)} {factor.condition}"
            for factor in point.factors
            if factor.value != 1
        )
        or "all 1",
        f"{point.factor:.3g}",
        words.NONE if isinstance(handbook_h, OutOfRange) else hours_words(handbook_h),
        fixed(point.hours_per_day or 0.0, 1),
    )


def given(ledger: Ledger, points: Sequence[GreasePoint]) -> list[Block]:
    """What each bearing got by the record, and the verdict."""
    judged = [point for point in points if point.given is not None]
    if not judged:
        return []
    spans = sorted(
        {(p.given.first, p.given.last) for p in judged if isinstance(p.given, GreaseGiven)}
    )
    period = (
        f"From {words.day_words(spans[0][0])} to {words.day_words(spans[-1][1])}. " if spans else ""
    )
    return [
        Heading(2, "Grease given"),
        Paragraph(
            f"{period}Of plan is what was given against the tasks' amounts and intervals. A "
            "bearing needs at least one charge in each grease life of the handbook, and at most "
            "one at each interval in force. Under-greased is less than half, over-greased more "
            "than twice (common practice, no source)."
        ),
        Table(
            (
                *_WHERE,
                right("Greasings"),
                right("Given, g"),
                right("Of plan"),
                right("Bearing needs, g"),
                left("Verdict"),
            ),
            _rows(ledger, judged, _given_cells),
        ),
    ]


def _given_cells(point: GreasePoint) -> tuple[Spans, ...]:
    given = point.given
    if not isinstance(given, GreaseGiven):
        return (*[words.NONE] * 4, words.NONE if given is None else given.text)
    return (
        str(given.greasings),
        bounds_words(given.given_g),
        share_words(given.of_plan.share),
        _wanted(given),
        given.verdict.value,
    )


def _wanted(given: GreaseGiven) -> str:
    least = None if given.of_least is None else given.of_least.wanted_g
    most = None if given.of_most is None else given.of_most.wanted_g
    if most is None:
        return words.NONE
    if least is None:
        return f"up to {fixed(most, 0)}"
    return f"{fixed(least, 1)} to {fixed(most, 0)}"


def lives(ledger: Ledger, points: Sequence[GreasePoint]) -> list[Block]:
    """Rating life where the loads are stated."""
    rated = [point for point in points if point.life is not None]
    if not rated:
        return []
    return [
        Heading(2, "Rating life, an upper bound"),
        Paragraph(
            "L10h by ISO 281: hours that nine in ten such bearings reach before the metal tires. "
            "In a wash, water and dirt end a bearing long before; a long life here says only that "
            "the bearing is not too small. Pivots are taken to swing there and back once a "
            f"vehicle, {words.number_words(round(swings_per_min(ledger), 2))} a minute "
            "(common practice, no source)."
        ),
        Table(
            (
                *_WHERE,
                right("C, kN"),
                right("P, kN"),
                left("Moves"),
                right("L10h"),
                left("At the hours run here"),
            ),
            _rows(ledger, rated, _life_cells),
        ),
    ]


def _life_cells(point: GreasePoint) -> tuple[Spans, ...]:
    life, swing = point.life, point.bearing.sweep_deg
    if life is None:
        return (*[words.NONE] * 5,)
    return (
        words.number_words(point.bearing.dynamic_load_kn or 0.0),
        words.number_words(point.bearing.load_kn or 0.0),
        f"swings {words.number_words(swing)}° in all"
        if point.swings and swing is not None
        else f"{fixed(point.speed_rpm or 0.0, 0)} r/min",
        hours_words(life.hours),
        (span_words(life.hours / point.hours_per_day) if point.hours_per_day else words.NONE)
        + ("; under 5° fretting ends it sooner" if life.fretting else ""),
    )


def _rows(
    ledger: Ledger,
    points: Sequence[GreasePoint],
    cells_of: Callable[[GreasePoint], tuple[Spans, ...]],
) -> list[tuple[Spans, ...]]:
    """One row for bearings of one name on all machines where its cells are alike.

    Bearings of one machine that always go together share the row too.
    """
    by_machine: dict[tuple[str, tuple[Spans, ...]], list[str]] = {}
    for point in points:
        key = (point.place.machine, cells_of(point))
        by_machine.setdefault(key, []).append(words.point_words(ledger, point.place))
    rows: dict[tuple[str, tuple[Spans, ...]], list[str]] = {}
    for (machine, cells), names in by_machine.items():
        rows.setdefault((", ".join(names), cells), []).append(ledger.machines[machine].name)
    return [(names, "; ".join(machines), *cells) for (names, cells), machines in rows.items()]
