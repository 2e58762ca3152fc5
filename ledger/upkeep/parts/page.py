"""Parts: on hand, to order, used each month; and the order list."""

from collections.abc import Sequence

from ledger.book import words
from ledger.book.addresses import PARTS_PAGE
from ledger.book.blocks import (
    Block,
    Bullets,
    Code,
    Column,
    Heading,
    Page,
    Paragraph,
    Spans,
    Table,
    right,
)
from ledger.compute.numbers import fixed
from ledger.model.ledger import Ledger
from ledger.upkeep.parts.found import ASSUMED_GRAMS_PER_STROKE, StockLine, stock_lines
from ledger.values import replace

LATEST_MONTHS = 12

MOST_SYMBOL_LETTERS = 2


def parts_page(ledger: Ledger, lines: Sequence[StockLine] | None = None) -> Page:
    """Depends on the sources only; `lines` are those of all parts, where they are at hand."""
    lines = stock_lines(ledger) if lines is None else lines
    if not lines:
        nothing = Paragraph("No parts are kept in parts/ yet.")
        return Page(path=PARTS_PAGE, title="Parts", blocks=[nothing])
    currency = ledger.site.costs.currency if ledger.site.costs else ""
    blocks: list[Block] = [
        Heading(2, "On hand"),
        replace(
            Table.of(
                lines,
                ("Part", lambda line: line.part.name),
                ("Place", lambda line: line.part.place or words.NONE),
                (right("On hand"), _on_hand),
                ("Unit", lambda line: line.part.unit),
                (right("Reorder at"), _level),
                ("Order", lambda line: _order(line, currency)),
                ("Counted", lambda line: words.or_dash(line.counted_on, words.format_day)),
            ),
            names=("part", "Part"),
        ),
        Paragraph(
            "On hand is the last count, less what the entries since then used, plus what was "
            "received. If that and what is on order are together no more than the reorder level, "
            "the order fills up to twice that level, in whole packs."
        ),
        words.pointer("Parts"),
    ]
    if any(line.assumed_stroke for line in lines):
        grams = words.format_number(ASSUMED_GRAMS_PER_STROKE)
        where = f"Where no weighed stroke is stated, a stroke is taken as {grams} g"
        blocks.append(Paragraph(f"{where}: weigh ten strokes of your gun."))
    parts = [line.part for line in lines]
    notes = [f"{part.name}: {part.notes}" for part in parts if part.notes] + [
        f"{part.name}: formerly {words.in_words(part.formerly)}" for part in parts if part.formerly
    ]
    if notes:
        blocks.append(Bullets(notes))
    if order := order_blocks(ledger, lines):
        blocks += [Heading(2, "Order list"), *order]
    blocks.extend(_used(lines))
    return Page(path=PARTS_PAGE, title="Parts", blocks=blocks)


def order_page(ledger: Ledger) -> Page:
    """The order list alone, to print or to send."""
    blocks = order_blocks(ledger, stock_lines(ledger))
    return Page(
        path=PARTS_PAGE,
        title=f"Order list, {ledger.site.name}",
        blocks=blocks or [Paragraph("Nothing is at its reorder level.")],
    )


_WHEN_ORDERED: Spans = (
    "When an order has gone out, file it in a visit as ",
    Code("{part: …, ordered: …}"),
    "; what has come, with ",
    Code("received"),
    ". The time between the two is the lead time of the next order.",
)


def order_blocks(ledger: Ledger, lines: Sequence[StockLine]) -> list[Block]:
    """What to order, a table for each supplier with its sum; nothing where all is on hand."""
    wanted = [line for line in lines if line.to_order]
    if not wanted:
        return []
    currency = ledger.site.costs.currency if ledger.site.costs else ""
    blocks: list[Block] = []
    suppliers = {line.part.supplier for line in wanted}
    for supplier in sorted(suppliers, key=lambda name: (not name, name)):
        from_it = [line for line in wanted if line.part.supplier == supplier]
        blocks += [
            Heading(3, supplier or "No supplier stated"),
            Table.of(
                from_it,
                ("Number", lambda line: line.part.number or words.NONE),
                ("Part", lambda line: line.part.name),
                (right("Order"), _packs),
                (right("Each"), lambda line: words.or_dash(line.part.cost, words.format_number)),
                (right("Together"), lambda line: words.or_dash(_cost(line), words.format_number)),
                ("Fits", lambda line: _fits(ledger, line)),
            ),
        ]
        costs = [cost for line in from_it if (cost := _cost(line)) is not None]
        if costs:
            left_out = len(from_it) - len(costs)
            without = f", without {words.format_count(left_out, 'part')} of unknown cost"
            together = f"Together {words.format_number(sum(costs))} {currency}".rstrip()
            blocks.append(Paragraph(f"{together}{without if left_out else ''}."))
    blocks.append(Paragraph(_WHEN_ORDERED))
    return blocks


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
    used_in = (right(words.format_month(month)) for month in months)
    columns: list[Column | str] = ["Part", right("Together"), *used_in]
    blocks: list[Block] = [Heading(2, "Used each month"), Table(columns, rows)]
    idle = [line.part.name for line in lines if not any(used(line))]
    if idle:
        blocks.append(Paragraph(f"Not used in these months: {'; '.join(idle)}."))
    return blocks


def _on_hand(line: StockLine) -> str:
    to_come = f", {_amount(line.on_order)} on order" if line.on_order else ""
    if line.on_hand is None:
        return f"never counted{to_come}"
    on_hand = _amount(line.on_hand)
    return f"{on_hand if line.on_hand >= 0 else f'count it ({on_hand})'}{to_come}"


def _level(line: StockLine) -> str:
    """`2`; `2 by use` where the part states none; `1, by use 2` where its own is too low."""
    if line.level is None:
        return words.NONE
    level = words.format_number(line.level)
    if line.part.reorder_level is None:
        return f"{level} by use"
    by_use = words.or_dash(line.level_by_use, words.format_number)
    return f"{level}, by use {by_use}" if line.is_level_low else level


def _packs(line: StockLine) -> str:
    """`2 cartridges`."""
    part = line.part
    # Symbols such as g and L have no plural, words such as piece do.
    is_symbol = not part.pack and len(part.unit) <= MOST_SYMBOL_LETTERS
    one = part.pack_name if part.pack else part.unit
    return words.format_count(line.packs_to_order, one, one if is_symbol else "")


def _cost(line: StockLine) -> float | None:
    return None if line.part.cost is None else line.packs_to_order * line.part.cost


def _order(line: StockLine, currency: str) -> str:
    """`2 cartridges`, and `, 19 USD` where the cost of one is known."""
    if not line.to_order:
        return words.NONE
    cost = _cost(line)
    if cost is None:
        return _packs(line)
    return f"{_packs(line)}, {words.format_number(cost)} {currency}".rstrip()


def _fits(ledger: Ledger, line: StockLine) -> str:
    return ", ".join(ledger.machines[machine].name for machine in line.part.fits) or words.NONE


def _amount(value: float) -> str:
    return fixed(value, 0 if value == round(value) else 1)
