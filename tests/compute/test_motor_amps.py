"""Full-load amps and panel load by the NEC."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.load import FULL_LOAD_AMPS, full_load_amps, motor_size_hp, panel_load
from ledger.compute.numbers import NoAnswer, convert

SIZES_HP = st.sampled_from(sorted(FULL_LOAD_AMPS))


@pytest.mark.parametrize(
    ("motor_hp", "at_230_v", "at_460_v"),
    [
        (0.5, 2.2, 1.1),
        (0.75, 3.2, 1.6),
        (1, 4.2, 2.1),
        (1.5, 6, 3),
        (2, 6.8, 3.4),
        (3, 9.6, 4.8),
        (5, 15.2, 7.6),
        (7.5, 22, 11),
        (10, 28, 14),
        (15, 42, 21),
        (20, 54, 27),
        (25, 68, 34),
        (30, 80, 40),
        (40, 104, 52),
        (50, 130, 65),
        (60, 154, 77),
        (75, 192, 96),
        (100, 248, 124),
    ],
    ids=lambda value: f"NEC Table 430.250 {value}",
)
def test_full_load_amps(motor_hp, at_230_v, at_460_v):
    assert full_load_amps(motor_hp, 230) == at_230_v
    assert full_load_amps(motor_hp, 460) == at_460_v


@pytest.mark.parametrize(
    ("volts", "amps"),
    [(200, 17.5), (208, 16.7), (575, 6.1)],
    ids=lambda value: f"NEC 2008 Table 430.250, 5 hp, {value}",
)
def test_full_load_amps_in_the_other_columns(volts, amps):
    assert full_load_amps(5, volts) == amps


def test_nothing_is_interpolated():
    with pytest.raises(KeyError):
        full_load_amps(4, 460)
    assert motor_size_hp(convert(4, "hp", "kw")) == 5
    lacking = full_load_amps(5, 400)
    assert isinstance(lacking, NoAnswer)
    assert lacking.text.startswith("Table 430.250 has no column for 400 V")


@given(SIZES_HP)
def test_a_size_covers_its_own_power_and_no_more(size_hp):
    power_kw = convert(size_hp, "hp", "kw")
    assert motor_size_hp(power_kw) == size_hp
    above = motor_size_hp(power_kw * 1.001)
    assert isinstance(above, NoAnswer) or above > size_hp


@given(SIZES_HP, SIZES_HP, st.sampled_from([200, 208, 230, 460, 575]))
def test_a_larger_motor_takes_more_amps(one_hp, other_hp, volts):
    one, other = full_load_amps(one_hp, volts), full_load_amps(other_hp, volts)
    assert isinstance(one, float)
    assert isinstance(other, float)
    assert (one < other) is (one_hp < other_hp)


@pytest.mark.parametrize(
    ("motors", "required_a"),
    [
        pytest.param([12, 11, 6], 32, id="NEC 430.24, a licence course's question"),
        pytest.param([124, 124, 77, 11], 367, id="NEC 430.24, 125 % x 124 + 124 + 77 + 11"),
        pytest.param([], 0, id="no motors"),
    ],
)
def test_a_feeder_carries_125_percent_of_the_largest_motor_and_the_rest(motors, required_a):
    assert panel_load(motors, rating_a=400).required_a == pytest.approx(required_a)


def test_what_is_spare_is_the_rating_less_what_the_feeder_must_carry():
    found = panel_load([20, 10], rating_a=60)
    assert found.connected_a == 30
    assert found.spare_a == pytest.approx(60 - 35)


@given(st.lists(st.floats(0, 500), max_size=20), st.floats(0, 500))
def test_another_motor_never_frees_amps(motors, another):
    before = panel_load(motors, rating_a=1000)
    after = panel_load([*motors, another], rating_a=1000)
    assert after.required_a >= before.required_a - 1e-9
    assert before.required_a >= before.connected_a


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: motor_size_hp(-1),
        lambda: panel_load([-1], rating_a=1),
        lambda: panel_load([1], rating_a=0),
    ],
)
def test_impossible_quantities_are_refused(wrong):
    with pytest.raises(ValueError):
        wrong()


def test_a_power_above_all_sizes_is_said_to_be():
    assert isinstance(motor_size_hp(1000), NoAnswer)


@pytest.mark.parametrize("motor_hp", sorted(FULL_LOAD_AMPS))
def test_the_columns_of_the_table_are_in_the_ratio_of_their_voltages(motor_hp):
    """The currents at 200, 208, 230 and 575 V are 2.3, 2.2, 2 and 0.8 times those at 460 V, to the
    digits that NEC Table 430.250 prints: two figures, three from 100 A on (recalled, not read).
    """
    at_460 = full_load_amps(motor_hp, 460)
    for volts, times, off in (
        (200, 2.3, 0.006),
        (208, 2.2, 0.006),
        (230, 2, 0.006),
        (575, 0.8, 0.03),
    ):
        amps = full_load_amps(motor_hp, volts)
        assert amps == round(amps, 1)
        assert amps == pytest.approx(times * at_460, rel=off, abs=0.07)
