import json

import pytest
from small_site import ELECTRIC, HYDRAULIC, ledger_of, setpoint

from ledger.book import terminal
from ledger.book.blocks import Caution
from ledger.compute.load import LoadLaw
from ledger.upkeep.load.found import (
    convert_machine,
    panel_reports,
    site_load,
    speed_change,
)
from ledger.upkeep.load.page import load_page, machine_load_page
from ledger.upkeep.load.table import conversion_row, load_row, speed_change_row

PANELS = {"panels": {"main": {"name": "Main panel", "rated_a": 20, "volts": 460}}}
BLOWER = {
    "name": "Blower", "kind": "blower", "station": 50, "panel": "main",
    "drive": {"type": "electric", "motor_hp": 10},
}  # fmt: skip
FLOW = [{k: v for k, v in {**setpoint(0, 1), "flow_lpm": 14}.items() if k != "hz"}]
LOW = {**HYDRAULIC, "drive": {**HYDRAULIC["drive"], "pressure_kpa": 6000}}
MACHINES = {
    "brush": LOW,  # the small site's settings belong to the machine of this name
    "side": {**ELECTRIC, "station": 40, "panel": "main"},
    "blower": BLOWER,
}


def loaded(machines=MACHINES, setpoints=FLOW, **site):
    ledger = ledger_of(machines=machines, setpoints=setpoints, site={**PANELS, **site})
    return ledger, site_load(ledger)


def folded(page):
    text = terminal.render(page, 300)
    return "\n".join(" ".join(line.split()) for line in text.splitlines())


def said(*args, **kwargs):
    return folded(load_page(*loaded(*args, **kwargs)))


def test_electrician_and_code_decide_and_nothing_is_called_safe():
    page = load_page(*loaded())
    assert (page.path, page.as_of) == ("load.md", "")
    assert isinstance(page.blocks[0], Caution)
    text = folded(page)
    assert "A licensed electrician and the local code decide what is built" in text
    assert "safe" not in text.lower()


def test_a_panel_against_its_rating():
    """2.2 kW is 3 hp, 4.8 A; 10 hp is 14 A; a quarter more of the larger (NEC 430.250, 430.24)."""
    assert "Main panel 2 18.8 A 22.3 A 20 A EXCEEDED by 2.3 A" in said()
    wide = {"panels": {"main": {**PANELS["panels"]["main"], "rated_a": 60}}}
    assert "Main panel 2 18.8 A 22.3 A 60 A 37.7 A" in said(**wide)


def test_the_next_standard_size_and_the_nameplate_stand_side_by_side():
    assert "Side brush 3 hp 4.8 A 4.8 A" in said()
    assert "Blower 10 hp 14 A –" in said()


def test_from_oil_to_electricity_in_sentences():
    text = said()
    assert (
        "Now 14.0 L/min of oil at a drop of 6000 kPa, volumetric efficiency 95 %: 83.1 r/min"
        in text
    )
    assert "the next standard size is 2 hp, full-load current 3.4 A at 460 V" in text
    assert (
        "Freed at the pump, because this motor no longer needs it: 14.0 L/min and 1.40 kW in the oil."
        in text
    )
    assert "On Main panel the feeder's load would go from 22.3 to 25.7 A of 20 A: more than its rating." in text  # fmt: skip


def test_from_electricity_to_oil_in_a_table():
    text = said()
    assert "At the site's 6000 kPa and the speed of each setting in force" in text
    assert "Side brush 3 hp 108.8" in text


def test_amounts_are_in_the_sites_units():
    text = said(units="us")
    assert "Now 3.70 gpm of oil at a drop of 870 psi" in text
    assert "in³" in text
    assert "lbf·ft" in text


def test_blowers_at_other_speeds():
    """By the affinity laws 80 % of the speed takes 51 % of the power (0.8 cubed)."""
    assert "Blower 80 % 80 % 64 % 51 % 3.82 kW" in said()


def test_a_site_without_panels_or_oil():
    text = folded(
        load_page(*((ledger := ledger_of(machines={"side": ELECTRIC})), site_load(ledger)))
    )
    assert "The site states no panels." in text
    assert "No machine with a flow setting." in text
    assert "From electricity to oil" not in text


def test_a_motor_that_cannot_be_counted_is_named():
    unknown = {**BLOWER, "drive": {"type": "electric"}}
    text = said({**MACHINES, "blower": unknown})
    assert "Not counted, as neither power nor amps are stated: Blower." in text


def test_what_cannot_be_converted_says_why():
    text = said({**MACHINES, "brush": HYDRAULIC}, FLOW)
    assert "Cannot be converted on paper: its file states no pressure." in text


def test_one_machine_with_its_panel():
    ledger, _ = loaded()
    side = ledger.machines["side"]
    conversion = convert_machine(ledger, side, ())
    text = folded(machine_load_page(ledger, side, conversion, panel_reports(ledger)[0], None))
    assert "An oil motor at 6000 kPa would be" in text
    assert (
        "Freed on its panel, as this motor is taken out: 4.8 A at 460 V by the code's table."
        in text
    )
    assert "Main panel 2 18.8 A" in text


def test_one_machine_at_another_speed():
    ledger, _ = loaded()
    blower = ledger.machines["blower"]
    fan = speed_change(blower, LoadLaw.FAN, from_speed=60, to_speed=50, full_speed=60)
    steady = speed_change(blower, LoadLaw.CONSTANT_TORQUE, from_speed=60, to_speed=30)
    text = folded(machine_load_page(ledger, blower, None, None, fan))
    assert "From 60 to 50: power 58 %, at most 4.32 kW; flow 83 %, pressure 69 %." in text
    assert "without static head" in text
    assert "From 60 to 30: power 50 %." in folded(
        machine_load_page(ledger, blower, None, None, steady)
    )


def test_the_rows_hold_what_the_pages_say():
    ledger, found = loaded()
    row = json.loads(json.dumps(load_row(found), allow_nan=False))

    assert row["panels"][0]["required_a"] == pytest.approx(22.3)
    to_electric, to_oil = row["conversions"]
    assert (to_electric["to"], to_electric["motor_hp"]) == ("electric", 2)
    assert "licensed electrician" in to_electric["caution"]
    assert (to_oil["to"], to_oil["amps_released"]) == ("hydraulic", 4.8)
    arch = ledger_of(machines={"arch": {"name": "Arch", "kind": "foam-arch", "station": 1}})
    gap = conversion_row(convert_machine(arch, arch.machines["arch"], ()))
    assert gap == {"machine": "arch", "to": None, "because": "neither its panel nor the site's tell the volts"}  # fmt: skip
    change = speed_change(ledger.machines["blower"], LoadLaw.FAN, from_speed=1, to_speed=0.5)
    assert speed_change_row(change)["power_share"] == 0.125


def test_a_panel_with_drives_by_their_input_currents():
    assert "cannot tell, `input_a` is not stated of Side brush" in said().replace("‘", "`")
    with_input = {**ELECTRIC, "drive": {**ELECTRIC["drive"], "input_a": 6.2}}
    text = said({**MACHINES, "side": {**MACHINES["side"], "drive": with_input["drive"]}})
    assert "must carry 23.7 A (125 % of the largest) or 25.2 A (125 % of every drive)" in text
    assert "the larger is MORE THAN ITS RATING" in text
