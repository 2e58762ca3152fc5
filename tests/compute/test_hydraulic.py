"""Hydraulic motors and pumps, against published values; wear as a falling efficiency."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.band import Band
from ledger.compute.numbers import convert
from ledger.compute.ratio import (
    Efficiency,
    RatioReading,
    SharedPart,
    displacement_prior,
    efficiency_change,
    efficiency_of,
    fit_ratio,
    hydraulic_power_kw,
    leakage_rpm,
    motor_flow_l_min,
    motor_rpm,
    motor_torque_nm,
    predict,
    shaft_power_kw,
)
from ledger.compute.tuning import recommend

flow = st.floats(1, 200)
displacement = st.floats(5, 800)
efficiency = st.floats(0.3, 1)


def test_speed_of_a_motor():
    """40 L/min, 0.95, 160 cm³: 237.5 r/min."""
    assert motor_rpm(40, 160, 0.95) == pytest.approx(237.5)


def test_gear_pump_makers_calculator():
    """3.75 in³ at 1500 r/min: 24.35 gpm, to the digits printed."""
    displacement_cm3 = convert(3.75, "in3", "cm3")
    litres = motor_flow_l_min(1500, displacement_cm3)
    assert convert(litres, "l_min", "gpm") == pytest.approx(24.35, abs=0.005)
    litres = convert(24.35, "gpm", "l_min")
    assert motor_rpm(litres, displacement_cm3) == pytest.approx(1500, abs=0.5)


@given(flow, displacement)
def test_the_us_formula_is_the_same(gpm, cubic_inches):
    """n = 231 Q/D, with gallons a minute and cubic inches."""
    expected = 231 * gpm / cubic_inches
    rpm = motor_rpm(convert(gpm, "gpm", "l_min"), convert(cubic_inches, "in3", "cm3"))
    assert rpm == pytest.approx(expected, rel=1e-12)


def test_torque_and_power_close_the_circle():
    """T = Δp V/(20 π) and P = p Q/600 give one power at the shaft and in the oil."""
    torque = motor_torque_nm(100, 160)
    assert torque == pytest.approx(100e5 * 160e-6 / (2 * math.pi))
    assert shaft_power_kw(torque, motor_rpm(40, 160)) == pytest.approx(hydraulic_power_kw(100, 40))
    assert hydraulic_power_kw(100, 60) == pytest.approx(10)


@given(st.floats(1, 250), flow, displacement, efficiency)
def test_power_out_is_power_in_times_the_efficiency(bar, litres, cm3, volumetric):
    out = shaft_power_kw(motor_torque_nm(bar, cm3), motor_rpm(litres, cm3, volumetric))
    assert out == pytest.approx(hydraulic_power_kw(bar, litres) * volumetric)


@given(flow, displacement, efficiency)
def test_flow_and_speed_are_inverse(litres, cm3, share):
    assert motor_flow_l_min(motor_rpm(litres, cm3, share), cm3, share) == pytest.approx(litres)


@given(flow, displacement, efficiency)
def test_a_worn_motor_is_slower(litres, cm3, share):
    assert motor_rpm(litres, cm3, share) <= motor_rpm(litres, cm3)


def shaft(litres_and_rpm, u=1.0):
    return fit_ratio(
        [
            RatioReading(setting=litres, rpm=rpm, u_rpm=u, key=f"r{index}")
            for index, (litres, rpm) in enumerate(litres_and_rpm)
        ]
    )


def test_efficiency_from_readings():
    found = efficiency_of(shaft([(40, 237.5), (38, 225.6)]), 160)
    assert found.fraction == pytest.approx(0.95, abs=5e-4)
    assert found.u_to_repeat == pytest.approx(0.16 / math.hypot(40, 38))


GALLON_L, CUBIC_INCH_CM3 = 3.785411784, 16.387064


def on_dial(*speeds, flow=3.80, step=0.1):
    """Readings of 80.0 r/min, u 0.27, on a dial of 3.80 gpm in steps of 0.1."""
    dial = SharedPart(key="dial", u=step / (2 * math.sqrt(3)) / flow)
    return fit_ratio(
        [
            RatioReading(setting=flow * GALLON_L, rpm=rpm, u_rpm=0.27, key=str(rpm), shared=(dial,))
            for rpm in speeds
        ]
    )


def test_the_efficiency_of_a_dial_a_scale_and_a_displacement():
    """GTC 1.5.1 and uncertainties 3.2.3: eta 0.8931419, u 0.0137139; 2.7 points and not 0.15."""
    found = efficiency_of(on_dial(80.0), 9.8 * CUBIC_INCH_CM3)
    assert found.fraction == pytest.approx(0.8931419, abs=5e-7)
    assert found.u_fraction == pytest.approx(0.0137139, abs=5e-7)
    assert found.expanded() == pytest.approx(0.027, abs=5e-4)


def test_a_dial_set_anew_is_read_anew_and_its_scale_cancels():
    """GTC 1.5.1: 75.7895 r/min, u 0.8753638, at 3.60 gpm set anew."""
    fit = replace(on_dial(80.0), u_new_setting=0.1 / (2 * math.sqrt(3)) * GALLON_L)
    there = predict(fit, 3.60 * GALLON_L)
    assert there.rpm == pytest.approx(75.7895, abs=5e-5)
    assert there.u_rpm == pytest.approx(0.8753638, abs=5e-7)


def test_what_leaks_past_a_motor_on_a_dial_lies_at_an_end_of_its_bracket():
    """By hand: a/√2 for a of 6 r/min (1 - 3.0/3.8)."""
    fit = replace(on_dial(80.0), u_new_setting=0.1 / (2 * math.sqrt(3)) * GALLON_L)
    tight, leaking = (predict(fit, 3.0 * GALLON_L, slip_rpm=lost) for lost in (0.0, 6.0))
    half = 6 * (1 - 3.0 / 3.8)
    assert leaking.u_rpm == pytest.approx(math.hypot(tight.u_rpm, half / math.sqrt(2)))


def test_leakage_that_stays_the_same_is_a_bracket():
    """80 r/min at 3.8 gpm and efficiency 0.93, to 3.0 gpm: half-width 1.2677 r/min, computed."""
    stated = 80 * 9.8 / (231 * 3.8)
    volume = 9.8 * CUBIC_INCH_CM3 * 0.93 / stated
    lost = leakage_rpm(on_dial(80.0), volume, 0.93)
    assert lost * (1 - 3.0 / 3.8) == pytest.approx(1.2677, abs=5e-5)
    assert leakage_rpm(on_dial(80.0), 20 * CUBIC_INCH_CM3, 0.95) == pytest.approx(
        80 * (1 / 0.95 - 1)
    )


def test_what_a_fall_of_efficiency_does_not_share():
    """GTC 1.5.1: 76/80 is 0.95, u 0.0046552 with the dial untouched."""
    was, now = (efficiency_of(shaft([(14, rpm)], u=0.27), 160) for rpm in (80.0, 76.0))
    change = efficiency_change(was, now)
    u_share = math.hypot(was.u_to_repeat / was.fraction, now.u_to_repeat / now.fraction)
    assert 0.95 * u_share == pytest.approx(0.0046552, abs=5e-7)
    assert change.worn


def test_wear_is_told_from_chance():
    new = efficiency_of(shaft([(40, 237.5), (40, 237.0)]), 160)
    tired = efficiency_of(shaft([(40, 228.0), (40, 229.0)]), 160)
    same = efficiency_of(shaft([(40, 236.5), (40, 236.0)]), 160)
    worn = efficiency_change(new, tired)
    assert worn.worn
    assert new.fraction - tired.fraction == pytest.approx(0.035, abs=5e-4)
    assert not efficiency_change(new, same).worn


def test_a_better_motor_is_not_worn():
    change = efficiency_change(
        Efficiency(fraction=0.90, u_fraction=0.02),
        Efficiency(fraction=0.97, u_fraction=0.02, u_to_repeat=0.005),
    )
    assert change.e_number == pytest.approx(0.07 / (2 * 0.005))
    assert not change.worn


def test_the_flow_for_a_target_is_advised_like_a_frequency():
    advice = recommend(
        shaft([(13.5, 78.0), (14.0, 81.2)]),
        Band(low=75, high=85),
        step=0.25,
        lowest=8,
        highest=20,
    )
    assert advice.setting == 13.75
    assert advice.speed.rpm == pytest.approx(79.6, abs=0.1)


def test_the_nameplate_of_a_motor_as_a_prior():
    prior = displacement_prior(160)
    assert prior.value * 40 == pytest.approx(motor_rpm(40, 160, 0.93))
    assert prior.u == pytest.approx(0.05 * prior.value)


@given(st.floats(0.2, 20), efficiency)
def test_a_reduction_behind_the_motor_does_not_hide_its_efficiency(reduction, share):
    prior = displacement_prior(160, efficiency=share, reduction=reduction)
    fit = fit_ratio([], prior)
    assert efficiency_of(fit, 160, reduction=reduction).fraction == pytest.approx(share)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: motor_rpm(-1, 160), "flow_l_min"),
        (lambda: motor_rpm(40, 0), "displacement_cm3"),
        (lambda: motor_rpm(40, 160, 1.1), "efficiency to be above 0 and at most 1"),
        (lambda: motor_flow_l_min(240, 160, 0), "efficiency"),
        (lambda: motor_flow_l_min(math.nan, 160), "rpm"),
        (lambda: motor_torque_nm(-1, 160), "pressure_drop_bar"),
        (lambda: hydraulic_power_kw(100, -1), "flow_l_min"),
        (lambda: shaft_power_kw(-1, 80), "torque_nm"),
        (lambda: displacement_prior(160, reduction=0), "reduction"),
        (lambda: efficiency_of(shaft([(40, 237)]), 0), "displacement_cm3"),
    ],
)
def test_what_cannot_be_is_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_without_a_reading_no_leakage_is_known():
    assert leakage_rpm(fit_ratio([], displacement_prior(160)), 160, 0.9) == 0


def test_more_than_a_whole_efficiency_tells_no_leakage():
    """8 % above what the oil allows is the dial's, or the displacement's: as stated then."""
    volume = 9.8 * CUBIC_INCH_CM3
    whole = on_dial(80.0).rpm_per_unit * volume / 1000
    for over in (1.005, 1.08):
        fit = on_dial(80.0 * over / whole)
        speed = fit.rpm_per_unit * fit.centre_setting
        assert leakage_rpm(fit, volume, 0.9) == pytest.approx(speed * (1 / 0.9 - 1))
