"""Lubrication: grams, strokes and intervals of every bearing, and what each one got."""

from collections.abc import Sequence
from datetime import date

from ledger.assess.lubrication import GreasePoint
from ledger.assess.lubrication_given import GreaseGiven, GreaseSupply
from ledger.compute.grease_record import GreaseVerdict
from ledger.model.ledger import Ledger
from ledger.report import words
from ledger.report.blocks import (
    Block,
    Bullets,
    Caution,
    Heading,
    Page,
    Paragraph,
    Picture,
    Spans,
    Strong,
    Table,
    left,
    right,
)
from ledger.report.pages.lubrication_tables import factors, given, intervals, lives
from ledger.report.pages.lubrication_words import bounds_words, given_reason
from ledger.report.pages.method import pointer
from ledger.report.plot import Axis, AxisKind, Mark, Plot, Sample, Samples

PATH = "lubrication.md"
LATEST_MONTHS = 12

METHOD = (
    (
        "One charge of grease is 0.005 × outside diameter × width, in grams and mm. The "
        "handbook's interval is K × (14 000 000 / (n × √d) − 4 d) running hours, n in r/min and d "
        "the bore in mm, with K the product of six factors for heat, dirt, water, shaking, the "
        "shaft's position and what rolls. It is made for grease that ages, and knows nothing of "
        "water."
    ),
    (
        "At brush speeds it answers in months or years. The site's practice is shorter for "
        "another reason: fresh grease pushes the water out. The shorter of the two is in force, "
        "and where it is the practice, a small amount each time is meant: a full charge would be "
        "far too much."
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
    if not points:
        blocks: list[Block] = [Paragraph("No machine has a bearing among its points.")]
        return Page(path=PATH, title="Lubrication", blocks=blocks)
    blocks = [
        Caution(_CAUTION),
        Heading(2, "Needs work"),
        _to_see_to(ledger, points),
        *_supplies(supplies),
        Heading(2, "Amount and interval"),
        *(Paragraph(said) for said in METHOD),
        pointer("Lubrication"),
        *intervals(ledger, points),
        *factors(ledger, points),
        *given(ledger, points),
        *lives(ledger, points),
    ]
    return Page(path=PATH, title="Lubrication", blocks=blocks)


def _to_see_to(ledger: Ledger, points: Sequence[GreasePoint]) -> Block:
    items: list[Spans] = []
    for point in points:
        if not point.tasks:
            items.append((Strong("No task greases"), " ", words.place_link(ledger, point.place)))
        elif isinstance(point.given, GreaseGiven) and point.given.verdict in {
            GreaseVerdict.UNDER,
            GreaseVerdict.OVER,
        }:
            items.append(
                (
                    Strong(point.given.verdict.value.capitalize()),
                    ": ",
                    words.place_link(ledger, point.place),
                    f", {given_reason(point.given)}",
                )
            )
    unsized = sum(point.charge_g is None for point in points)
    if unsized:
        items.append(
            f"{words.count_words(unsized, 'bearing')} without a size in equipment/: their charge "
            "cannot be worked out, and they are judged by the plan alone."
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
        Table(
            (
                left("Grease"),
                left("A stroke"),
                right("Used a week, g"),
                right("Left"),
                left("Counted"),
                right("Lasts, weeks"),
            ),
            [_supply(supply) for supply in supplies],
        ),
        Paragraph(
            "Left is the last count, less what was used since. Used a week is over the last "
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
        blocks.append(
            Table(
                (left("Month"), *(right(f"{supply.part.name}, g") for supply in supplies)),
                [
                    (words.month_words(month), *(_used_in(supply, month) for supply in supplies))
                    for month in reversed(months[-LATEST_MONTHS:])
                ],
            )
        )
    return blocks


def _used_in(supply: GreaseSupply, month: date) -> str:
    used = supply.used_by_month_g.get(month)
    return words.NONE if used is None else bounds_words(used)


def grease_plot(supply: GreaseSupply) -> Plot:
    """Grease used each month; the bar is what an unweighed stroke leaves open."""
    samples = [
        Sample(
            x=month.toordinal(),
            y=(mass.low + mass.high) / 2,
            half_width=(mass.high - mass.low) / 2,
        )
        for month, mass in supply.used_by_month_g.items()
    ]
    return Plot(
        title=f"{supply.part.name}: used each month",
        summary=f"{len(samples)} months, each drawn at its first day",
        x=Axis(label="month", kind=AxisKind.DAY),
        y=Axis(label="grease used in the month, g"),
        samples=[Samples(name="used in the month", mark=Mark.DISC, points=samples)],
    )


def _supply(supply: GreaseSupply) -> tuple[str, ...]:
    part = supply.part
    return (
        part.name,
        f"{words.number_words(part.grams_per_stroke)} g"
        if part.grams_per_stroke is not None
        else "1 to 3 g, not weighed",
        words.NONE if supply.used_a_week_g is None else bounds_words(supply.used_a_week_g),
        f"{bounds_words(supply.cartridges, places=1)} {part.pack_name}s"
        if supply.cartridges is not None
        else "not counted in packs",
        words.NONE if supply.counted_on is None else words.day_words(supply.counted_on),
        words.NONE if supply.weeks_left is None else bounds_words(supply.weeks_left),
    )
