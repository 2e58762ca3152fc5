"""Everything filed about a machine, newest first; nothing that was corrected is hidden."""

from small_site import ledger_of, visit

from ledger.book.blocks import Heading, Link, Picture, Table
from ledger.book.terminal import plain, render
from ledger.model.ledger import last_day_filed
from ledger.site.machine_page import OFTEN, history_blocks
from ledger.site.pages import Book
from ledger.upkeep.speeds.found import by_entry, speed_results

GREASE = {"title": "Grease", "on": {"points": "rotating-bearing"}, "every": "1 week"}
DONE = {"task": "grease", "at": "brush", "strokes": 3}
COUNT = {"at": "brush", "turns": 80, "seconds": 60, "found_hz": 44}


def pages_of(ledger, ident):
    pages = Book(ledger, last_day_filed(ledger)).pages()
    return [page for page in pages if page.path.startswith(f"machines/{ident}")]


def history(*visits, tasks=None):
    ledger = ledger_of(visits, tasks=tasks or {"grease": GREASE})
    speeds = by_entry(speed_results(ledger))
    return history_blocks(ledger, ledger.machines["brush"], speeds, last_day_filed(ledger).year)


def tables(*visits, tasks=None):
    return [
        [[plain(cell) for cell in row] for row in block.rows]
        for block in history(*visits, tasks=tasks)
        if isinstance(block, Table)
    ]


def test_months_and_entries_stand_newest_first():
    blocks = history(visit(0, COUNT), visit(1, COUNT), visit(40, COUNT))
    assert [b.text for b in blocks if isinstance(b, Heading)] == ["History, newest first", "2026-02", "2026-01"]  # fmt: skip
    found = tables(visit(0, COUNT), visit(1, COUNT), visit(40, COUNT))
    assert [[row[0] for row in table] for table in found] == [["2026-02-14 10:00"], ["2026-01-06 10:00", "2026-01-05 10:00"]]  # fmt: skip


def test_a_reading_is_told_with_its_raw_numbers_and_verdict():
    (((_, what, where, by, entry),),) = tables(visit(0, COUNT, **{"with": ["b-marsh"]}))
    assert (by, where, entry) == ("A. Holt, B. Marsh", "machine", "2026-01-05T1000-a-holt#1")
    assert what == "found at 44 Hz; 80 turns in 60 s = 80.00 ± 0.30 r/min, in band"


def test_rounds_with_nothing_to_tell_are_gathered_by_what_where_and_whom():
    other = {**visit(8, DONE), "by": "b-marsh"}
    top = {**DONE, "at": "brush/bearing-top"}
    (table,) = tables(visit(0, DONE), visit(1, DONE), other, visit(9, top), visit(9, top, time="11:00"))  # fmt: skip
    assert table == [
        ["Grease, 3 strokes each", "Bearing top", "14 (A. Holt)"],
        ["Grease, 3 strokes each", "Bearing top, Bearing bottom", "05, 06 (A. Holt); 13 (B. Marsh)"],
    ]  # fmt: skip


def test_what_is_read_often_at_one_place_is_gathered_but_for_what_says_more():
    look = {"title": "Read", "on": {"ids": ["brush"]}, "every": "1 day"}
    read = {"task": "look", "at": "brush", "temperature_c": 40}
    daily = [visit(day, {**read, "temperature_c": 40 + day}) for day in range(OFTEN)]
    noted = visit(OFTEN, {**read, "note": "Fan off."})
    fewer = visit(40, read)

    (seldom,), (told,), (gathered,) = tables(*daily, noted, fewer, tasks={"look": look})

    assert seldom[1] == "Read; 40 °C"
    assert told[1] == "Read; 40 °C; Fan off."
    assert gathered[:2] == ["Read", "machine"]
    assert gathered[2] == f"{', '.join(f'{5 + n:02} {40 + n} °C' for n in range(OFTEN))} (A. Holt)"


def test_a_round_with_a_note_is_told_in_full():
    (table,) = tables(visit(0, {**DONE, "note": "Bearing is warm."}))
    assert table[0][1] == "Grease; 3 strokes each; Bearing is warm."


def test_the_original_and_its_correction_both_stand_and_name_each_other():
    again = {**DONE, "strokes": 4, "corrects": "2026-01-05T1000-a-holt#1", "reason": "gun slipped"}
    (table,) = tables(visit(0, DONE), visit(1, again))
    assert [row[1] for row in table] == [
        "corrects 2026-01-05T1000-a-holt#1 (gun slipped); Grease; 4 strokes each",
        "Grease; 3 strokes each [corrected by 2026-01-06T1000-a-holt#1: gun slipped]",
    ]


def test_what_closes_a_finding_stands_in_the_history_at_the_place_of_the_finding():
    found = {"finding": "no grease goes in", "at": "brush/bearing-top"}
    (table,) = tables(visit(0, found), visit(1, {"closes": "2026-01-05T1000-a-holt#1", "note": "New fitting."}))  # fmt: skip
    assert [(row[2], row[1]) for row in table] == [
        ("Bearing top", "closes 2026-01-05T1000-a-holt#1; New fitting."),
        ("Bearing top", "found (soon): no grease goes in"),
    ]


def text_of(page):
    return " ".join(render(page, 400).split())


def test_the_page_keeps_the_year_of_the_last_visit_and_each_before_has_its_own():
    """Visit days are counted from 2026-01-05."""
    ledger = ledger_of([visit(-400, COUNT), visit(-40, COUNT), visit(0, COUNT)])
    now, last, first = pages_of(ledger, "brush")

    assert [now.path, last.path, first.path] == ["machines/brush.md", "machines/brush/2025.md", "machines/brush/2024.md"]  # fmt: skip
    assert [page.title for page in (now, last, first)] == ["Side brush", "Side brush in 2025", "Side brush in 2024"]  # fmt: skip
    for page, day, years in ((now, "2026-01-05", "2025, 2024"), (last, "2025-11-26", "2024"), (first, "2024-12-01", "")):  # fmt: skip
        assert f"{day} 10:00 found at 44 Hz" in text_of(page)
        assert ("Earlier years: " in text_of(page)) is bool(years)
        assert f"Earlier years: {years}" in text_of(page) or not years
    assert Link("Side brush", "machines/brush.md") in last.blocks[0].spans
    assert [b.path for b in last.blocks if isinstance(b, Picture)] == ["plots/2025/speed-brush.svg"]
    assert [now.in_navigation, last.in_navigation] == [True, False], "a search finds the machine"


def test_a_machine_that_rests_this_year_says_so_and_leads_to_the_years_before():
    ledger = ledger_of([visit(-40, DONE), visit(0, {"at": "low", "temperature_c": 20})], tasks={"grease": GREASE})  # fmt: skip
    now, _ = pages_of(ledger, "brush")
    assert "Earlier years: 2025. Nothing is filed in 2026." in text_of(now)


def test_a_machine_of_which_nothing_is_filed():
    assert [plain(block.spans) for block in history()[1:]] == ["Nothing is filed yet."]
