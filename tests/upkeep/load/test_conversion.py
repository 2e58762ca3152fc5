import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_site import ELECTRIC, HYDRAULIC, ledger_of, setpoint, visit

from ledger.compute.load import LoadLaw
from ledger.compute.numbers import convert
from ledger.upkeep.load.found import (
    NoConversion,
    ToElectric,
    ToOil,
    convert_machine,
    law_of,
    panel_reports,
    site_load,
    site_pressure_kpa,
    speed_change,
    usual_share_of_base,
)
from ledger.upkeep.speeds.found import speed_results

PANELS = {"panels": {"main": {"name": "Main panel", "rated_a": 60, "volts": 460}}}


def electric(**rest):
    drive = {**ELECTRIC["drive"], "motor_hp": 3, **rest}
    drive.pop("motor_kw", None)
    return {**ELECTRIC, "panel": "main", "drive": drive}


def oil(**rest):
    return {**HYDRAULIC, "drive": {**HYDRAULIC["drive"], "pressure_kpa": 6000, **rest}}


def converted(machine, visits=(), *, machines=None, flow_lpm=None, **asked):
    """The conversion of one machine; `flow_lpm` is in force for an oil motor named `brush`."""
    settings = [setpoint(0, 44)]
    if flow_lpm is not None:
        settings = [
            {k: v for k, v in {**setpoint(0, 1), "flow_lpm": flow_lpm}.items() if k != "hz"}
        ]
    ledger = ledger_of(
        visits, machines=machines, site=PANELS, setpoints=settings if "brush" in machines else ()
    )
    return convert_machine(ledger, ledger.machines[machine], speed_results(ledger), **asked)


def test_from_oil_to_electricity():
    """14 L/min at 60 bar and 160 cm³: T = Δp V/(20 π), n = 1000 Q η/V, P = p Q/600 (makers')."""
    found = converted("brush", machines={"brush": oil()}, flow_lpm=14)

    assert isinstance(found, ToElectric)
    assert found.needs.torque_nm == pytest.approx(60 * 160 / (20 * math.pi))
    assert found.needs.shaft_rpm == pytest.approx(1000 * 14 * 0.95 / 160)
    assert found.needs.shaft_kw == pytest.approx(
        2 * math.pi * found.needs.shaft_rpm * found.needs.torque_nm / 60_000
    )
    assert found.needs.oil_released_kw == pytest.approx(60 * 14 / 600)
    assert found.flow_lpm == 14
    # 1.33 kW are 1.78 hp: the next standard size is 2 hp, 3.4 A at 460 V (NEC Table 430.250).
    assert (found.needs.motor_hp, found.needs.full_load_a) == (2, 3.4)


def test_the_efficiency_is_the_measured_one_where_it_was_read():
    rpm = 1000 * 14 * 0.85 / 160
    visits = [
        visit(day, {"at": "brush", "turns": 60, "seconds": 3600 / rpm, "found_flow_lpm": 14})
        for day in range(4)
    ]
    found = converted("brush", visits, machines={"brush": oil()}, flow_lpm=14)
    assert found.volumetric_efficiency == pytest.approx(0.85)
    assert found.needs.shaft_rpm == pytest.approx(rpm)


def test_a_reduction_behind_the_oil_motor_is_a_larger_motor_to_the_shaft():
    plain = converted("brush", machines={"brush": oil()}, flow_lpm=14)
    geared = converted("brush", machines={"brush": oil(reduction=2)}, flow_lpm=14)

    assert geared.needs.torque_nm == pytest.approx(2 * plain.needs.torque_nm)
    assert geared.needs.shaft_rpm == pytest.approx(plain.needs.shaft_rpm / 2)
    assert geared.needs.shaft_kw == pytest.approx(plain.needs.shaft_kw)


def test_the_feeder_before_and_after():
    """125 % of the largest motor and 100 % of the others (NEC 430.24)."""
    machines = {"brush": oil(), "other": {**electric(), "station": 30}}
    found = converted("brush", machines=machines, flow_lpm=14)
    ((panel, then),) = found.panels

    assert panel.load.required_a == pytest.approx(1.25 * 4.8)
    assert then.required_a == pytest.approx(1.25 * 4.8 + 3.4)
    assert then.rating_a == 60


@pytest.mark.parametrize(
    ("machine", "flow_lpm", "why"),
    [
        (HYDRAULIC, 14, "no pressure"),
        ({**HYDRAULIC, "name": "No setting"}, None, "no pressure"),
        ({"name": "Arch", "kind": "foam-arch", "station": 3}, None, "no drive"),
    ],
)
def test_what_is_missing_is_said(machine, flow_lpm, why):
    ledger = ledger_of(machines={"one": machine}, site=PANELS)
    found = convert_machine(ledger, ledger.machines["one"], ())
    assert isinstance(found, NoConversion)
    assert why in found.why


def test_without_a_flow_in_force_there_is_no_speed_to_match():
    ledger = ledger_of(machines={"low": oil()}, site=PANELS)
    found = convert_machine(ledger, ledger.machines["low"], ())
    assert found.why == "no flow is in force"


def test_from_electricity_to_oil_at_the_speed_of_the_setting():
    """3 hp at 44 of 60 Hz is at most 2.2 hp at the shaft; V = 20 π T/(Δp η) (makers')."""
    visits = [
        visit(day, {"at": "brush", "turns": 40, "seconds": 30, "found_hz": 44}) for day in range(3)
    ]
    found = converted("brush", visits, machines={"brush": electric()}, pressure_kpa=6000)

    assert isinstance(found, ToOil)
    assert found.shaft_rpm == pytest.approx(80)
    assert found.share_of_base_frequency == pytest.approx(44 / 60)
    assert found.needs.shaft_kw == pytest.approx(convert(2.2, "hp", "kw"))
    torque = 60_000 * found.needs.shaft_kw / (2 * math.pi * 80)
    assert found.needs.displacement_cm3 == pytest.approx(20 * math.pi * torque / (60 * 0.90))
    assert found.needs.flow_l_min == pytest.approx(80 * found.needs.displacement_cm3 / 930)
    assert found.needs.amps_released == 4.8


def test_there_and_back_the_shaft_power_is_the_same():
    there = converted("brush", machines={"brush": electric()}, pressure_kpa=6000)
    back = converted(
        "brush",
        machines={"brush": oil(motor_cm3=there.needs.displacement_cm3, volumetric_efficiency=0.93)},
        flow_lpm=there.needs.flow_l_min,
        pressure_kpa=6000,
    )
    # The way back takes no friction off, which the way there put on.
    assert back.needs.shaft_kw * 0.90 == pytest.approx(there.needs.shaft_kw)
    assert back.needs.shaft_rpm == pytest.approx(there.shaft_rpm)


def test_without_a_setting_the_nameplate_speed_serves():
    ledger = ledger_of(machines={"brush": electric()}, site=PANELS)
    found = convert_machine(ledger, ledger.machines["brush"], (), pressure_kpa=6000)
    assert found.shaft_rpm == pytest.approx(1740 / 16)
    assert found.share_of_base_frequency == 1


@pytest.mark.parametrize(
    ("drive", "why"),
    [
        ({"type": "electric"}, "no motor power"),
        ({"type": "electric", "motor_hp": 150}, "above the motor sizes"),
        ({"type": "electric", "motor_hp": 3}, "tell its speed"),
    ],
)
def test_what_an_electric_machine_lacks_is_said(drive, why):
    ledger = ledger_of(machines={"one": {**ELECTRIC, "drive": drive}}, site=PANELS)
    found = convert_machine(ledger, ledger.machines["one"], (), pressure_kpa=6000)
    assert why in found.why


def test_oil_pressure_comes_from_the_sites_other_machines():
    machines = {
        "brush": electric(),
        "low": oil(),
        "lower": {**oil(pressure_kpa=7000), "station": 40},
    }
    ledger = ledger_of(machines=machines, site=PANELS)
    assert site_pressure_kpa(ledger) == 7000
    assert convert_machine(ledger, ledger.machines["brush"], ()).pressure_kpa == 7000


def test_volts_are_the_panels_or_those_all_panels_share():
    two = {
        "panels": {**PANELS["panels"], "old": {"name": "Old panel", "rated_a": 60, "volts": 230}}
    }
    machines = {"brush": electric(), "low": oil()}
    ledger = ledger_of(machines=machines, site=two)

    assert convert_machine(ledger, ledger.machines["brush"], ()).volts == 460
    assert "volts" in convert_machine(ledger, ledger.machines["low"], ()).why
    asked = convert_machine(ledger, ledger.machines["brush"], (), volts=230)
    assert asked.needs.amps_released == 9.6


def test_a_drive_that_takes_over_runs_as_the_others_do():
    ledger = ledger_of(machines={"brush": electric()}, setpoints=[setpoint(0, 45)], site=PANELS)
    assert usual_share_of_base(ledger) == 0.75
    assert usual_share_of_base(ledger_of(machines={"low": oil()})) == 1


def test_electric_machines_are_converted_only_where_there_is_oil():
    dry = ledger_of(machines={"brush": electric()}, site=PANELS)
    wet = ledger_of(machines={"brush": electric(), "low": oil()}, site=PANELS)
    assert site_load(dry).conversions == ()
    assert [one.machine.ident for one in site_load(wet).conversions] == ["brush", "low"]


class TestPanels:
    def report(self, *drives, volts=460, rated=60, **rest):
        machines = {
            f"m{number}": {"name": f"M {number}", "kind": "other", "station": number, "panel": "main", "drive": drive, **rest}
            for number, drive in enumerate(drives)
        }  # fmt: skip
        site = {"panels": {"main": {"name": "Main", "rated_a": rated, "volts": volts}}}
        (report,) = panel_reports(ledger_of(machines=machines, site=site))
        return report

    def test_amps_are_the_tables_and_the_largest_counts_125_percent(self):
        """NEC Table 430.250 at 460 V: 3 hp 4.8, 10 hp 14, 15 hp 21; 430.24 over them."""
        report = self.report(
            *({"type": "electric", "motor_hp": hp} for hp in (3, 10, 15)), rated=50
        )
        assert [motor.table_a for motor in report.motors] == [4.8, 14, 21]
        assert report.load.connected_a == pytest.approx(39.8)
        assert report.load.required_a == pytest.approx(39.8 + 0.25 * 21)
        assert report.load.spare_a == pytest.approx(50 - 45.05)

    def test_an_odd_size_takes_the_next_standard_one(self):
        """2.2 kW are 2.95 hp."""
        (motor,) = self.report({"type": "electric", "motor_kw": 2.2}).motors
        assert (motor.size_hp, motor.amps) == (3, 4.8)

    def test_where_the_table_has_no_such_voltage_the_nameplate_counts(self):
        report = self.report({"type": "electric", "motor_kw": 2.2, "full_load_a": 4.9}, volts=400)
        assert report.motors[0].table_a is None
        assert report.load.connected_a == 4.9

    def test_a_motor_of_unknown_power_is_named_and_not_counted(self):
        report = self.report({"type": "electric"}, {"type": "electric", "motor_hp": 3})
        assert [machine.ident for machine in report.uncounted] == ["m0"]
        assert report.load.connected_a == 4.8

    def test_what_was_taken_out_of_service_is_left_out(self):
        gone = self.report({"type": "electric", "motor_hp": 3}, out_of_service="2026-02-01")
        assert gone.motors == ()
        assert gone.load.required_a == 0


def blower(**rest):
    drive = {"type": "electric", "motor_hp": 10, **rest}
    return ledger_of(
        machines={"one": {"name": "Blower", "kind": "blower", "station": 1, "drive": drive}}
    ).machines["one"]


def test_a_blower_by_the_affinity_laws():
    """10 hp from 60 to 50 Hz: 5.79 hp (affinity laws, worked)."""
    change = speed_change(blower(), LoadLaw.FAN, from_speed=60, to_speed=50, full_speed=60)
    assert convert(change.power_kw, "kw", "hp") == pytest.approx(5.787, abs=5e-4)
    assert change.shares.flow == pytest.approx(5 / 6)
    assert change.shares.pressure == pytest.approx(25 / 36)


def test_power_is_bounded_from_full_speed_wherever_the_change_starts():
    change = speed_change(
        blower(), LoadLaw.CONSTANT_TORQUE, from_speed=45, to_speed=30, full_speed=60
    )
    assert change.shares.power == pytest.approx(2 / 3)
    assert convert(change.power_kw, "kw", "hp") == pytest.approx(5)
    assert change.shares.pressure == 1


def test_without_full_speed_or_power_there_is_no_bound():
    assert speed_change(blower(), LoadLaw.FAN, from_speed=1, to_speed=0.5).power_kw is None


@given(to=st.floats(0, 60), law=st.sampled_from(LoadLaw))
def test_slower_never_asks_for_more(to, law):
    change = speed_change(BLOWER, law, from_speed=60, to_speed=to, full_speed=60)
    assert change.shares.power <= 1
    assert change.shares.flow <= 1
    assert change.shares.power <= change.shares.flow + 1e-12


BLOWER = blower()


def test_the_kind_tells_the_law_or_leaves_it_open():
    kinds = {"blower": LoadLaw.FAN, "side-brush": LoadLaw.CONSTANT_TORQUE, "reclaim": None}
    for kind, law in kinds.items():
        machine = ledger_of(machines={"one": {"name": "One", "kind": kind, "station": 1}})
        assert law_of(machine.machines["one"]) is law
