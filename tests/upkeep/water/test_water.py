"""What the record says of water and chemistry, and where it cannot."""

import pytest
from example import example_ledger
from small_site import SITE, ledger_of, visit

from ledger.book import terminal
from ledger.book.flat import json_rows
from ledger.compute.band import Verdict
from ledger.upkeep.figures.words import figures_table, format_band, format_figure
from ledger.upkeep.water.found import WaterGroup, water
from ledger.upkeep.water.page import water_page

MACHINES = {
    "softener": {
        "name": "Softener",
        "kind": "softener",
        "station": 10,
        "points": {
            "raw": {"kind": "tap", "stream": "raw"},
            "soft": {"kind": "tap", "stream": "softened", "bands": {"hardness_mg_l": [0, 17]}},
            "resin": {"kind": "resin", "capacity_grains": 90_000, "reserve_percent": 15},
        },
    },
    "ro": {
        "name": "Membrane",
        "kind": "reverse-osmosis",
        "station": 20,
        "points": {
            "membrane": {"kind": "membrane", "flow_gpm": 6.06, "at_psi": 150},
            "feed": {"kind": "tap", "stream": "feed"},
            "product": {"kind": "tap", "stream": "product"},
            "reject": {"kind": "tap", "stream": "reject"},
        },
    },
    "dosing": {
        "name": "Dosing",
        "kind": "dosing",
        "station": 30,
        "points": {
            "drum": {"kind": "tank", "inside_in": 22.5},
            "keg": {"kind": "tank", "holds_l": 60},
            "injector": {"kind": "injector", "parts_water": 49, "drum": "dosing/drum"},
            "second": {"kind": "injector", "drum": "dosing/keg"},
        },
    },
}
METERS = {
    **SITE["meters"],
    "fresh": {"name": "Fresh", "counts": "gal", "stream": "fresh"},
    "old": {"name": "Reclaimed", "counts": "l", "stream": "reclaim"},
}


def figures(*visits, **site):
    made = ledger_of(visits, machines=MACHINES, site={"meters": METERS, **site})
    return made, {(one.group, one.name, str(one.place or one.day)): one for one in water(made)}


def one(found, group, name, where):
    return found[group, name, where]


def said(made, figure):
    return format_figure(figure, made)


def test_a_reading_is_held_against_the_band_of_its_point():
    soft = {"at": "softener/soft", "hardness_mg_l": 40}
    made, found = figures(visit(1, soft), visit(2, {**soft, "hardness_mg_l": 0}))
    figure = one(found, WaterGroup.READINGS, "Hardness", "softener/soft")
    assert (figure.verdict, said(made, figure)) == (Verdict.IN_BAND, "0.0 ± 9.8 mg/L")
    assert format_band(figure, made) == "at most 17 mg/L"
    _, found = figures(visit(1, soft))
    assert (
        one(found, WaterGroup.READINGS, "Hardness", "softener/soft").verdict is Verdict.OUT_OF_BAND
    )


def test_a_softener_run_against_its_capacity():
    """90 000 grains, 12 gpg, 15 % reserve: 6375 gal, a worked example."""
    raw = {"at": "softener/raw", "hardness_gpg": 12}
    run = {"at": "softener/resin", "run_gal": 7200}
    made, found = figures(visit(1, raw, run), units="us")
    most = one(found, WaterGroup.SOFTENER, "Water that the resin softens", "softener/resin")
    share = one(found, WaterGroup.SOFTENER, "Share of that already run", "softener/resin")
    assert said(made, most).startswith("6370 ± ")
    assert share.found.value == pytest.approx(100 * 7200 / 6375, rel=1e-3)
    assert share.verdict is Verdict.OUT_OF_BAND
    made, found = figures(visit(1, run))
    lacking = one(found, WaterGroup.SOFTENER, "Share of that already run", "softener/resin")
    assert said(made, lacking) == "cannot say: no hardness of the raw water"
    assert json_rows(figures_table([lacking]))[0]["cannot_say"] == "no hardness of the raw water"


FEED = {"at": "ro/feed", "conductivity_us_cm": 480, "pressure_psi": 172, "temperature_c": 12}
PRODUCT = {"at": "ro/product", "conductivity_us_cm": 14, "flow_gpm": 4.2}
REJECT = {"at": "ro/reject", "flow_gpm": 2.8, "pressure_psi": 167.4}


def test_a_membrane_by_the_readings_of_one_day():
    """Recovery 0.600, rejection 97.08 %, 6.06 gpm at 25 °C and 150 psi: worked examples.

    Net pressure is 172 - 2.3 - 4.7 = 165 psi, the osmotic part by 1 psi for 100 mg/L of TDS.
    """
    made, found = figures(visit(1, FEED, PRODUCT, REJECT))
    values = {
        one.name: one.found.value for one in found.values() if one.group is WaterGroup.MEMBRANE
    }
    assert values == {
        "Recovery": pytest.approx(60.0),
        "Salt held back": pytest.approx(97.08, abs=5e-3),
        "Flow at 25 °C and its net pressure, of new": pytest.approx(100, abs=0.2),
    }
    made, found = figures(visit(1, FEED, REJECT), visit(2, PRODUCT))
    lacking = one(found, WaterGroup.MEMBRANE, "Recovery", "ro")
    assert said(made, lacking) == "cannot say: no flow of the reject on 2026-01-07"


def titrated(drops, blank, reference, parts=49):
    return {
        "at": "dosing/injector",
        "drops": drops,
        "blank_drops": blank,
        "reference_drops": reference,
        "reference_parts": parts,
    }


@pytest.mark.parametrize(
    ("entry", "verdict", "words"),
    [
        pytest.param(titrated(7, 2, 7), Verdict.CANNOT_TELL, "49.0 ± 8.2 to 1 (2.00 %)", id="five drops cannot prove a tenth"),
        pytest.param(titrated(42, 2, 42), Verdict.IN_BAND, "49.0 ± 1.0 to 1 (2.00 %)", id="forty drops"),
        pytest.param(titrated(7, 2, 12), Verdict.OUT_OF_BAND, "99 ± 14 to 1 (1.00 %)", id="half as strong: 1 in 100 (carwash.com/articles/print/88332)"),
        pytest.param(titrated(3, 2, 12), None, "cannot say: too few drops over the blank", id="one drop over the blank"),
    ],
)  # fmt: skip
def test_a_dilution_by_titration(entry, verdict, words):
    made, found = figures(visit(1, entry))
    figure = one(found, WaterGroup.CHEMICALS, "Dilution", "dosing/injector")
    assert (figure.verdict, said(made, figure)) == (verdict, words)
    assert format_band(figure, made) == "44.1–53.9 to 1"


def level(day, inches, vehicles, **more):
    return visit(
        day, {"at": "dosing/drum", "depth_in": inches, **more}, meters={"vehicles": vehicles}
    )


def test_product_a_vehicle_by_its_drum_leaves_out_a_stretch_with_a_fill():
    """8.0 in of a drum of 22.5 in over 1840 vehicles: 0.958 fl oz, a worked example."""
    filled = level(2, 24, 3000)
    made, found = figures(
        level(0, 28, 0), level(1, 24, 920), filled, level(3, 20, 3920), units="us"
    )
    by_drum = one(found, WaterGroup.CHEMICALS, "Product a vehicle, by its drum", "dosing/injector")
    plain = 8 / (920 + 2080 + 920) * 1.7212 * 128
    assert made.site.units == "us"
    assert by_drum.found.value == pytest.approx(plain * 29.5735, rel=1e-3)
    made, found = figures(
        level(0, 28, 0), level(1, 24, 920), level(2, 30, 3000), level(3, 26, 3920), units="us"
    )
    by_drum = one(found, WaterGroup.CHEMICALS, "Product a vehicle, by its drum", "dosing/injector")
    assert said(made, by_drum).startswith("0.958 ± ")
    assert by_drum.found.u / by_drum.found.value == pytest.approx(0.018, abs=1e-3)


def test_a_fill_that_was_written_down_ends_a_stretch_though_the_level_fell():
    """4.0 in over 920 vehicles before and after; 4 in less after 2080 of them with one between."""
    fill = visit(2, {"part": "soap", "used": 1, "at": "dosing/drum"}, time="07:00")
    read = (level(0, 28, 0), level(1, 24, 920), level(3, 20, 3000), level(4, 16, 3920))
    parts = {"soap": {"name": "Soap", "kind": "consumable", "unit": "pail"}}
    for visits, inches, vehicles in ((read, 12, 3920), ((*read, fill), 8, 1840)):
        made = ledger_of(visits, machines=MACHINES, site={"meters": METERS}, parts=parts)
        found = {(one.group, one.name, str(one.place or one.day)): one for one in water(made)}
        by_drum = one(
            found, WaterGroup.CHEMICALS, "Product a vehicle, by its drum", "dosing/injector"
        )
        plain = inches / vehicles * 1.7212 * 128
        assert by_drum.found.value == pytest.approx(plain * 29.5735, rel=1e-3)


def test_a_keg_by_its_percent_and_a_dose_by_flow_and_time():
    keg = [
        visit(d, {"at": "dosing/keg", "level_percent": p}, meters={"vehicles": v})
        for d, p, v in ((1, 90, 0), (8, 40, 3000))
    ]
    timed = {**titrated(42, 2, 42), "flow_lpm": 6, "open_seconds": 10}
    made, found = figures(*keg, visit(9, timed))
    by_keg = one(found, WaterGroup.CHEMICALS, "Product a vehicle, by its drum", "dosing/second")
    assert by_keg.found.value == pytest.approx(10.0)
    dose = one(
        found, WaterGroup.CHEMICALS, "Product a vehicle, by flow and time", "dosing/injector"
    )
    assert dose.found.value == pytest.approx(1000 / 50)
    other = one(found, WaterGroup.CHEMICALS, "Dilution", "dosing/second")
    assert (other.band, said(made, other)) == (None, "cannot say: no titration of the injector")


def test_water_a_vehicle_and_the_reclaimed_share_of_a_month():
    """48 250 gal over 2130 vehicles: 22.65 gal; 18 fresh of 62: 71 %. Worked examples."""
    look = {"at": "softener", "finding": "none"}
    ends = [
        visit(d, look, meters={"vehicles": v, "fresh": f, "old": o})
        for d, v, f, o in (
            (27, 0, 0, 0),
            (55, 2130, 48_250, round(48_250 * 44 / 18 * 3.785411784)),
        )
    ]
    later = visit(116, look, meters={"vehicles": 9000, "fresh": 200_000, "old": 2_000_000})
    made, found = figures(*ends, later, units="us")
    assert {day for group, _, day in found if group is WaterGroup.USE} == {
        "2026-02-01",
        "2026-03-01",
        "2026-04-01",
    }
    water_of = one(found, WaterGroup.USE, "Fresh water a vehicle", "2026-02-01")
    assert said(made, water_of).startswith("22.65 ± ")
    assert one(found, WaterGroup.USE, "Reclaimed share", "2026-02-01").found.value == pytest.approx(
        71, abs=0.05
    )
    after = one(found, WaterGroup.USE, "Fresh water a vehicle", "2026-03-01")
    assert "no reading of the meter within a week of 2026-04-01" in said(made, after)


def test_a_site_without_any_says_what_would_tell():
    made = ledger_of([])
    assert "Nothing is read yet" in terminal.render(water_page(made, water(made)))


def test_the_example_shows_every_group_and_what_is_out_of_band():
    found = water(example_ledger())
    assert {one.group for one in found} == set(WaterGroup)
    out = {(str(one.place), one.name) for one in found if one.verdict is Verdict.OUT_OF_BAND}
    assert out == {
        ("dosing/injector-wax", "Dilution"),
        ("reverse-osmosis", "Flow at 25 °C and its net pressure, of new"),
    }
