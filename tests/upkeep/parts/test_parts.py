from small_site import ledger_of, on, visit

from ledger.book import terminal
from ledger.book.blocks import Heading, Paragraph, Table
from ledger.upkeep.parts.page import LATEST_MONTHS, order_page, parts_page

GREASE = {
    "name": "Grease",
    "kind": "consumable",
    "unit": "g",
    "pack": 400,
    "pack_name": "cartridge",
    "opening": {"on": on(0).isoformat(), "count": 500},
    "reorder_level": 600,
    "place": "Shelf B",
}
FILTER = {
    "name": "Filter",
    "kind": "spare",
    "unit": "piece",
    "opening": {"on": on(0).isoformat(), "count": 1},
    "reorder_level": 1,
}
OIL = {"name": "Oil", "kind": "consumable", "unit": "L"}
GREASING = {
    "title": "Grease",
    "on": {"points": "rotating-bearing"},
    "every": "1 week",
    "steps": ".",
    "uses": {"grease": "3 strokes"},
}


def page(*visits, parts=None, tasks=None):
    kept = {"grease": GREASE, "filter": FILTER, "oil": OIL} if parts is None else parts
    return parts_page(ledger_of(visits, parts=kept, tasks=tasks))


def tables(found):
    return [block for block in found.blocks if isinstance(block, Table)]


def test_a_site_without_parts_says_so():
    assert "No parts are kept in parts/ yet." in terminal.render(page(parts={}))


def test_on_hand_what_to_order_and_what_was_never_counted():
    (on_hand, *_) = tables(page())

    rows = {row[0]: row[1:] for row in on_hand.rows}
    assert rows["Grease"] == ("Shelf B", "500", "g", "600", "2 cartridges", "2026-01-05")
    assert rows["Filter"][4] == "1 piece"
    assert rows["Oil"] == ("–", "never counted", "L", "–", "–", "–")


def test_more_used_than_counted_asks_for_a_count():
    (on_hand, *_) = tables(page(visit(1, {"part": "filter", "used": 3})))

    rows = {row[0]: row for row in on_hand.rows}
    assert rows["Filter"][2] == "count it (-2)"
    assert rows["Filter"][5] == "4 pieces"


def test_the_twelve_newest_months_stand_side_by_side_the_newest_first():
    used = [visit(30 * n, {"part": "oil", "used": 0.5}) for n in range(20)]

    months = tables(page(*used))[-1]

    assert len(months.columns) == LATEST_MONTHS + 2
    (row,) = months.rows
    assert row[0] == "Oil, L"
    # Every thirty days: fourteen times from July 2026 to July 2027, and none in February.
    assert row[1:3] == ("7", "0.5")
    assert [column.title for column in months.columns[1:4]] == ["Together", "2027-07", "2027-06"]


def test_parts_not_used_are_named_below_the_table():
    text = terminal.render(page(visit(1, {"part": "oil", "used": 2})))

    assert "Not used in these months: Filter; Grease." in text


def test_a_stroke_that_was_not_weighed_is_said():
    done = visit(1, {"task": "greasing", "at": "brush"})

    assert "a stroke is taken as 2 g" in " ".join(
        terminal.render(page(done, tasks={"greasing": GREASING})).split()
    )
    assert "stroke" not in terminal.render(page(visit(1, {"part": "oil", "used": 2})))


def test_an_order_has_its_cost_where_that_of_a_pack_is_known():
    parts = {"grease": GREASE | {"cost": 9.5}, "filter": FILTER | {"cost": 12}}
    (on_hand, *_) = tables(page(parts=parts))
    assert [row[5] for row in on_hand.rows] == ["1 piece, 12 EUR", "2 cartridges, 19 EUR"]


def test_what_is_to_be_known_of_a_part_stands_below():
    parts = {"grease": GREASE | {"notes": "One soap only."}}
    assert "Grease: One soap only." in terminal.render(page(parts=parts))


def test_the_order_list_is_by_supplier_with_numbers_and_sums():
    from_one = {"supplier": "Fenwick", "number": "F-2", "cost": 9.5, "fits": ["brush"]}
    parts = {"grease": GREASE | from_one, "filter": FILTER, "oil": OIL}

    blocks = order_page(ledger_of((), parts=parts)).blocks

    titles = [block.text for block in blocks if isinstance(block, Heading)]
    first, second = (block for block in blocks if isinstance(block, Table))
    assert titles == ["Fenwick", "No supplier stated"]
    assert first.rows == [("F-2", "Grease", "2 cartridges", "9.5", "19", "Side brush")]
    assert second.rows == [("–", "Filter", "1 piece", "–", "–", "–")]
    assert Paragraph("Together 19 EUR.") in blocks


def test_nothing_to_order_is_said():
    text = terminal.render(order_page(ledger_of((), parts={"oil": OIL})))

    assert "Nothing is at its reorder level." in text
