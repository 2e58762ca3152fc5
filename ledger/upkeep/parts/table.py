"""Parts as a flat table, for JSON and exports."""

from collections.abc import Sequence

from ledger.book.flat import FlatTable, day, number, table, text, whole, yes_no
from ledger.upkeep.parts.found import StockLine


def parts_table(lines: Sequence[StockLine]) -> FlatTable:
    return table(
        "parts",
        "One consumable or spare.",
        lines,
        (
            text("part", "Id of the part.", lambda line: line.part.ident),
            text("name", "Its name.", lambda line: line.part.name),
            text("kind", "Consumable or spare.", lambda line: line.part.kind),
            text("supplier", "Who it is ordered from.", lambda line: line.part.supplier),
            text("number", "What the supplier lists it under.", lambda line: line.part.number),
            text("fits", "Machines, by id.", lambda line: " ".join(line.part.fits)),
            text("unit", "The unit of its amounts.", lambda line: line.part.unit),
            number("on_hand", "", "What should be on the shelf, in `unit`.", lambda s: s.on_hand),
            number("on_order", "", "Ordered and not received, in `unit`.", lambda s: s.on_order),
            day("counted_on", "Day of the last count.", lambda line: line.counted_on),
            number("lead_time", "d", "From ordered to received.", lambda line: line.lead_days),
            number("reorder_level", "", "The part's own, else by use.", lambda line: line.level),
            number("level_by_use", "", "What use asks for, in `unit`.", lambda s: s.level_by_use),
            yes_no("to_order", "Whether at or below the level.", lambda line: line.to_order),
            whole("packs_to_order", "", "To twice the level.", lambda s: s.packs_to_order),
            number("cost", "", "Of a pack, in the site's currency.", lambda line: line.part.cost),
        ),
        key="part",
    )
