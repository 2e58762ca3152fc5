"""The affinity laws and loads of constant torque."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.load import LoadLaw, SharesAtSpeed, shares_at_speed

POSITIVE = st.floats(0.01, 1e4)


def test_a_pump_from_60_to_50_hz():
    # Published example: 100 gpm, 50 ft, 10 hp become 83.3 gpm, 34.7 ft, 5.8 hp; exactly 5.787 hp.
    found = shares_at_speed(LoadLaw.FAN, from_speed=60, to_speed=50)
    assert 100 * found.flow == pytest.approx(83.3, abs=0.05)
    assert 50 * found.pressure == pytest.approx(34.7, abs=0.05)
    assert 10 * found.power == pytest.approx(5.79, abs=0.005)


def test_a_fan_at_twice_the_speed():
    # Published example: 1000 m³/h, 500 Pa, 10 kW at 1000 r/min become 2000, 2000 and 80 at 2000.
    found = shares_at_speed(LoadLaw.FAN, from_speed=1000, to_speed=2000)
    assert found == SharesAtSpeed(flow=2, pressure=4, power=8)


def test_a_brush_keeps_its_torque():
    # P ~ n: T ω with T constant.
    found = shares_at_speed(LoadLaw.CONSTANT_TORQUE, from_speed=60, to_speed=45)
    assert found == SharesAtSpeed(flow=0.75, pressure=1, power=0.75)


@given(POSITIVE, POSITIVE)
def test_there_and_back_is_the_same_duty(one, other):
    there = shares_at_speed(LoadLaw.FAN, from_speed=one, to_speed=other)
    back = shares_at_speed(LoadLaw.FAN, from_speed=other, to_speed=one)
    for name in ("flow", "pressure", "power"):
        assert getattr(there, name) * getattr(back, name) == pytest.approx(1)


@given(POSITIVE)
def test_standing_still_takes_nothing(speed):
    found = shares_at_speed(LoadLaw.FAN, from_speed=speed, to_speed=0)
    assert found == SharesAtSpeed(flow=0, pressure=0, power=0)
    assert shares_at_speed(LoadLaw.CONSTANT_TORQUE, from_speed=speed, to_speed=0).power == 0


@pytest.mark.parametrize("law", LoadLaw)
@pytest.mark.parametrize(("from_speed", "to_speed"), [(0, 1), (1, -1)])
def test_impossible_quantities_are_refused(law, from_speed, to_speed):
    with pytest.raises(ValueError):
        shares_at_speed(law, from_speed=from_speed, to_speed=to_speed)
