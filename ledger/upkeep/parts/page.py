"""Parts: on hand, to order, used each month."""

from collections.abc import Sequence

from ledger.book import words
from ledger.book.addresses import PARTS_PAGE
from ledger.book.blocks import Block, Bullets, Heading, Page, Paragraph, Table, left, right
from ledger.compute.numbers import fixed
from ledger.model.ledger import Ledger
from ledger.upkeep.parts.found import ASSUMED_GRAMS_PER_STROKE, StockLine, stock_lines

LATEST_MONTHS = 12

MOST_SYMBOL_LETTERS = 2


def parts_page(ledger: Ledger) -> Page:
    """Depends on the sources only."""
    lines = stock_lines(ledger)
    if not lines:
        return Page(
            path=PARTS_PAGE, title="Parts", blocks=[Paragraph("No parts are kept in parts/ yet.")]
        )
    currency = ledger.site.costs.currency if ledger.site.costs else ""
    blocks: list[Block] = [
        Heading(2, "On hand"),
        Table(
            (
                left("Part"),
                left("Place"),
                right("On hand"),
                left("Unit"),
                right("Reorder at"),
                left("Order"),
                left("Counted"),
            ),
            [_on_hand(line, currency) for line in lines],
        ),
        Paragraph(
            "On hand is the last count, less what the entries since then used, plus what was "
            "received. At the reorder level or below, the order lifts the stock to twice that "
            "level, in whole packs."
        ),
    ]
    if any(line.assumed_stroke for line in lines):
        blocks.append(
            Paragraph(
                f"Where no weighed stroke is stated, a stroke is taken as "
                f"{words.format_number(ASSUMED_GRAMS_PER_STROKE)} g: weigh ten strokes of your gun."
            )
        )
    notes = [f"{line.part.name}: {line.part.notes}" for line in lines if line.part.notes]
    if notes:
        blocks.append(Bullets(notes))
    blocks.extend(_used(lines))
    return Page(path=PARTS_PAGE, title="Parts", blocks=blocks)


def _used(lines: Sequence[StockLine]) -> list[Block]:
    """A row a part and a column a month, the newest first, so that twelve fit a sheet."""
    filed = {month for line in lines for month in line.used_by_month}
    months = sorted(filed, reverse=True)[:LATEST_MONTHS]
    if not months:
        return []
    blocks: list[Block] = [Heading(2, "Used each month")]
    rows = []
    for line in lines:
        used = [line.used_by_month.get(month, 0.0) for month in months]
        if any(used):
            rows.append(
                (
                    f"{line.part.name}, {line.part.unit}",
                    _amount(sum(used)),
                    *(_amount(amount) if amount else words.NONE for amount in used),
                )
            )
    blocks.append(
        Table(
            (
                left("Part"),
                right("Together"),
                *(right(words.format_month(month)) for month in months),
            ),
            rows,
        )
    )
    idle = [line.part.name for line in lines if not any(map(line.used_by_month.get, months))]
    if idle:
        blocks.append(Paragraph(f"Not used in these months: {'; '.join(idle)}."))
    return blocks


def _on_hand(line: StockLine, currency: str) -> tuple[str, ...]:
    part = line.part
    on_hand = "never counted"
    if line.on_hand is not None:
        on_hand = (
            _amount(line.on_hand) if line.on_hand >= 0 else f"count it ({_amount(line.on_hand)})"
        )
    return (
        part.name,
        part.place or words.NONE,
        on_hand,
        part.unit,
        words.NONE if part.reorder_level is None else words.format_number(part.reorder_level),
        _order(line, currency),
        words.NONE if line.counted_on is None else words.format_day(line.counted_on),
    )


def _order(line: StockLine, currency: str) -> str:
    """`2 cartridges`, and `, 19 USD` where the cost of one is known."""
    part = line.part
    if not line.to_order:
        return words.NONE
    # Symbols such as g and L have no plural, words such as piece do.
    is_symbol = not part.pack and len(part.unit) <= MOST_SYMBOL_LETTERS
    one = part.pack_name if part.pack else part.unit
    said = words.format_count(line.packs_to_order, one, one if is_symbol else "")
    if part.cost is None:
        return said
    return f"{said}, {words.format_number(line.packs_to_order * part.cost)} {currency}".rstrip()


def _amount(value: float) -> str:
    return fixed(value, 0 if value == round(value) else 1)
