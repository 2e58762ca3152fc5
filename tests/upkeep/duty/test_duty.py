"""Pumps against their nozzles, worn cloth and energy, as the record tells them."""

import pytest
from example import example_ledger
from small_site import ELECTRIC, LOOK, SITE, ledger_of, visit

from ledger.book import terminal
from ledger.compute.band import Verdict
from ledger.upkeep.duty.found import DutyGroup, duty
from ledger.upkeep.duty.page import duty_page
from ledger.upkeep.figures.words import format_figure

NOZZLE = {"kind": "nozzle", "flow_gpm": 1.0, "at_psi": 40}
MACHINES = {
    "stand": {
        "name": "Pump stand",
        "kind": "pump-stand",
        "station": 10,
        "points": {
            "pump": {"kind": "pump", "flow_gpm": 120, "at_psi": 900},
            "gauge": {"kind": "gauge"},
        },
    },
    "arch": {
        "name": "Arch",
        "kind": "high-pressure-arch",
        "station": 20,
        "fed_by": "stand",
        "points": {
            **{f"small-{n}": NOZZLE for n in range(12)},
            **{f"large-{n}": {**NOZZLE, "flow_gpm": 1.5} for n in range(8)},
        },
    },
    "brush": {
        **ELECTRIC,
        "station": 30,
        "brush": {"diameter_in": 46},
        "speed_band": [{"line_rate_per_h": 110, "rpm": [74, 90]}],
        "points": {"cloth": {"kind": "cloth", "new_length_in": 19}},
    },
}
METERS = {**SITE["meters"], "energy": {"name": "Energy", "counts": "kwh"}}


def figures(*visits, machines=MACHINES):
    made = ledger_of(visits, machines=machines, site={"meters": METERS, "units": "us"})
    found = duty(made)
    return made, {one.name.partition(" (")[0]: one for one in found}, found


def test_the_nozzles_of_a_pump_and_its_power():
    """113.84 gpm and 59.77 hp at 900 psi: a worked example."""
    made, found, _ = figures(visit(1, {"at": "stand/gauge", "pressure_psi": 900}))
    flow, share = found["Flow that its nozzles take"], found["Of what the pump gives"]
    assert format_figure(flow, made).startswith("113.8 ± 1.")
    assert share.found.value == pytest.approx(100 * 113.84 / 120, abs=0.01)
    assert share.verdict is Verdict.IN_BAND
    assert format_figure(found["Power in the water"], made).startswith("59.8 ± ")


def test_the_pressure_at_the_nozzles_is_what_the_line_leaves_of_it():
    """q ~ √p: with 100 of 900 psi lost on the way √(800/900) of 113.84 gpm."""
    arch = {**MACHINES["arch"], "line_loss_psi": 100}
    gauge = visit(1, {"at": "stand/gauge", "pressure_psi": 900})
    _, found, _ = figures(gauge, machines={**MACHINES, "arch": arch})
    flow = found["Flow that its nozzles take"].found
    assert flow.value / 3.785412 == pytest.approx(113.84 * (800 / 900) ** 0.5, rel=1e-4)
    power = found["Power in the water"].found
    assert power.value == pytest.approx(44.57 * (800 / 900) ** 0.5, rel=1e-3)


def test_a_nozzle_that_was_caught_counts_as_caught():
    caught = {"at": "arch/small-0", "caught_oz": 64, "seconds": 20, "pressure_psi": 40}
    gauge = {"at": "stand/gauge", "pressure_psi": 900}
    _, before, _ = figures(visit(1, gauge))
    _, after, _ = figures(visit(1, gauge, caught))
    name = "Flow that its nozzles take"
    # 64 fl oz in 20 s are 1.5 gpm where 1.0 is new: half as much again of one of twelve.
    grown = (after[name].found.value - before[name].found.value) / before[name].found.value
    assert grown == pytest.approx(0.5 * 4.7434 / 113.84, rel=1e-3)


def test_what_a_pump_lacks_is_named():
    made, found, _ = figures()
    assert (
        format_figure(found["Power in the water"], made) == "cannot say: no pressure of its gauge"
    )
    alone = {"stand": MACHINES["stand"], "brush": MACHINES["brush"]}
    made, found, _ = figures(visit(1, {"at": "stand/gauge", "pressure_psi": 900}), machines=alone)
    assert "no machine with nozzles is `fed_by` it" in format_figure(
        found["Power in the water"], made
    )


def test_the_speed_that_worn_cloth_asks_for():
    """46 in, strips 19 in, 82 r/min, band to 90: at 16 in 94.3 r/min; shortest 16.96 in."""
    made, found, _ = figures(visit(1, {"at": "brush/cloth", "strip_length_in": 16}))
    hold = found["Speed for the edge speed of new cloth"]
    assert hold.found.value == pytest.approx(94.3, abs=0.05)
    assert hold.name.endswith("(its band ends at 90)")
    assert hold.verdict is None
    assert format_figure(found["Shortest strips that its band can hold"], made) == "16.96 in"
    edge = found["Edge speed in the middle of its band"]
    assert format_figure(edge, made).startswith("859 ± ")


def test_energy_with_the_idle_load_taken_off():
    def read(week, vehicles, kwh):
        return visit(7 * week, LOOK, meters={"vehicles": vehicles, "energy": kwh})

    visits, vehicles = [read(0, 0, 0)], 0
    for week in range(1, 12):
        vehicles += 5000 + 250 * (week % 5)
        visits.append(read(week, vehicles, round(96 * 7 * week + 0.4 * vehicles)))
    _, found, _ = figures(*visits)
    assert found["Energy: a day without a vehicle"].found.value == pytest.approx(96, abs=1)
    each = found["Energy: a vehicle, idle load off"].found
    assert abs(each.value - 0.4) < 3 * each.u + 1e-3
    made, few, _ = figures(*visits[:4])
    assert "needs 8" in format_figure(few["Energy: a day without a vehicle"], made)


def test_the_page_says_what_pressure_alone_cannot_tell():
    made, _, found = figures(visit(1, {"at": "stand/gauge", "pressure_psi": 900}))
    said = " ".join(terminal.render(duty_page(made, found)).split())
    assert "Pressure alone cannot tell worn nozzles from a worn pump" in said
    empty = ledger_of()
    assert "Nothing to work with yet" in terminal.render(duty_page(empty, ()))


def test_the_example_shows_every_group():
    assert {one.group for one in duty(example_ledger())} == set(DutyGroup)
