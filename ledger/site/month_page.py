"""Months for the owner: vehicles, stops with what they cost, water, and three decisions."""

from collections.abc import Sequence
from functools import partial

from ledger.book import addresses, words
from ledger.book.blocks import Block, Bullets, Heading, Page, Paragraph, Table, right
from ledger.compute.numbers import fixed
from ledger.model.ledger import Ledger
from ledger.model.visits import STOP_CAUSES
from ledger.site.decisions import Decision
from ledger.upkeep.downtime.found import Month, months
from ledger.upkeep.figures.found import Figure
from ledger.upkeep.figures.words import format_figure
from ledger.upkeep.water.found import WaterGroup

MOST_MONTHS = 13
"""So that a month stands beside the same one of the year before."""

MOST_DECISIONS = 3


def months_page(ledger: Ledger, water: Sequence[Figure], asked: Sequence[Decision]) -> Page:
    """Depends on the sources only. `asked` is all that needs a decision, the worst first."""
    shown_months = months(ledger)[:MOST_MONTHS]
    blocks: list[Block] = [
        Paragraph(
            "Whole months, the newest first. Stops are those that somebody filed, by cause. The "
            "cost is that of the stops that nobody planned. A machine that is tied back is down "
            "while the line runs on without it. That stands apart: its opening hours from then to "
            "the entry that closes it, and its availability in that month."
        ),
        words.pointer("Down time"),
    ]
    if not shown_months:
        blocks.append(Paragraph("No whole month is on record yet."))
        return Page(path=addresses.MONTHS_PAGE, title="Months for the owner", blocks=blocks)
    blocks.append(
        Table.of(
            shown_months,
            ("Month", lambda one: words.format_month(one.first)),
            (right("Vehicles"), lambda one: words.or_dash(one.vehicles, lambda n: f"{n:,.0f}")),
            *(
                (right(f"{cause.capitalize()}, min"), partial(_minutes, cause))
                for cause in STOP_CAUSES
            ),
            (right("Line could run"), _available),
            ("Tied back", partial(_tied_back, ledger)),
            (right("Cost of stops"), partial(_cost, ledger)),
            (right("Fresh water a vehicle"), partial(_water, ledger, water)),
            newest_first=True,
        )
    )
    blocks.append(
        Bullets([f"{cause.capitalize()}: {meaning}." for cause, meaning in STOP_CAUSES.items()])
    )
    product = [
        f"{words.format_point(ledger, one.place)}: {format_figure(one, ledger)}"
        for one in water
        if one.group is WaterGroup.CHEMICALS and one.name.endswith("by its drum") and one.place
    ]
    if product:
        blocks += [Heading(2, "Product a vehicle, by the drums"), Bullets(product)]
    lines = [decision.line(ledger) for decision in asked[:MOST_DECISIONS]]
    if lines:
        blocks += [Heading(2, "To decide first"), Bullets(lines)]
    return Page(path=addresses.MONTHS_PAGE, title="Months for the owner", blocks=blocks)


def _minutes(cause: str, month: Month) -> str:
    return fixed(month.stopped[cause], 0) if month.stopped[cause] else words.NONE


def _tied_back(ledger: Ledger, month: Month) -> str:
    """`Blower 2 33 h (91.8 %)`: the share is that of the opening hours in which it could run."""
    told = (
        f"{ledger.machines[machine].name} {fixed(hours, 0)} h "
        f"({fixed(100 * (1 - hours / month.open_h), 1)} %)"
        for machine, hours in month.tied_back.items()
    )
    return "; ".join(told) or words.NONE


def _available(month: Month) -> str:
    return words.or_dash(month.available, lambda share: f"{fixed(100 * share, 2)} %")


def _cost(ledger: Ledger, month: Month) -> str:
    """`1,260 USD`, or `0 to 1,260 USD` where nobody counted who drives away."""
    if month.cost is None or ledger.site.costs is None:
        return words.NONE
    low, high = month.cost
    amount = f"{high:,.0f}" if low == high else f"{low:,.0f} to {high:,.0f}"
    return f"{amount} {ledger.site.costs.currency}"


def _water(ledger: Ledger, found: Sequence[Figure], month: Month) -> str:
    of_month = (one for one in found if one.group is WaterGroup.USE and one.day == month.first)
    fresh = next((one for one in of_month if one.unit == "L"), None)
    return words.NONE if fresh is None or fresh.found is None else format_figure(fresh, ledger)
