"""Converting one machine between oil and electricity."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.load import (
    electric_instead,
    feeder_by_drive_inputs,
    hydraulic_instead,
    panel_load,
    torque_nm,
)
from ledger.compute.numbers import NoAnswer, convert


@pytest.mark.parametrize(
    ("motor_hp", "rpm", "lbf_ft"),
    [(10, 1750, 30.0), (1, 3450, 1.5), (5, 1000, 26.3), (100, 500, 1050)],
    ids=["published motor torque calculator", *["published motor table hp, torque, rpm"] * 3],
)
def test_torque_of_a_motor(motor_hp, rpm, lbf_ft):
    found = torque_nm(convert(motor_hp, "hp", "kw"), rpm)
    assert convert(found, "nm", "lbf_ft") == pytest.approx(lbf_ft, rel=0.02)


def test_oil_power_released_is_flow_times_pressure():
    # Published pump example: 20 gpm at 1500 psi, q p/1714 = 17.5 hp.
    drive = {
        "pressure_drop_bar": convert(1500, "psi", "bar"),
        "flow_l_min": convert(20, "gpm", "l_min"),
        "displacement_cm3": 100,
    }
    found = electric_instead(**drive, volts=460)
    assert convert(found.oil_released_kw, "kw", "hp") == pytest.approx(17.5, abs=0.05)
    # Without losses the shaft gives back what the oil brought.
    assert found.shaft_kw == pytest.approx(found.oil_released_kw)
    assert found.motor_hp == 20
    assert found.full_load_a == 27


def test_speed_of_the_replaced_motor():
    # Published: 40 L/min, η_v 0.95, 160 cm³ give 237.5 r/min.
    drive = {
        "pressure_drop_bar": 60,
        "flow_l_min": 40,
        "displacement_cm3": 160,
        "volumetric_efficiency": 0.95,
    }
    found = electric_instead(**drive, volts=230)
    assert found.shaft_rpm == pytest.approx(237.5)


def test_torque_of_the_replaced_motor():
    # Published: 500 psi on 0.36 in³ give 28.647 lbf·in.
    drive = {
        "pressure_drop_bar": convert(500, "psi", "bar"),
        "flow_l_min": 1,
        "displacement_cm3": convert(0.36, "in3", "cm3"),
    }
    found = electric_instead(**drive, volts=230)
    assert convert(found.torque_nm, "nm", "lbf_in") == pytest.approx(28.647, abs=1e-3)


def test_below_base_frequency_a_larger_motor_is_wanted():
    drive = {"pressure_drop_bar": 60, "flow_l_min": 20, "displacement_cm3": 250}
    full = electric_instead(**drive, volts=460)
    slow = electric_instead(**drive, volts=460, share_of_base_frequency=0.5)
    assert slow.motor_kw == pytest.approx(2 * full.motor_kw)


def test_a_power_above_the_table_has_neither_size_nor_amps():
    drive = {"pressure_drop_bar": 300, "flow_l_min": 400, "displacement_cm3": 250}
    found = electric_instead(**drive, volts=460)
    assert isinstance(found.motor_hp, NoAnswer)
    assert isinstance(found.full_load_a, NoAnswer)


def test_a_three_horsepower_brush_by_oil():
    found = hydraulic_instead(
        motor_hp=3, volts=460, shaft_rpm=80, pressure_drop_bar=70, pump_efficiency=0.85
    )
    assert found.amps_released == 4.8
    assert found.oil_kw == pytest.approx(found.shaft_kw)
    assert found.pump_kw == pytest.approx(found.oil_kw / 0.85)


def test_an_oil_motor_that_rubs_is_larger_by_what_it_loses():
    """V = 20 pi T/(dp eta), by hand: 3 hp at 80 r/min are 267.03 N m."""
    asked = {"motor_hp": 3, "volts": 460, "shaft_rpm": 80, "pressure_drop_bar": 70}
    found = hydraulic_instead(**asked, mechanical_efficiency=0.8)
    assert found.displacement_cm3 == pytest.approx(20 * math.pi * 267.03 / (70 * 0.8), rel=1e-4)


EFFICIENCIES = st.floats(0.5, 1)


@given(
    st.sampled_from([1.0, 3.0, 5.0, 10.0]),
    st.floats(20, 300),
    st.floats(20, 200),
    EFFICIENCIES,
    st.floats(0.3, 1),
)
def test_there_and_back_gives_the_motor_back(motor_hp, rpm, pressure_drop_bar, volumetric, share):
    there = hydraulic_instead(
        motor_hp=motor_hp,
        volts=460,
        shaft_rpm=rpm,
        pressure_drop_bar=pressure_drop_bar,
        share_of_base_frequency=share,
        volumetric_efficiency=volumetric,
    )
    drive = {
        "pressure_drop_bar": pressure_drop_bar,
        "flow_l_min": there.flow_l_min,
        "displacement_cm3": there.displacement_cm3,
        "volumetric_efficiency": volumetric,
    }
    back = electric_instead(**drive, volts=460, share_of_base_frequency=share)
    assert back.shaft_rpm == pytest.approx(rpm)
    assert back.motor_hp == motor_hp
    assert back.full_load_a == there.amps_released
    assert there.shaft_kw <= there.oil_kw * (1 + 1e-12)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: torque_nm(0, 80),
        lambda: torque_nm(1, 0),
        lambda: electric_instead(
            pressure_drop_bar=0, flow_l_min=1, displacement_cm3=1, volts=230
        ),
        lambda: electric_instead(
            pressure_drop_bar=1, flow_l_min=1, displacement_cm3=1, volts=230, share_of_base_frequency=1.1
        ),
        lambda: hydraulic_instead(motor_hp=0, volts=230, shaft_rpm=1, pressure_drop_bar=1),
        lambda: hydraulic_instead(motor_hp=1, volts=230, shaft_rpm=1, pressure_drop_bar=0),
        lambda: hydraulic_instead(motor_hp=1, volts=230, shaft_rpm=1, pressure_drop_bar=1, pump_efficiency=0),
    ],
)  # fmt: skip
def test_impossible_quantities_are_refused(wrong):
    with pytest.raises(ValueError):
        wrong()


def test_a_feeder_with_drives_by_both_readings_of_the_code():
    """14.0 A across the line, drives of 9.6, 9.6 and 6.2 A in: 42.9 and 49.25 A; by the motors 37.5.

    Worked examples, computed apart from this program by NEC 430.24 and 430.122(A).
    """
    assert feeder_by_drive_inputs([14.0], [9.6, 9.6, 6.2]) == (
        pytest.approx(42.9),
        pytest.approx(49.25),
    )
    assert panel_load([14.0, 7.6, 7.6, 4.8], rating_a=100).required_a == pytest.approx(37.5)
    assert feeder_by_drive_inputs([], [10.0]) == (12.5, 12.5)
    assert feeder_by_drive_inputs([], []) == (0, 0)
    with pytest.raises(ValueError, match="expected"):
        feeder_by_drive_inputs([-1], [])
