import json

import pytest
from small_site import ELECTRIC, SITE, ledger_of, visit

from ledger.book import terminal
from ledger.book.blocks import Caution, Table
from ledger.compute.numbers import Estimate
from ledger.upkeep.line.found import RateCheck, line_matching
from ledger.upkeep.line.page import line_page, line_row
from ledger.upkeep.speeds.found import speed_results

LINE = {**SITE["line"], "chain_speed_m_per_min": 11, "vehicle_pitch_m": 6}
BRUSH = {
    **ELECTRIC,
    "side": "passenger",
    "turns": "against",
    "brush": {"diameter_mm": 1100, "strips_around": 18},
}
READ = [
    visit(day, {"at": "brush", "turns": 40, "seconds": 2400 / 81, "found_hz": 45})
    for day in range(6)
]


def matched(visits=READ, *, rates=(), machines=None, **site):
    ledger = ledger_of(visits, machines=machines or {"brush": BRUSH}, site={"line": LINE, **site})
    return ledger, line_matching(ledger, speed_results(ledger), rates)


def said(*args, timed=(), **kwargs):
    ledger, matching = matched(*args, **kwargs)
    text = terminal.render(line_page(ledger, matching, timed), 300)
    return "\n".join(" ".join(line.split()) for line in text.splitlines())


def test_the_page_depends_on_the_sources_only():
    ledger, matching = matched()
    page = line_page(ledger, matching)
    assert (page.path, page.as_of) == ("line.md", "")
    assert any(isinstance(block, Caution) for block in page.blocks)
    assert sum(isinstance(block, Table) for block in page.blocks) == 4


def test_rate_by_chain_and_pitch_beside_the_stated_one():
    text = said()
    assert "chain at 11.0 m/min and 6.00 m from front to front" in text
    assert "110.0 vehicles an hour come through; the site states 110: they agree." in text


def test_a_stated_rate_that_disagrees_is_loud():
    text = said(line={**LINE, "line_rate_per_h": 140})
    assert "they DISAGREE, the stated rate is 27.3 % higher" in text


def test_without_chain_and_pitch_nothing_is_checked():
    assert "cannot be checked by them" in said(line=SITE["line"])


def test_a_timed_rate_is_shown_with_its_uncertainty():
    check = RateCheck(stated_per_h=110, found=Estimate(value=102.5, u=0.6))
    text = said(timed=[(check, "by the chain")])
    assert "102.5 ± 1.2 vehicles an hour by the chain; the site states 110: they DISAGREE" in text


@pytest.mark.parametrize(
    ("rate", "words"),
    [(90, "70–80, 75"), (100, "72–83, 77.5 (between)"), (200, "74–86, 80 (nearest)")],
)
def test_each_band_says_where_it_is_from(rate, words):
    assert f"Side brush {words}" in said(rates=(rate,))


def test_the_same_cloth_as_far_as_the_band_allows():
    text = said(rates=(90, 110))
    assert "Side brush 39.5 Hz, 71.1 r/min, 109 % (lower limit) 44.5 Hz, 80.1 r/min, 100 %" in text
    assert "in band" not in text


def test_a_brush_that_may_lie_outside_its_band_is_told_by_its_chance():
    """In steps of 5 Hz, 9 r/min each, the nearest lies at the very limit of a narrow band."""
    drive = {**BRUSH["drive"], "hz_step": 5}
    narrow = [{"line_rate_per_h": 110, "rpm": [79, 81]}]
    text = said(rates=(110,), machines={"brush": {**BRUSH, "drive": drive, "speed_band": narrow}})
    assert "45 Hz, 81.0 r/min, 101 %, only 50 % in band" in text


def test_a_machine_with_several_rates_has_one_row_in_each_table():
    ledger, matching = matched(rates=(90, 100, 110))
    tables = [block for block in line_page(ledger, matching).blocks if isinstance(block, Table)]
    assert [len(table.rows) for table in tables] == [1, 1, 1, 1]
    assert [len(table.columns) for table in tables] == [4, 4, 8, 4]


def test_speeds_are_in_the_sites_units():
    si, us = said(rates=(110,)), said(rates=(110,), units="us")
    # π 1.1 80.1/60 = 4.613 m/s, and 11 m/min of line on top; 18 x 80.1/11 contacts a metre.
    assert "Side brush against 4.80 (4.61) 131" in si
    assert "Side brush against 940 (910) 40.0" in us


def test_the_sense_that_must_be_seen():
    assert "Side brush against the travel counterclockwise seen from above not noted yet" in said()


def test_a_brush_that_turned_the_wrong_way_is_loud():
    text = said([visit(0, {"at": "brush", "turning": "with"})])
    assert "with on 2026-01-05: WRONG WAY" in text


def test_a_machine_on_both_sides_has_two_senses():
    text = said(machines={"brush": {**BRUSH, "side": "both", "turns": "with"}})
    assert (
        "counterclockwise seen from above (driver side) and "
        "clockwise seen from above (passenger side)"
    ) in text


def test_what_the_file_does_not_state_is_said():
    assert "not stated not stated not noted yet" in said(machines={"brush": ELECTRIC})


def test_a_site_without_brushes_still_has_a_line():
    bare = {"arch": {"name": "Arch", "kind": "foam-arch", "station": 1}}
    assert "No machine's file states a speed band." in said((), machines=bare)


def test_it_never_says_safe():
    assert "safe" not in said().lower()


def test_the_row_holds_what_the_page_says():
    ledger, matching = matched(rates=(90,))
    check = RateCheck(stated_per_h=110, found=Estimate(value=102.5, u=0.6))
    row = json.loads(
        json.dumps(line_row(ledger.site, matching, [(check, "timed")]), allow_nan=False)
    )

    assert row["by_chain_and_pitch"]["agrees"] is True
    assert row["timed"][0]["line_rate_per_h"] == 102.5
    (brush,) = row["brushes"]
    assert brush["must_be_seen_to_turn"][0]["sense"] == "counterclockwise"
    assert brush["rates"][0]["setting"] == 39.5
    assert brush["rates"][0]["held_by"] == "low limit"
