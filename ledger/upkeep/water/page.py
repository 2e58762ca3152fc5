"""Water and chemistry: readings against their bands, and what is worked out of them."""

from collections.abc import Sequence

from ledger.book import words
from ledger.book.addresses import DRIFT_PAGE, WATER_PAGE
from ledger.book.blocks import (
    VERDICT,
    Block,
    Caution,
    Heading,
    Link,
    Page,
    Paragraph,
    Spans,
    Strong,
    left,
    right,
)
from ledger.book.columns import table_of
from ledger.book.marks import marked
from ledger.book.method import pointer
from ledger.compute.band import Verdict
from ledger.model.ledger import Ledger
from ledger.upkeep.water.found import Figure, Group
from ledger.upkeep.water.words import format_band, format_figure

MOST_MONTHS = 12
"""Months of water shown; an export has them all."""


_SAYS = {
    Group.READINGS: "How each moves, and when it leaves its band: ",
    Group.SOFTENER: (
        "What the resin takes up is its capacity less the reserve, divided by the hardness of the "
        "raw water. Hard water behind the softener is a finding, however little has run."
    ),
    Group.MEMBRANE: (
        "From the readings of one day. Cold water gives less, so flows compare only at one "
        "temperature and one net pressure."
    ),
    Group.CHEMICALS: (
        "A dilution of 64 to 1 is 64 parts of water to one of product, which is 1 part in 65, or "
        "1.54 %. The product a vehicle takes is worked out twice: of one vehicle by flow, time and "
        "dilution, and of the mean vehicle by what the drum lost. Where they differ, not every "
        "vehicle gets it, or some runs off."
    ),
    Group.USE: "By the meters, between the readings nearest to the ends of each month.",
}


def _verdict(figure: Figure) -> Spans:
    said = figure.verdict
    if said is None:
        return words.NONE
    return Strong(marked(said)) if said is Verdict.OUT_OF_BAND else marked(said)


def _when(figure: Figure) -> str:
    if figure.day is None:
        return words.NONE
    format_when = words.format_month if figure.group is Group.USE else words.format_day
    return format_when(figure.day)


def _group(ledger: Ledger, group: Group, figures: Sequence[Figure]) -> list[Block]:
    is_use = group is Group.USE
    columns = [
        (left("What"), lambda one: one.name),
        (right("Value ± U"), lambda one: format_figure(one, ledger)),
        (left("Month" if is_use else "Read on"), _when),
    ]
    if not is_use:
        columns[:0] = [(left("Where"), lambda one: words.place_link(ledger, one.place))]
        columns[-1:-1] = [
            (left("Wanted"), lambda one: format_band(one, ledger)),
            (VERDICT, _verdict),
        ]
    more: Spans = (_SAYS[group],)
    if group is Group.READINGS:
        more = (_SAYS[group], Link("drift and wear", DRIFT_PAGE), ".")
    return [Heading(2, group), Paragraph(more), table_of(figures, *columns)]


def water_page(ledger: Ledger, found: Sequence[Figure]) -> Page:
    """Depends on the sources only."""
    blocks: list[Block] = [
        Paragraph(
            "± U holds the true value in about 95 of 100 cases. A verdict is given where the "
            "chance of being on one side is at least 95 %; otherwise it says cannot tell."
        ),
        pointer("Water and chemistry"),
        Caution(
            [
                (
                    "Products and reagents burn skin and eyes: gloves, goggles, the safety data "
                    "sheet, an eyewash that was tried. Never mix two products. A sample is caught "
                    "from outside the guards; never at a high-pressure nozzle."
                ),
                words.SAFETY[2],
            ]
        ),
    ]
    for group in Group:
        own = [one for one in found if one.group is group]
        if group is Group.USE:
            months = sorted({one.day for one in own if one.day}, reverse=True)[:MOST_MONTHS]
            own = [one for one in own if one.day in months]
        if own:
            blocks.extend(_group(ledger, group, own))
    if not found:
        blocks.append(
            Paragraph(
                "Nothing is read yet that says something of water or chemistry: points with a "
                "stream, a band or a wanted dilution, and meters with a stream."
            )
        )
    return Page(path=WATER_PAGE, title="Water and chemistry", blocks=blocks)
