"""Parts: on hand, to order, used each month."""

from collections.abc import Sequence
from dataclasses import replace

from ledger.book import words
from ledger.book.addresses import PARTS_PAGE
from ledger.book.blocks import Block, Bullets, Heading, Page, Paragraph, Spans, Table, left, right
from ledger.book.columns import table_of
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
        replace(
            table_of(
                lines,
                (left("Part"), lambda line: line.part.name),
                (left("Place"), lambda line: line.part.place or words.NONE),
                (right("On hand"), _on_hand),
                (left("Unit"), lambda line: line.part.unit),
                (
                    right("Reorder at"),
                    lambda line: words.or_dash(line.part.reorder_level, words.format_number),
                ),
                (left("Order"), lambda line: _order(line, currency)),
                (left("Counted"), lambda line: words.or_dash(line.counted_on, words.format_day)),
            ),
            names=("part", "Part"),
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
    notes += [
        f"{line.part.name}: formerly {words.in_words(line.part.formerly)}"
        for line in lines
        if line.part.formerly
    ]
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

    def used(line: StockLine) -> list[float]:
        return [line.used_by_month.get(month, 0.0) for month in months]

    rows: list[tuple[Spans, ...]] = [
        (
            f"{line.part.name}, {line.part.unit}",
            _amount(sum(used(line))),
            *(_amount(amount) if amount else words.NONE for amount in used(line)),
        )
        for line in lines
        if any(used(line))
    ]
    columns = [left("Part"), right("Together"), *(right(words.format_month(m)) for m in months)]
    blocks: list[Block] = [Heading(2, "Used each month"), Table(columns, rows)]
    idle = [line.part.name for line in lines if not any(used(line))]
    if idle:
        blocks.append(Paragraph(f"Not used in these months: {'; '.join(idle)}."))
    return blocks


def _on_hand(line: StockLine) -> str:
    if line.on_hand is None:
        return "never counted"
    return _amount(line.on_hand) if line.on_hand >= 0 else f"count it ({_amount(line.on_hand)})"


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
