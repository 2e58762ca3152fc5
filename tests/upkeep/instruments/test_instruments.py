"""Instruments: their errors in the readings, overdue checks, and readings found to be in doubt."""

import math
from datetime import date

import pytest
from small_site import ledger_of, on, visit
from sound_site import SOUND, Files, texts_below

from ledger.book import markdown
from ledger.model.build_site import build_instrument
from ledger.site.pipeline import check, load
from ledger.upkeep.instruments.found import doubt_of, doubts_of, instrument_states
from ledger.upkeep.instruments.page import instruments_page
from ledger.upkeep.speeds.found import shared_parts, speed_results
from ledger.upkeep.speeds.ratios import drive_ratio
from ledger.upkeep.speeds.words import format_ratio, format_with_doubt

TACH = {
    "name": "Laser tachometer",
    "kind": "tachometer",
    "unit": "r/min",
    "max_error_percent": 0.8,
    "resolution": 0.2,
    "serial": "T-20417",
    "checks": [
        {"on": "2026-01-02", "due": "2026-01-31", "certificate": "C-1"},
        {"on": "2026-02-20", "due": "2026-12-31", "result": "out-of-limits"},
        {"on": "2026-03-10"},
    ],
}


def told(**changes):
    return build_instrument("tach-1", {**TACH, **changes})


@pytest.mark.parametrize(
    ("day", "overdue", "out"),
    [
        pytest.param("2025-12-20", None, None, id="before any check"),
        pytest.param("2026-01-02", None, "2026-02-20", id="since the last good check: in doubt"),
        pytest.param("2026-02-01", "2026-01-31", "2026-02-20", id="overdue as well"),
        pytest.param("2026-02-20", None, "2026-02-20", id="on the day it was found out"),
        pytest.param("2026-03-09", None, "2026-02-20", id="used on all the same"),
        pytest.param("2026-03-10", None, None, id="from the next good check on"),
    ],
)
def test_what_speaks_against_an_instrument_on_a_day(day, overdue, out):
    found = told()
    when = date.fromisoformat(day)
    assert found.overdue_since(when) == (overdue and date.fromisoformat(overdue))
    assert found.found_out_on(when) == (out and date.fromisoformat(out))


def read(rpm, **rest):
    return {"at": "brush", "tachometer_rpm": rpm, "found_hz": 38, "instrument": "tach-1", **rest}


def site(*visits, **changes):
    return ledger_of(visits, instruments={"tach-1": {**TACH, **changes}})


def only(ledger):
    (result,) = speed_results(ledger)
    return result


def test_its_own_limits_stand_in_for_an_accuracy():
    result = only(site(visit(1, read(62))))
    assert result.speed.u_shared_rpm == pytest.approx(62 * 0.008 / math.sqrt(3))
    assert result.speed.u_own_rpm == pytest.approx(math.hypot(0.2 / math.sqrt(12), 0.124))
    assert [part.key for part in shared_parts(result)] == ["scale tach-1"]


def test_an_accuracy_beside_the_reading_goes_first():
    result = only(site(visit(1, read(62, accuracy_rpm=0.3))))
    assert result.speed.u_shared_rpm == pytest.approx(0.3 / math.sqrt(3))


def test_the_correction_of_a_certificate_is_added_and_its_doubt_shared():
    """Expanded uncertainty 0.4 % with k = 2: 0.2 % of the reading, after the correction."""
    corrected = {"on": "2026-01-02", "correction_percent": -1, "correction_u_percent": 0.4}
    result = only(site(visit(5, read(62)), checks=[corrected]))
    assert result.speed.rpm == pytest.approx(61.38)
    assert result.speed.u_shared_rpm == pytest.approx(61.38 * 0.002)


def test_one_instrument_errs_alike_on_all_machines_and_another_does_not():
    other = {**TACH, "name": "Second tachometer", "max_error_percent": 0.2, "checks": [{"on": "2026-01-01"}]}  # fmt: skip
    visits = [visit(day, read(62 + day / 10)) for day in (2, 3, 4, 5)]
    visits += [visit(0, {**read(65.2), "instrument": "tach-2"}), visit(9, {**read(65.3), "instrument": "tach-2"})]  # fmt: skip
    ledger = ledger_of(visits, instruments={"tach-1": TACH, "tach-2": other})
    fit = drive_ratio(ledger, ledger.machines["brush"], speed_results(ledger)).fit
    assert fit.apart == ("scale tach-1", "scale tach-2")
    said = format_ratio(
        drive_ratio(ledger, ledger.machines["brush"], speed_results(ledger)), ledger.site
    )
    assert "the tachometer of tach-1 and the tachometer of tach-2 do not agree" in said


def test_doubt_is_told_wherever_a_reading_is_leaned_on():
    ledger = site(visit(20, read(62)), visit(27, read(62.2)))
    first, second = speed_results(ledger)
    out = "Laser tachometer was found out of its limits on 2026-02-20"
    assert (first.doubt, second.doubt) == (out, out)
    assert format_with_doubt(first).endswith(f"({out})")
    ratio = drive_ratio(ledger, ledger.machines["brush"], speed_results(ledger))
    assert f"; 2 readings in doubt: {out}" in format_ratio(ratio, ledger.site)
    assert doubts_of(ledger, ledger.entries[0]) == (out,)
    late = site(visit(40, read(62)), checks=TACH["checks"][:1])
    assert only(late).doubt == "Laser tachometer was due for its check by 2026-01-31"
    assert doubt_of(late, "tach-1", on(3)) == ""
    assert doubt_of(late, "", on(3)) == ""


def test_the_page_names_checks_limits_and_what_is_in_doubt():
    page = markdown.render(instruments_page(site(visit(20, read(62)), visit(80, read(62)))))
    assert "| Laser tachometer | tachometer | 0.8 % | 0.2 r/min | 2026-03-10: within its limits | – | 2 |" in page  # fmt: skip
    assert "2026-02-20: OUT OF ITS LIMITS." in page
    assert "2026-01-25T1000-a-holt#1" in page
    assert "2026-03-26T1000-a-holt#1" not in page


def test_a_step_may_name_an_instrument_of_its_own():
    steps = [{"hz": 38, "tachometer_rpm": 62}, {"hz": 40, "counted": 33, "seconds": 30}]
    ledger = site(visit(1, {"at": "brush", "steps": [{**steps[0], "instrument": "tach-1"}, steps[1]]}))  # fmt: skip
    tach, count = speed_results(ledger)
    assert (tach.entry.instrument, count.entry.instrument) == ("tach-1", "")
    (state,) = instrument_states(ledger)
    assert state.readings == 1


INSTRUMENT = """\
name: Laser tachometer
kind: tachometer
max_error_percent: 0.8
checks:
  - {on: 2026-01-02, due: 2026-06-30}
"""
NEW = "observations/2026/11/2026-11-24T0710-d-fenwold.yaml"
VISIT = "at: 2026-11-24T07:10\nby: d-fenwold\nentries:\n  - {at: brush-p2, tachometer_rpm: 80.4, instrument: tach-1, found_hz: 44}\n"


def rules(texts):
    loaded = load(Files(texts))
    return [(one.rule, one.position.path) for one in check(loaded, date(2026, 12, 1))]


def test_check_asks_about_an_overdue_instrument_and_what_was_read_with_it():
    texts = texts_below(SOUND) | {"instruments/tach-1.yaml": INSTRUMENT, NEW: VISIT}
    assert rules(texts) == [
        ("instrument-overdue", "instruments/tach-1.yaml"),
        ("instrument-in-doubt", NEW),
    ]


def test_an_instrument_that_no_file_describes_is_an_error():
    loaded = load(Files(texts_below(SOUND) | {NEW: VISIT}))
    (one,) = [found for found in loaded.diagnostics if found.is_error]
    assert one.rule == "unknown-instrument"
    assert "instruments/" in one.remedy


def test_a_tachometer_needs_an_accuracy_or_an_instrument():
    bare = VISIT.replace(", instrument: tach-1", "")
    loaded = load(Files(texts_below(SOUND) | {NEW: bare}))
    (one,) = [found for found in loaded.diagnostics if found.is_error]
    assert one.expected == "instrument, accuracy_rpm or accuracy_percent beside tachometer_rpm"
