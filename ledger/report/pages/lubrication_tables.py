"""The tables of the lubrication page; bearings whose numbers are alike share a row."""

from collections.abc import Callable, Sequence

from ledger.assess.lubrication import GreasePoint, swings_per_min
from ledger.assess.lubrication_given import GreaseGiven
from ledger.compute.lubrication import OutOfRange
from ledger.compute.rounding import fixed
from ledger.model.ledger import Ledger
from ledger.model.references import Place
from ledger.report import words
from ledger.report.blocks import Block, Heading, Paragraph, Span, Spans, Table, left, right
from ledger.report.pages.lubrication_words import (
    bounds_words,
    handbook_words,
    hours_words,
    in_force_words,
    share_words,
    span_words,
)


def intervals(ledger: Ledger, points: Sequence[GreasePoint]) -> Table:
    """Charge, strokes, practice, handbook and what is in force."""
    return Table(
        (
            left("Where"),
            right("Charge, g"),
            right("In strokes"),
            left("Practice"),
            left("Handbook"),
            left("In force"),
        ),
        _rows(ledger, points, _interval_cells),
    )


def _interval_cells(point: GreasePoint) -> tuple[Spans, ...]:
    strokes = point.charge_strokes
    return (
        words.NONE if point.charge_g is None else fixed(point.charge_g, 1),
        words.NONE if strokes is None else bounds_words(strokes, places=1),
        _practice(point),
        handbook_words(point),
        in_force_words(point),
    )


def _practice(point: GreasePoint) -> Spans:
    said: list[str | Span] = []
    for one in point.tasks:
        grams = f" ({bounds_words(one.each_g, places=1)} g)" if one.amount.unit != "g" else ""
        amount = f"{words.number_words(one.amount.quantity)} {one.amount.unit}{grams}"
        said.extend(
            (
                "; " if said else "",
                words.task_link(one.task),
                f": {amount}, {words.task_cycle_words(one.task)}",
            )
        )
    return tuple(said) if said else "no task"


def factors(ledger: Ledger, points: Sequence[GreasePoint]) -> list[Block]:
    """The handbook's formula with every factor shown."""
    reckoned = [point for point in points if not isinstance(point.handbook_h, OutOfRange)]
    if not reckoned:
        return []
    return [
        Heading(2, "The handbook's factors"),
        Paragraph(
            "Speeds are the band's targets at the site's line rate, or the nameplate speed over "
            "the reduction. A day's running hours are those on record, closed days among them."
        ),
        Table(
            (
                left("Where"),
                right("Bore, mm"),
                right("r/min"),
                *(left(factor.symbol) for factor in reckoned[0].factors),
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
        *(f"{words.number_words(factor.value)} ({factor.condition})" for factor in point.factors),
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
            "bearing wants at least one charge in each grease life of the handbook, and at most "
            "one at each interval in force. Under-greased is less than half, over-greased more "
            "than twice (common practice, no source)."
        ),
        Table(
            (
                left("Where"),
                right("Greasings"),
                right("Given, g"),
                right("Of plan"),
                right("Bearing wants, g"),
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
                left("Where"),
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
    """One row for all points whose cells are alike, in the order of the first of each."""
    groups: dict[tuple[Spans, ...], list[Place]] = {}
    for point in points:
        groups.setdefault(cells_of(point), []).append(point.place)
    return [(_where(ledger, places), *cells) for cells, places in groups.items()]


def _where(ledger: Ledger, places: Sequence[Place]) -> Spans:
    """Machines with the same points together: `Wrap, driver; Wrap, passenger: Damper`."""
    points_of: dict[str, list[str]] = {}
    for place in places:
        points_of.setdefault(place.machine, []).append(words.point_words(ledger, place))
    by_points: dict[tuple[str, ...], list[str]] = {}
    for machine, points in points_of.items():
        by_points.setdefault(tuple(points), []).append(machine)
    said: list[str | Span] = []
    for names, machines in by_points.items():
        for machine in machines:
            said.extend(("; " if said else "", words.machine_link(ledger.machines[machine])))
        said.append(f": {', '.join(names)}")
    return tuple(said)
