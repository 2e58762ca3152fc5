"""Lubrication: grams, strokes and intervals of every bearing, and what each one got.

Bearings alike in name and numbers share a row.
"""

from collections.abc import Callable, Sequence
from datetime import date
from functools import partial

from ledger.book import words
from ledger.book.addresses import GREASE_PAGE
from ledger.book.blocks import (
    VERDICT,
    Axis,
    AxisKind,
    Block,
    Bullets,
    Caution,
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
    right,
)
from ledger.compute.grease import LEAST_SHARE, MOST_SHARE, Bounds, GreaseVerdict, IntervalSource
from ledger.compute.numbers import NoAnswer, answer_or_none, fixed, significant
from ledger.model.ledger import Ledger
from ledger.model.meters import DAYS_IN_MONTH, DAYS_IN_YEAR
from ledger.upkeep.grease.found import GreasePoint, swings_per_min
from ledger.upkeep.grease.given import GreaseGiven, GreaseSupply, GreaseTask

_LONG_YEARS = 100

_FAULTS = {GreaseVerdict.UNDER, GreaseVerdict.OVER}

_NO_BREAK = "\N{NO-BREAK SPACE}"


def format_span(days: float) -> str:
    """`9.6 days`, `11 months`, `7.9 years`: two digits, as a handbook's factors deserve."""
    if days < 2 * DAYS_IN_MONTH:
        return _counted(days, "day")
    if days < 2 * DAYS_IN_YEAR:
        return _counted(days / DAYS_IN_MONTH, "month")
    years = days / DAYS_IN_YEAR
    return f"over {_LONG_YEARS} years" if years > _LONG_YEARS else _counted(years, "year")


def format_hours(hours: float) -> str:
    """`21 000 h`, to two digits; the spaces do not break."""
    return f"{float(significant(hours, 2)):,.0f},h".replace(",", _NO_BREAK)


def format_bounds(amount: Bounds | None, *, places: int = 0) -> str:
    """`12`, or `6 to 18` where it is only known between bounds."""
    if amount is None:
        return words.NONE
    low, high = fixed(amount.low, places), fixed(amount.high, places)
    return low if low == high else f"{low} to {high}"


def format_share(share: Bounds) -> str:
    """A share in percent."""
    return f"{format_bounds(Bounds(low=100 * share.low, high=100 * share.high))} %"


def format_handbook(point: GreasePoint) -> str:
    """The handbook's interval by the calendar, or why it has none."""
    if isinstance(point.handbook_h, NoAnswer):
        return f"none: {point.handbook_h.text}"
    return format_span(point.handbook_h / point.hours_per_day) if point.hours_per_day else "none"


def format_in_force(point: GreasePoint) -> str:
    """The interval in force and whose it is."""
    interval = point.interval
    if interval is None:
        return "none" if not point.tasks else "cannot be said in days"
    whose = "practice: pushes water out"
    if interval.source is IntervalSource.HANDBOOK:
        whose = "handbook: the grease ages before the practice renews it"
    elif interval.handbook_days is None:
        whose = "practice alone"
    return f"{format_span(interval.days)} ({whose})"


def given_reason(given: GreaseGiven) -> str:
    """Why a point counts as under- or over-greased."""
    got = f"{format_bounds(given.given_g)} g in {(given.last - given.first).days + 1} days"
    of_plan, of_least, of_most = given.of_plan, given.of_least, given.of_most
    if of_plan.verdict in _FAULTS:
        return f"{got}, {format_share(of_plan.share)} of plan"
    if of_least is not None and of_least.share.high < LEAST_SHARE:
        return f"{got}; by the handbook the bearing needs at least {fixed(of_least.wanted_g, 0)} g"
    if of_most is not None and of_most.share.low > MOST_SHARE:
        return f"{got}; a full charge each time would be {fixed(of_most.wanted_g, 0)} g"
    return got


def _counted(amount: float, noun: str) -> str:
    shown = words.format_number(float(significant(amount, 2)))
    return f"{shown} {noun}" if shown == "1" else f"{shown} {noun}s"


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
        table = _table(
            ledger,
            found,
            (right("Charge, g"), lambda point: words.or_dash(point.charge_g, _to_tenths)),
            (right("In strokes"), lambda point: format_bounds(point.charge_strokes, places=1)),
            ("Handbook", format_handbook),
            ("In force", format_in_force),
        )
        blocks.append(table)
    return blocks


def _practice(one: GreaseTask) -> Spans:
    grams = f" ({format_bounds(one.each_g, places=1)} g)" if one.amount.unit != "g" else ""
    amount = f"{words.format_number(one.amount.quantity)} {one.amount.unit}{grams}"
    return (
        words.task_link(one.task),
        f": {amount} of {one.part.name}, {words.format_task_cycle(one.task)}",
    )


def _to_tenths(value: float) -> str:
    return fixed(value, 1)


def _table(
    ledger: Ledger,
    points: Sequence[GreasePoint],
    *columns: tuple[Column | str, Callable[[GreasePoint], Spans]],
) -> Table:
    """One row for bearings of one name on all machines where its cells are alike.

    Bearings of one machine that always go together share the row too.
    """
    by_machine: dict[tuple[str, tuple[Spans, ...]], list[str]] = {}
    for point in points:
        key = point.place.machine, tuple(cell(point) for _, cell in columns)
        by_machine.setdefault(key, []).append(words.format_point(ledger, point.place))
    rows: dict[tuple[str, tuple[Spans, ...]], list[str]] = {}
    for (machine, cells), names in by_machine.items():
        rows.setdefault((", ".join(names), cells), []).append(ledger.machines[machine].name)
    return Table(
        ("Bearing", "Machines", *(column for column, _ in columns)),
        [(names, "; ".join(machines), *cells) for (names, cells), machines in rows.items()],
    )


def _section(title: str, text: str, table: Table) -> list[Block]:
    """A heading, what is said and a table; nothing where that has no rows."""
    return [Heading(2, title), Paragraph(text), table] if table.rows else []


def factors(ledger: Ledger, points: Sequence[GreasePoint]) -> list[Block]:
    """The handbook's formula with every factor shown."""
    return _section(
        "The handbook's factors",
        "Speeds are the band's targets at the site's line rate, or the nameplate speed over the "
        "reduction. Running hours a day are the recorded average, closed days included. A factor "
        "that is not named is 1.",
        _table(
            ledger,
            [point for point in points if not isinstance(point.handbook_h, NoAnswer)],
            (right("Bore, mm"), lambda point: words.format_number(point.bearing.bore_mm or 0.0)),
            (right("r/min"), _format_speed),
            ("Factors", _format_factors),
            (right("K"), lambda point: f"{point.factor:.3g}"),
            (right("Interval"), _format_hours_between),
            (right("Hours a day"), lambda point: _to_tenths(point.hours_per_day or 0.0)),
        ),
    )


def _format_speed(point: GreasePoint) -> str:
    return fixed(point.speed_rpm or 0.0, 0)


def _format_hours_between(point: GreasePoint) -> str:
    return words.or_dash(answer_or_none(point.handbook_h), format_hours)


def _format_factors(point: GreasePoint) -> str:
    named = [
        f"{factor.symbol} {words.format_number(factor.value)} {factor.condition}"
        for factor in point.factors
        if factor.value != 1
    ]
    return "; ".join(named) or "all 1"


def given(ledger: Ledger, points: Sequence[GreasePoint]) -> list[Block]:
    """What each bearing got by the record, and the verdict."""
    days = [(p.given.last - p.given.first).days for p in points if isinstance(p.given, GreaseGiven)]
    period = f"In the {max(days) + 1} days up to the last visit. " if days else ""
    return _section(
        "Grease given",
        f"{period}Of plan compares what was given with the tasks' amounts and intervals. A bearing "
        "needs at least one charge in each grease life of the handbook, and at most one at each "
        "interval in force. Under-greased is less than half, over-greased more than twice (common "
        "practice, no source).",
        _table(
            ledger,
            [point for point in points if point.given is not None],
            (right("Greasings"), _of_given(lambda given: str(given.greasings))),
            (right("Given, g"), _of_given(lambda given: format_bounds(given.given_g))),
            (right("Of plan"), _of_given(lambda given: format_share(given.of_plan.share))),
            (right("Bearing needs, g"), _of_given(_wanted)),
            (VERDICT, _given_verdict),
        ),
    )


def _of_given(wording: Callable[[GreaseGiven], str]) -> Callable[[GreasePoint], str]:
    """The words for what a point got; a dash where too little is on record."""
    return lambda point: (
        wording(point.given) if isinstance(point.given, GreaseGiven) else words.NONE
    )


def _wanted(given: GreaseGiven) -> str:
    if given.of_most is None:
        return words.NONE
    least = "up" if given.of_least is None else _to_tenths(given.of_least.wanted_g)
    return f"{least} to {fixed(given.of_most.wanted_g, 0)}"


def _given_verdict(point: GreasePoint) -> Spans:
    if isinstance(point.given, GreaseGiven):
        return words.marked(point.given.verdict.value)
    return words.or_dash(point.given, lambda lacking: lacking.text)


def lives(ledger: Ledger, points: Sequence[GreasePoint]) -> list[Block]:
    """Rating life where the loads are stated."""
    return _section(
        "Rating life, an upper bound",
        "L10h by ISO 281: hours that nine in ten such bearings reach before the metal tires. In a "
        "wash, water and dirt end a bearing long before; a long life here says only that the "
        "bearing is not too small. Pivots are taken to swing there and back once a vehicle, "
        f"{words.format_number(round(swings_per_min(ledger), 2))} a minute (common practice, no "
        "source).",
        _table(
            ledger,
            [point for point in points if point.life is not None],
            (right("C, kN"), lambda p: words.format_number(p.bearing.dynamic_load_kn or 0.0)),
            (right("P, kN"), lambda p: words.format_number(p.bearing.load_kn or 0.0)),
            ("Moves", _format_movement),
            (right("L10h"), _format_life),
            ("At the hours run here", _format_life_span),
        ),
    )


def _format_movement(point: GreasePoint) -> str:
    swing = point.bearing.sweep_deg
    if point.swings and swing is not None:
        return f"swings {words.format_number(swing)}° in all"
    return f"{_format_speed(point)} r/min"


def _format_life(point: GreasePoint) -> str:
    life = point.life
    return words.NONE if life is None or life.overloaded else format_hours(life.hours)


def _format_life_span(point: GreasePoint) -> str:
    life = point.life
    if life is None or life.overloaded:
        return "the load is above the rating: check both, no life can be given"
    span = format_span(life.hours / point.hours_per_day) if point.hours_per_day else words.NONE
    return span + ("; under 5° fretting ends it sooner" if life.fretting else "")


LATEST_MONTHS = 12


METHOD = (
    (
        "One charge of grease is 0.005 × outside diameter × width, in grams and mm. The "
        "handbook's interval is K × (14 000 000 / (n × √d) − 4 d) running hours, n in r/min and d "
        "the bore in mm, with K the product of six factors for heat, dirt, water, shaking, the "
        "shaft's position and what rolls. It is for grease that ages, and takes no account of "
        "water."
    ),
    (
        "At brush speeds it gives months or years. The site greases more often for another "
        "reason: fresh grease pushes the water out. The shorter of the two is in force. Where that "
        "is the site's own, give a small amount each time: a full charge would be far too much."
    ),
)


_CAUTION: tuple[Spans, ...] = (
    words.SAFETY[0],
    (
        "Wipe the fitting before and after. Never mix two soaps, and never force a fitting that "
        "takes no grease: it is a finding. The maker's manual comes before every number here."
    ),
)


def lubrication_page(
    ledger: Ledger, points: Sequence[GreasePoint], supplies: Sequence[GreaseSupply]
) -> Page:
    """Depends on the sources only: the record is judged up to its last visit."""
    blocks: list[Block] = [
        Caution(_CAUTION),
        Heading(2, "Needs work"),
        _needs_work(ledger, points),
        *_supplies(supplies),
        Heading(2, "Amount and interval"),
        *(Paragraph(text) for text in METHOD),
        words.pointer("Lubrication"),
        *intervals(ledger, points),
        *factors(ledger, points),
        *given(ledger, points),
        *lives(ledger, points),
    ]
    if not points:
        blocks = [Paragraph("No machine has a bearing among its points.")]
    return Page(path=GREASE_PAGE, title="Lubrication", blocks=blocks)


def _needs_work(ledger: Ledger, points: Sequence[GreasePoint]) -> Block:
    items: list[Spans] = []
    for point in points:
        if not point.tasks:
            items.append((Strong("No task greases"), " ", words.place_link(ledger, point.place)))
        elif isinstance(point.given, GreaseGiven) and point.given.verdict in _FAULTS:
            fault, place = point.given.verdict.capitalize(), words.place_link(ledger, point.place)
            items.append((Strong(fault), ": ", place, f", {given_reason(point.given)}"))
    unsized = sum(point.charge_g is None for point in points)
    if unsized:
        items.append(
            f"{words.format_count(unsized, 'bearing')} without a size in equipment/: their charge "
            "cannot be worked out, and only the plan is used."
        )
    unweighed = {
        one.part.name for p in points for one in p.tasks if one.each_g.low < one.each_g.high
    }
    items.extend(
        f"The stroke of the gun for {name} is not weighed: a stroke counts as 1 to 3 g. "
        "Weigh ten strokes."
        for name in sorted(unweighed)
    )
    return Bullets(items) if items else Paragraph("Nothing: every bearing got its grease.")


def _supplies(supplies: Sequence[GreaseSupply]) -> list[Block]:
    if not supplies:
        return []
    blocks: list[Block] = [
        Heading(2, "Grease on the shelf"),
        Table.of(
            supplies,
            ("Grease", lambda supply: supply.part.name),
            ("A stroke", _format_stroke),
            (right("Used a week, g"), lambda supply: format_bounds(supply.used_a_week_g)),
            (right("Left"), _format_left),
            ("Counted", lambda supply: words.or_dash(supply.counted_on, words.format_day)),
            (right("Lasts, weeks"), lambda supply: format_bounds(supply.weeks_left)),
        ),
        Paragraph(
            "Left is the last count minus what was used since. Used a week is over the last "
            "twelve months of the record."
        ),
    ]
    blocks.extend(
        Picture(f"plots/grease-{supply.part.ident}.svg", grease_plot(supply))
        for supply in supplies
        if supply.used_by_month_g
    )
    months = sorted({month for supply in supplies for month in supply.used_by_month_g})
    if months:
        names = [right(f"{supply.part.name}, g") for supply in supplies]
        used = [partial(_format_used, supply) for supply in supplies]
        table = Table.of(
            reversed(months[-LATEST_MONTHS:]),
            ("Month", words.format_month),
            *zip(names, used, strict=True),
            newest_first=True,
        )
        blocks.append(table)
    return blocks


def _format_used(supply: GreaseSupply, month: date) -> str:
    return format_bounds(supply.used_by_month_g.get(month))


def grease_plot(supply: GreaseSupply) -> Plot:
    """Grease used each month; the bar is what an unweighed stroke leaves open."""
    samples = [
        Sample(x=month.toordinal(), y=(g.low + g.high) / 2, half_width=(g.high - g.low) / 2)
        for month, g in supply.used_by_month_g.items()
    ]
    return Plot(
        title=f"{supply.part.name}: used each month",
        summary=f"{len(samples)} months, each drawn at its first day",
        x=Axis(label="month", kind=AxisKind.DAY),
        y=Axis(label="grease used in the month, g"),
        samples=[Samples(name="used in the month", mark=Mark.DISC, points=samples)],
    )


def _format_stroke(supply: GreaseSupply) -> str:
    stroke_g = supply.part.grams_per_stroke
    return "1 to 3 g, not weighed" if stroke_g is None else f"{words.format_number(stroke_g)} g"


def _format_left(supply: GreaseSupply) -> str:
    if supply.cartridges is None:
        return "not counted in packs"
    return f"{format_bounds(supply.cartridges, places=1)} {supply.part.pack_name}s"
