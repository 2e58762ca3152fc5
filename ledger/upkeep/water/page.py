"""Water and chemistry: readings against their bands, and what is worked out of them."""

from collections.abc import Sequence

from ledger.book import words
from ledger.book.addresses import DRIFT_PAGE, WATER_PAGE
from ledger.book.blocks import Block, Caution, Heading, Link, Page, Paragraph, Spans
from ledger.model.ledger import Ledger
from ledger.upkeep.figures.found import Figure
from ledger.upkeep.figures.words import figure_table
from ledger.upkeep.water.found import WaterGroup

MOST_MONTHS = 12
"""Months of water shown; an export has them all."""

_SAYS: dict[WaterGroup, Spans] = {
    WaterGroup.READINGS: (
        "How each moves, and when it leaves its band: ",
        Link("drift and wear", DRIFT_PAGE),
        ".",
    ),
    WaterGroup.SOFTENER: (
        "What the resin takes up is its capacity less the reserve, divided by the hardness of the "
        "raw water. Hard water behind the softener is a finding, however little has run."
    ),
    WaterGroup.MEMBRANE: (
        "From the readings of one day. Cold water gives less, so flows compare only at one "
        "temperature and one net pressure."
    ),
    WaterGroup.CHEMICALS: (
        "A dilution of 64 to 1 is 64 parts of water to one of product, which is 1 part in 65, or "
        "1.54 %. The product a vehicle takes is worked out twice: of one vehicle by flow, time and "
        "dilution, and of the mean vehicle by what the drum lost. Where they differ, not every "
        "vehicle gets it, or some runs off."
    ),
    WaterGroup.USE: "By the meters, between the readings nearest to the ends of each month.",
}


_NOTHING = (
    "Nothing is read yet that says something of water or chemistry: points with a stream, a band "
    "or a wanted dilution, and meters with a stream."
)


def water_page(ledger: Ledger, found: Sequence[Figure]) -> Page:
    """Depends on the sources only."""
    blocks: list[Block] = [
        Paragraph(
            "± U holds the true value in about 95 of 100 cases. A verdict is given where the "
            "chance of being on one side is at least 95 %; otherwise it says cannot tell."
        ),
        words.pointer("Water and chemistry"),
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
    for group in WaterGroup:
        own = [one for one in found if one.group is group]
        if group is WaterGroup.USE:
            months = sorted({one.day for one in own if one.day}, reverse=True)[:MOST_MONTHS]
            own = [one for one in own if one.day in months]
        if own:
            blocks += [Heading(2, group), Paragraph(_SAYS[group]), figure_table(ledger, own)]
    if not found:
        blocks.append(Paragraph(_NOTHING))
    return Page(path=WATER_PAGE, title="Water and chemistry", blocks=blocks)
