"""Pictures and earlier readings of what is past its limit, near it, or moves at a new pace."""

from datetime import date, timedelta

from ledger.assess.wear import NozzleGroup, Wear, WearItem
from ledger.compute.rounding import fixed
from ledger.model.ledger import Ledger
from ledger.report import words
from ledger.report.blocks import Block, Heading, Paragraph, Picture, Spans, Strong
from ledger.report.pages.drift_words import measured_words, movement_words
from ledger.report.pages.today_limits import last_day_filed, limit_reached
from ledger.report.pages.wear_plot import cloth_plot, nozzle_plot, series_plot
from ledger.report.pages.wear_tables import catch_table, latest_table, share_table
from ledger.report.pages.wear_words import limit_words, outlook_shown, view_of_item

NEAR = timedelta(days=90)
"""A limit reached within this time of the last day filed is near: time to order and to plan."""

_WHY_TOLD = (
    "What needs work, cannot be told, or by its pace reaches a limit within "
    f"{NEAR.days} days of the last visit filed; and what wears at another pace than before."
)


def details(ledger: Ledger, found: Wear, *, in_full: bool) -> list[Block]:
    """What needs work first, then the soonest limit; nothing where all is steady and far off."""
    soon = last_day_filed(ledger) + NEAR if ledger.visits else date.min

    def is_told(item: WearItem) -> bool:
        return in_full or _stands_out(item, soon)

    groups = [group for group in found.nozzles if group.hides or any(map(is_told, group.items))]
    items = sorted(
        (item for item in (*found.chains, *found.belts, *found.cloth) if is_told(item)),
        key=_urgency,
    )
    if not groups and not items:
        return []
    blocks: list[Block] = [
        Heading(2, "In full" if in_full else "Past a limit, near it, or at a new pace")
    ]
    if not in_full:
        blocks.append(Paragraph(_WHY_TOLD))
    for group in groups:
        blocks.extend(_nozzles(ledger, group))
    for item in items:
        blocks.extend(_item(ledger, found, item))
    return blocks


def _stands_out(item: WearItem, soon: date) -> bool:
    """Whether its verdict is open or bad, its limit near, or its pace another than before."""
    reached = limit_reached(item.result)
    return (
        item.needs_work
        or item.judgement.value.startswith("cannot tell")
        or (reached is not None and reached[1] <= soon)
        or item.result.has_bent
    )


def _urgency(item: WearItem) -> tuple[bool, date]:
    reached = limit_reached(item.result)
    return not item.needs_work, date.max if reached is None else reached[1]


def _nozzles(ledger: Ledger, group: NozzleGroup) -> list[Block]:
    return [
        Heading(3, f"{ledger.machines[group.machine].name}: nozzles"),
        Paragraph(_average_words(ledger, group)),
        catch_table(ledger, group),
        Picture(f"plots/nozzles-{group.machine}.svg", nozzle_plot(ledger, group)),
        share_table(ledger, group),
    ]


def _average_words(ledger: Ledger, group: NozzleGroup) -> str:
    said = f"On average {fixed(100 * group.mean_share, 0)} % of new"
    if not group.hides:
        return f"{said}."
    faulty = words.in_words(
        [
            f"{words.point_words(ledger, item.place)} ({item.judgement.value})"
            for item in group.items
            if item.needs_work
        ]
    )
    return f"{said}: the average looks sound and hides {faulty}."


def _item(ledger: Ledger, found: Wear, item: WearItem) -> list[Block]:
    by_vehicles = item in found.cloth and len(found.vehicles.days) > 1
    plot = cloth_plot(ledger, item, found.vehicles) if by_vehicles else series_plot(ledger, item)
    has_meter = item in found.cloth and found.vehicles.days
    return [
        Heading(3, ledger.place_name(item.place)),
        Paragraph(_item_words(ledger, item)),
        Picture(f"plots/wear-{item.result.series.ident}.svg", plot),
        latest_table(ledger, item, found.vehicles if has_meter else None),
    ]


def _item_words(ledger: Ledger, item: WearItem) -> Spans:
    """The verdict, the reading it is on, the limit, the pace and when the limit is reached."""
    view = view_of_item(item, ledger.site)
    pace = movement_words(item.result.outlook, view)
    moves = "" if pace == words.NONE else f"It {pace}. "
    outlook = outlook_shown(item, ledger.site)
    return (
        Strong(item.judgement.value.capitalize()),
        (
            f": {item.result.series.kind.name} {measured_words(item.last.measured, view)} "
            f"{view.unit}, read {words.day_words(item.last.entry.day)}; limit "
            f"{limit_words(item, ledger.site)}. {moves}{outlook[0].upper()}{outlook[1:]}."
        ),
        " Its pace has changed." if item.result.has_bent else "",
    )
