"""The page of shaft speeds: each reading with its raw numbers, its doubt and its verdict."""

from datetime import date

import pytest
from small_site import ELECTRIC, ledger_of, on, setpoint, visit

from ledger.book import markdown
from ledger.book.blocks import Heading, Paragraph, SmallPlots, Table, lines_of, pictures_of
from ledger.book.terminal import plain
from ledger.book.words import marked
from ledger.upkeep.speeds.found import speed_results
from ledger.upkeep.speeds.page import (
    RECENT,
    format_last_reading,
    speed_plot,
    speed_rows,
    speed_table,
    speed_year_rows,
    speeds_of_year,
    speeds_page,
)

SHORT = {"at": "brush", "counted": 13, "seconds": 10, "found_hz": 44}
GOOD = {"at": "brush", "turns": 80, "seconds": 60, "left_hz": 44}
FAST = {"at": "brush", "turns": 100, "seconds": 60}
NONE = {"at": "brush", "taps_s": [1, 1, 1, 1, 1]}


def shown(*visits, **rest):
    ledger = ledger_of(visits, **rest)
    return ledger, speed_results(ledger)


def speeds_page_of(ledger, results):
    return speeds_page(ledger, [speed_rows(ledger, results)])


def year_page_of(ledger, results, year):
    return speeds_of_year(ledger, [speed_year_rows(ledger, results, year)], year)


def rows(ledger, results):
    return [[plain(cell) for cell in row] for row in speed_table(ledger, results).rows]


def test_the_newest_reading_stands_first_with_what_it_can_tell():
    table = rows(*shown(visit(0, SHORT), visit(1, GOOD), visit(2, FAST)))
    out, good, cannot = map(marked, ("out of band", "in band", "cannot tell"))
    assert table == [
        ["2026-01-07", "100.00 ± 0.37", out, "74–86", "< 1 %", "100 turns in 60 s", "–", "–", "2026-01-07T1000-a-holt#1"],
        ["2026-01-06", "80.00 ± 0.30", good, "74–86", "> 99 %", "80 turns in 60 s", "–", "44 Hz", "2026-01-06T1000-a-holt#1"],
        ["2026-01-05", "78.0 ± 5.2", cannot, "74–86", "94 %", "13 passes in 10 s", "count for 15 s, or time 7 whole turns", "44 Hz", "2026-01-05T1000-a-holt#1"],
    ]  # fmt: skip


def test_a_correction_says_that_it_is_one_and_a_reading_without_speed_says_why():
    again = {**GOOD, "corrects": "2026-01-05T1000-a-holt#1", "reason": "miscounted"}
    table = rows(*shown(visit(0, SHORT, NONE), visit(3, again)))
    assert table[1][0::8] == ["2026-01-05", "2026-01-08T1000-a-holt#1 (corrects)"]
    assert table[0][1].startswith("no speed: ")
    assert table[0][2] == table[0][4] == table[0][6] == "–"


def test_the_picture_holds_every_speed_with_its_doubt_band_and_changes():
    visits = [visit(0, SHORT), visit(1, GOOD), visit(2, FAST), visit(3, NONE), visit(4, {"at": "brush/motor", "changed": "motor"}, {"at": "brush", "changed": "nozzle"})]  # fmt: skip
    ledger, results = shown(*visits, setpoints=[setpoint(0, 48), setpoint(1, 44)])
    plot = speed_plot(ledger, ledger.machines["brush"], results, 2026)
    assert [(samples.name, len(samples.points)) for samples in plot.samples] == [("in band", 1), ("out of band", 1), ("cannot tell", 1), ("no band stated", 0)]  # fmt: skip
    # As wide above and below the band as it is: no reading moves the scale.
    assert (plot.x.span, plot.y.span) == ((date(2026, 1, 1).toordinal(), date(2027, 1, 1).toordinal()), (62, 98))  # fmt: skip
    assert all(point.half_width > 0 for samples in plot.samples for point in samples.points)
    assert [(zone.low, zone.high) for zone in plot.zones] == [(74, 86)]
    assert [(event.x - on(0).toordinal(), event.label) for event in plot.events] == [(0, "48 Hz"), (1, "44 Hz"), (4, "new motor")]  # fmt: skip


def test_each_machine_has_its_section_in_walking_order():
    tachometer = {"at": "low", "tachometer_rpm": 80, "accuracy_rpm": 1}
    ledger, results = shown(visit(0, tachometer), visit(1, GOOD))
    page = speeds_page_of(ledger, results)
    assert [block.text for block in page.blocks if isinstance(block, Heading)] == ["All at once", "Last readings", "Side brush", "Low brush"]  # fmt: skip
    assert [one.path for one in pictures_of(page.blocks)] == ["plots/2026/small-brush.svg", "plots/2026/small-low.svg"]  # fmt: skip
    assert sum(isinstance(block, Table) for block in page.blocks) == 2
    assert page.as_of == ""


def strip(page):
    (block,) = [block for block in page.blocks if isinstance(block, SmallPlots)]
    return [[plain(line) for line in lines_of(said)] for said, _ in block.rows]


def test_the_last_reading_of_each_machine_stands_on_top_with_its_verdict():
    tachometer = {"at": "low", "tachometer_rpm": 80, "accuracy_rpm": 1}
    page = speeds_page_of(*shown(visit(0, GOOD, tachometer), visit(1, SHORT)))
    assert strip(page) == [
        ["10 Side brush", "○\N{NO-BREAK SPACE}cannot tell 78.0 ± 5.2", "2026-01-06, band 74–86"],
        ["20 Low brush", "●\N{NO-BREAK SPACE}in band 80.0 ± 1.2", "2026-01-05, band 75–92"],
    ]
    assert "to tell: count for 15 s" in markdown.render(page)


def test_the_first_page_shows_the_last_eight_readings_and_a_setting_they_share_once():
    page = speeds_page_of(*shown(*(visit(day, {**GOOD, "found_hz": 44}) for day in range(10))))
    (table,) = [block for block in page.blocks if isinstance(block, Table)]
    assert [plain(row[0]) for row in table.rows] == [f"2026-01-{14 - n:02}" for n in range(RECENT)]
    assert "band 74–86 r/min, set at 44 Hz." in markdown.render(page)
    assert [column.title for column in table.columns] == ["Date", "r/min ± U", "Verdict", "Read"]


def test_one_more_reading_alters_two_rows_of_the_page_and_no_more():
    """Its machine's line on top and its own line."""
    before, after = (
        markdown.render(speeds_page_of(*shown(*visits))).splitlines()
        for visits in ([visit(0, GOOD)], [visit(0, GOOD), visit(1, GOOD)])
    )
    assert len(set(before) - set(after)) == 1
    assert len(set(after) - set(before)) == 2


@pytest.mark.parametrize(
    ("entries", "words"),
    [
        ([], ""),
        ([GOOD], "Last read on 2026-01-05: 80.00 ± 0.30 r/min, in band (74–86)."),
        ([NONE], "Last read on 2026-01-05: no speed: "),
    ],
    ids=["none", "read", "no speed"],
)
def test_the_last_reading_in_a_sentence(entries, words):
    _, results = shown(visit(0, *entries or [{"at": "brush/motor", "changed": "motor"}]))
    assert format_last_reading(results).startswith(words)
    assert bool(format_last_reading(results)) is bool(words)


def test_a_rate_outside_those_stated_and_a_machine_without_a_band_are_said():
    ledger, results = shown(visit(0, GOOD), site={"line": {"line_rate_per_h": 200}})
    said = " ".join(plain(b.spans) for b in speeds_page_of(ledger, results).blocks if isinstance(b, Paragraph))  # fmt: skip
    assert "Bands are those at 200 vehicles an hour." in said
    assert "Station 10: band 74–86 r/min, set at 44 Hz. The rate lies outside" in said
    bare = {key: value for key, value in ELECTRIC.items() if key != "speed_band"}
    ledger, results = shown(visit(0, GOOD), machines={"brush": bare})
    said = " ".join(plain(b.spans) for b in speeds_page_of(ledger, results).blocks if isinstance(b, Paragraph))  # fmt: skip
    assert "Station 10: no band is stated, set at 44 Hz." in said


def test_a_site_without_a_reading_says_so():
    ledger, results = shown()
    assert "No speed has been read yet." in [plain(b.spans) for b in speeds_page_of(ledger, results).blocks]  # fmt: skip


def test_a_closed_year_has_a_page_and_pictures_of_its_own():
    """Visit days are counted from 2026-01-05."""
    ledger, results = shown(visit(-30, SHORT), visit(0, GOOD))
    first = speeds_page_of(ledger, results)
    now, closed = (year_page_of(ledger, results, year) for year in (2026, 2025))
    assert [page.path for page in (first, now, closed)] == ["speeds.md", "speeds/2026.md", "speeds/2025.md"]  # fmt: skip
    assert closed.title == "Shaft speeds in 2025"
    assert [one.path for one in pictures_of(closed.blocks)] == ["plots/2025/small-brush.svg"]
    (table,) = [block for block in closed.blocks if isinstance(block, Table)]
    assert [plain(row[0]) for row in table.rows] == ["2025-12-06"]
    assert "[2026](speeds/2026.md), [2025](speeds/2025.md)" in markdown.render(first)
    assert "[shaft speeds](../speeds.md)" in markdown.render(closed)
    assert not closed.in_navigation


def test_a_machine_not_read_in_the_present_year_keeps_its_last_reading_and_its_section():
    ledger, results = shown(visit(-30, SHORT), visit(0, {"at": "brush/motor", "changed": "motor"}))
    first, closed = speeds_page_of(ledger, results), year_page_of(ledger, results, 2025)
    assert closed.path == "speeds/2025.md"
    (last,) = [block for block in first.blocks if isinstance(block, Table)]
    assert plain(last.rows[0][0]) == "2025-12-06"
