"""The affinity laws and loads of constant torque."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.load import DutyPoint, centrifugal_at_speed, constant_torque_power

POSITIVE = st.floats(0.01, 1e4)


def test_a_pump_from_60_to_50_hz():
    # Published example: 100 gpm, 50 ft, 10 hp become 83.3 gpm, 34.7 ft, 5.8 hp; exactly 5.787 hp.
    found = centrifugal_at_speed(
        DutyPoint(flow=100, pressure=50, power=10), from_speed=60, to_speed=50
    )
    assert found.flow == pytest.approx(83.3, abs=0.05)
    assert found.pressure == pytest.approx(34.7, abs=0.05)
    assert found.power == pytest.approx(5.79, abs=0.005)


def test_a_fan_at_twice_the_speed():
    # Published example: 1000 m³/h, 500 Pa, 10 kW at 1000 r/min become 2000, 2000 and 80 at 2000.
    found = centrifugal_at_speed(
        DutyPoint(flow=1000, pressure=500, power=10), from_speed=1000, to_speed=2000
    )
    assert found == DutyPoint(flow=2000, pressure=2000, power=80)


def test_a_brush_keeps_its_torque():
    # P ~ n: T ω with T constant.
    assert constant_torque_power(3, from_speed=60, to_speed=45) == pytest.approx(2.25)


@given(POSITIVE, POSITIVE, POSITIVE, POSITIVE, POSITIVE)
def test_there_and_back_is_the_same_duty(flow, pressure, power, one, other):
    duty = DutyPoint(flow=flow, pressure=pressure, power=power)
    there = centrifugal_at_speed(duty, from_speed=one, to_speed=other)
    back = centrifugal_at_speed(there, from_speed=other, to_speed=one)
    assert (back.flow, back.pressure, back.power) == pytest.approx((flow, pressure, power))


@given(POSITIVE, POSITIVE)
def test_standing_still_takes_nothing(power, speed):
    assert centrifugal_at_speed(
        DutyPoint(flow=1, pressure=1, power=power), from_speed=speed, to_speed=0
    ) == DutyPoint(flow=0, pressure=0, power=0)
    assert constant_torque_power(power, from_speed=speed, to_speed=0) == 0


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: constant_torque_power(-1, from_speed=1, to_speed=1),
        lambda: constant_torque_power(1, from_speed=0, to_speed=1),
        lambda: constant_torque_power(1, from_speed=1, to_speed=-1),
        lambda: centrifugal_at_speed(
            DutyPoint(flow=-1, pressure=1, power=1), from_speed=1, to_speed=1
        ),
    ],
)
def test_impossible_quantities_are_refused(wrong):
    with pytest.raises(ValueError):
        wrong()
