"""An entry in one sentence: every quantity with its unit, in the units of the site."""

import pytest
from small_site import ledger_of, visit

from ledger.book.entry_words import format_entry

TASK = {"title": "Grease", "on": {"points": "rotating-bearing"}, "every": "1 week"}
PART = {"name": "Grease EP 2", "kind": "consumable", "unit": "g"}


def said(entry, units="si", before=()):
    ledger = ledger_of(
        [visit(0, *before), visit(1, entry)] if before else [visit(1, entry)],
        tasks={"grease": TASK}, parts={"ep2": PART}, site={"units": units},
    )  # fmt: skip
    return format_entry(ledger, ledger.entries[-1])


@pytest.mark.parametrize(
    ("entry", "si", "us"),
    [
        ({"at": "brush/nozzle", "caught_ml": 500, "seconds": 15, "pressure_kpa": 300}, "caught 500 mL in 15 s; 300 kPa", "caught 16.9 fl oz in 15 s; 44 psi"),
        ({"at": "brush/chain", "pitches": 10, "length_mm": 1016}, "10 pitches measure 1016.0 mm", "10 pitches measure 40.00 in"),
        ({"at": "brush/cloth", "strip_length_mm": 450}, "strips 450.0 mm long", "strips 17.72 in long"),
        ({"at": "brush", "deflection_mm": 6.5}, "belt gives 6.5 mm", "belt gives 0.26 in"),
        ({"at": "brush", "temperature_c": 100}, "100 °C", "212 °F"),
        ({"at": "brush", "temperature_c": -40}, "−40 °C", "−40 °F"),
        ({"at": "low", "found_flow_lpm": 15.14, "left_flow_lpm": 16}, "found at 15.1 L/min; left at 16.0 L/min", "found at 4.00 gpm; left at 4.23 gpm"),
        ({"at": "brush", "found_hz": 44.5}, "found at 44.5 Hz", "found at 44.5 Hz"),
        ({"at": "brush", "current_a": 0}, "0 A", "0 A"),
        ({"at": "brush", "level_percent": 60}, "level 60 %", "level 60 %"),
        ({"at": "brush", "insulation_mohm": 550}, "550 MΩ", "550 MΩ"),
        ({"at": "brush", "bounces": 1}, "1 bounce", "1 bounce"),
        ({"at": "brush", "hardness_gpg": 12, "chlorine_ppm": 0.1}, "hardness 205 mg/L; 0.1 ppm of free chlorine", "hardness 12.0 gpg; 0.1 ppm of free chlorine"),
        ({"at": "brush", "ph": 7.2, "conductivity_us_cm": 480}, "pH 7.2; 480 µS/cm", "pH 7.2; 480 µS/cm"),
        ({"at": "brush", "flow_lpm": 7.570824, "run_gal": 4800, "depth_in": 24}, "flows 7.6 L/min; 609.6 mm deep; 18170 L since the last regeneration", "flows 2.00 gpm; 24.00 in deep; 4800 gal since the last regeneration"),
        ({"at": "brush", "drops": 18, "blank_drops": 1, "reference_drops": 20, "reference_parts": 64}, "18 drops, blank 1 drop; mixed 64 to 1 20 drops", "18 drops, blank 1 drop; mixed 64 to 1 20 drops"),
        ({"at": "brush", "turning": "with"}, "turns with the travel", "turns with the travel"),
    ],
    ids=lambda case: " ".join(list(case)[1:]) if isinstance(case, dict) else "",
)  # fmt: skip
def test_readings_in_the_units_of_the_site(entry, si, us):
    assert said(entry).replace("-40", "−40") == si
    assert said(entry, "us").replace("-40", "−40") == us


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        ({"task": "grease", "at": "brush", "strokes": 3}, "Grease; 3 strokes each"),
        ({"task": "grease", "at": "brush", "strokes": 1}, "Grease; 1 stroke each"),
        ({"task": "grease", "outcome": "not-done", "reason": "line ran"}, "not done: Grease; reason: line ran"),
        ({"finding": "loud", "at": "brush", "urgency": "now", "failed": True, "stopped_minutes": 75}, "found (now, a failure): loud; stopped for 1 h 15 min"),
        ({"stop": "vehicle", "stopped_minutes": 12}, "stopped for 12 min (vehicle)"),
        ({"changed": "hydraulic-motor", "at": "low", "note": "two\nlines"}, "changed: hydraulic motor; two lines"),
        ({"part": "ep2", "used": 20}, "used: 20 g of Grease EP 2"),
        ({"part": "ep2", "received": 397, "on_hand": 794}, "received: 397 g of Grease EP 2; counted on the shelf: 794 g of Grease EP 2"),
    ],
    ids=lambda case: next(iter(case)) if isinstance(case, dict) else "",
)  # fmt: skip
def test_what_was_done_or_found(entry, words):
    assert said(entry) == words


def test_corrections_and_closures_name_what_they_are_about():
    first = {"finding": "loud", "at": "brush"}
    about = "2026-01-05T1000-a-holt#1"
    assert said({"closes": about}, before=[first]) == f"closes {about}"
    assert said({"corrects": about, "reason": "wrong brush", "void": True}, before=[first]) == f"strikes out {about} (wrong brush)"  # fmt: skip
    assert said({"finding": "loud", "at": "low", "corrects": about, "reason": "wrong brush"}, before=[first]) == f"corrects {about} (wrong brush); found (soon): loud"  # fmt: skip
