"""Parts: on hand, to order, used each month."""

from ledger.assess.stock import ASSUMED_GRAMS_PER_STROKE, StockLine, stock_lines
from ledger.compute.rounding import fixed
from ledger.model.ledger import Ledger
from ledger.report import words
from ledger.report.blocks import Block, Heading, Page, Paragraph, Table, left, right

PATH = "parts.md"


def parts_page(ledger: Ledger) -> Page:
    """Depends on the sources only."""
    lines = stock_lines(ledger)
    if not lines:
        return Page(
            path=PATH, title="Parts", blocks=[Paragraph("No parts are kept in parts/ yet.")]
        )
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
            [_on_hand(line) for line in lines],
        ),
        Paragraph(
            "On hand is the last count, less what the entries since then used, plus what was "
            "received. The order lifts the stock to twice the reorder level, in whole packs."
        ),
    ]
    if any(line.assumed_stroke for line in lines):
        blocks.append(
            Paragraph(
                f"Where no weighed stroke is stated, a stroke is taken as "
                f"{words.number_words(ASSUMED_GRAMS_PER_STROKE)} g: weigh ten strokes of your gun."
            )
        )
    blocks.append(Heading(2, "Used each month"))
    months = sorted({month for line in lines for month in line.used_by_month})
    blocks.append(
        Table(
            (left("Month"), *(right(f"{line.part.name}, {line.part.unit}") for line in lines)),
            [
                (
                    words.month_words(month),
                    *(_amount(line.used_by_month.get(month, 0.0)) for line in lines),
                )
                for month in reversed(months)
            ],
        )
    )
    return Page(path=PATH, title="Parts", blocks=blocks)


def _on_hand(line: StockLine) -> tuple[str, ...]:
    part = line.part
    order = words.NONE
    if line.to_order:
        packs = line.packs_to_order
        order = words.count_words(packs, part.pack_name) if packs else "order"
    return (
        part.name,
        part.place or words.NONE,
        words.NONE if line.on_hand is None else _amount(line.on_hand),
        part.unit,
        words.NONE if part.reorder_level is None else words.number_words(part.reorder_level),
        order,
        words.NONE if line.counted_on is None else words.day_words(line.counted_on),
    )


def _amount(value: float) -> str:
    return fixed(value, 0 if value == round(value) else 1)
