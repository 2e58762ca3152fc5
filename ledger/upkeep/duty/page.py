"""Pumps, worn cloth and energy: what nozzles take, what a speed can hold, what a vehicle costs."""

from collections.abc import Sequence

from ledger.book import words
from ledger.book.addresses import DUTY_PAGE
from ledger.book.blocks import Block, Caution, Heading, Page, Paragraph
from ledger.compute.figures import pressure_held
from ledger.compute.numbers import fixed
from ledger.model.ledger import Ledger
from ledger.upkeep.duty.found import DutyGroup
from ledger.upkeep.figures.found import Figure
from ledger.upkeep.figures.words import figure_table

_WORN = fixed(100 * pressure_held(1.1, 1.0), 0)

_SAYS = {
    DutyGroup.PUMPS: (
        "Each nozzle by its last catch, or as new, at the pressure of the gauge. Losses on the way "
        "to it are not subtracted, so the true flow is less. If the nozzles take more than the "
        "pump gives, it cannot hold the pressure. Pressure alone cannot tell worn nozzles from a "
        f"worn pump: with nozzles worn to 110 % it falls to {_WORN} %, and with a pump worn to "
        "91 % just as far. Catch the nozzles, or read the flow; where a regulator holds the "
        "pressure, the bypass gets less first."
    ),
    DutyGroup.CLOTH: (
        "Strips are assumed to stand straight out, so the true edge is slower. If the edge speed "
        "of new cloth would need a speed above the band, renew the cloth; do not speed up. Whether "
        "the maker wants equal turns or an equal edge speed is the maker's word; and a worn brush "
        "also reaches less far."
    ),
    DutyGroup.ENERGY: (
        "The meter in two parts, by comparing its weeks: what a day takes without a vehicle, and "
        "what one more vehicle takes."
    ),
}


def duty_page(ledger: Ledger, found: Sequence[Figure]) -> Page:
    """Depends on the sources only."""
    blocks: list[Block] = [
        Paragraph(
            "± U holds the true value in about 95 of 100 cases. A verdict is given where the "
            "chance of being on one side is at least 95 %; otherwise it says cannot tell."
        ),
        words.pointer("Pumps, worn cloth and energy"),
        Caution(words.SAFETY),
    ]
    for group in DutyGroup:
        own = [one for one in found if one.group is group]
        if own:
            blocks += [Heading(2, group), Paragraph(_SAYS[group]), figure_table(ledger, own)]
    if not found:
        blocks.append(
            Paragraph(
                "Nothing to work with yet: a pump with its flow, machines `fed_by` it, a brush "
                "with its diameter, its band and its cloth, or a meter that counts kwh."
            )
        )
    return Page(path=DUTY_PAGE, title="Pumps, worn cloth and energy", blocks=blocks)
