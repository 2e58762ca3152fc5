"""The recommended setting, and what one more reading buys."""

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from ledger.compute.band import Band, Verdict
from ledger.compute.ratio import (
    RatioFit,
    RatioReading,
    fit_ratio,
    nameplate_prior,
    predict,
    reading_of,
)
from ledger.compute.speed import from_timed_turns
from ledger.compute.tuning import Limit, next_readings, recommend, value_of_reading

USUAL = Band(low=75, high=85)
DRIVE = {"step": 0.1, "lowest": 25, "highest": 60}


def read(*triples):
    return fit_ratio(
        [
            RatioReading(setting=hz, rpm=rpm, u_rpm=u, key=f"r{index}")
            for index, (hz, rpm, u) in enumerate(triples)
        ]
    )


def test_a_sure_ratio_gives_the_middle_of_the_band():
    fit = read((44, 77, 0.5), (46, 80.5, 0.5))
    advice = recommend(fit, USUAL, **DRIVE)
    assert advice.setting == 45.7
    assert advice.speed.rpm == pytest.approx(45.7 * 1.75)
    assert advice.p_in_band > 0.99
    assert advice.limited_by is None


def test_a_given_target_is_aimed_at():
    advice = recommend(read((44, 77, 0.5)), USUAL, target_rpm=83, **DRIVE)
    assert advice.setting == 47.4
    assert advice.target_rpm == 83


def test_a_target_next_to_standstill_is_held_at_the_lowest_setting():
    advice = recommend(read((44, 77, 0.5)), USUAL, target_rpm=0.005, **DRIVE)
    assert (advice.setting, advice.limited_by) == (25, Limit.LOWEST)


def test_the_nameplate_alone_is_not_sure_enough():
    fit = fit_ratio([], nameplate_prior(1740, 60, 20.5))
    advice = recommend(fit, USUAL, **DRIVE)
    assert advice.setting == pytest.approx(80 / (1740 / 20.5 / 60), abs=0.05)
    # Φ(5/4) - Φ(-5/4) for a standard uncertainty of 5 % of 80.
    assert advice.p_in_band == pytest.approx(0.789, abs=0.002)


@pytest.mark.parametrize(
    ("band", "setting", "limit"),
    [
        (Band(low=120, high=130), 60.0, Limit.HIGHEST),
        (Band(low=30, high=40), 25.0, Limit.LOWEST),
    ],
)
def test_limits_hold_and_are_named(band, setting, limit):
    advice = recommend(read((44, 77, 0.5)), band, **DRIVE)
    assert advice.setting == setting
    assert advice.limited_by is limit
    assert advice.p_in_band < 0.01


@given(st.floats(1.2, 2.4), st.floats(30, 58), st.floats(0.1, 2), st.sampled_from([0.1, 0.5, 1.0]))
def test_the_setting_is_on_the_step_inside_the_limits_and_near_the_target(ratio, hz, u, step):
    fit = read((hz, ratio * hz, u))
    advice = recommend(fit, USUAL, step=step, lowest=25, highest=60)
    assert 25 <= advice.setting <= 60
    assert advice.setting / step == pytest.approx(round(advice.setting / step), abs=1e-9)
    if advice.limited_by is None:
        assert abs(advice.speed.rpm - 80) <= ratio * step / 2 + 1e-9


def test_a_reading_combines_as_independent_results_do():
    fit = read((44, 77, 1.0))
    after = value_of_reading(fit, 44, 1.0)
    assert after.u_rpm == pytest.approx(1 / math.sqrt(2))
    assert after.rpm == pytest.approx(77)


@given(st.floats(0.1, 5), st.floats(0.1, 5), st.floats(30, 60), st.floats(0, 4))
def test_one_more_reading_never_makes_it_less_certain(u, u_new, hz, slip):
    fit = read((44, 77, u))
    after = value_of_reading(fit, hz, u_new, slip_rpm=slip)
    assert after.u_rpm < predict(fit, hz, slip_rpm=slip).u_rpm
    assert after.u_rpm < u_new


def test_the_value_of_a_reading_is_what_the_reading_then_brings():
    fit = read((44, 77, 1.0))
    told = next(n for n in next_readings(fit, USUAL, 44) if n.way == "20 timed turns")
    taken = from_timed_turns(20, told.seconds)
    refit = fit_ratio(
        [RatioReading(setting=44, rpm=77, u_rpm=1.0, key="old"), reading_of("new", 44, taken)]
    )
    assert predict(refit, 44).u_rpm == pytest.approx(told.u_after_rpm)


@pytest.mark.parametrize(
    ("wanted_hz", "limited_by"),
    [
        pytest.param(50.249, None, id="less than half a step away"),
        pytest.param(50.25, None, id="half a step away"),
        pytest.param(50.251, Limit.HIGHEST, id="more than half a step away"),
        pytest.param(29.751, None, id="less than half a step below"),
        pytest.param(29.749, Limit.LOWEST, id="more than half a step below"),
    ],
)
def test_a_limit_is_named_where_it_holds_the_setting_back(wanted_hz, limited_by):
    """Steps of 0.5 Hz from 30 to 50; 2 r/min per Hz, so that half a step is exact."""
    fit = RatioFit(rpm_per_unit=2.0, u_rpm_per_unit=0.01)
    found = recommend(fit, USUAL, step=0.5, lowest=30, highest=50, target_rpm=2 * wanted_hz)
    assert found.setting == (50 if wanted_hz > 40 else 30)
    assert found.limited_by is limited_by


def test_the_choices_for_the_next_reading():
    fit = fit_ratio([], nameplate_prior(1740, 60, 20.5))
    choices = next_readings(fit, USUAL, 56.6)
    rpm = predict(fit, 56.6).rpm
    assert [choice.way for choice in choices] == [
        "30 s count",
        "60 s count",
        "20 timed turns",
        "30 taps",
    ]
    by_way = {choice.way: choice for choice in choices}
    count = 60 * ufloat(rpm / 2, 6**-0.5) / (ufloat(30, 0.10) + ufloat(0, 0.05))
    assert by_way["30 s count"].u_reading_rpm == pytest.approx(count.s)
    assert by_way["20 timed turns"].seconds == pytest.approx(1200 / rpm)
    # √(12/(m(m²-1))), m = 30
    assert by_way["30 taps"].u_reading_rpm == pytest.approx(
        rpm * 0.07 * 0.0210937 / (60 / rpm), rel=1e-5
    )
    assert all(choice.verdict is Verdict.IN_BAND for choice in choices)
    assert all(choice.p_in_band > 0.95 for choice in choices)


def test_thirty_taps_take_29_turns():
    """29 passes at 80 r/min: 21.75 s of one mark."""
    *_, taps = next_readings(RatioFit(rpm_per_unit=2.0, u_rpm_per_unit=0.01), USUAL, 40)

    assert taps.seconds == pytest.approx(21.75)


def test_without_slip_a_reading_elsewhere_is_worth_as_much():
    fit = read((44, 77, 1.0))
    after = value_of_reading(fit, 22, 0.5)
    assert after.u_rpm == pytest.approx(0.5 / math.sqrt(2))


def test_without_slip_a_setting_elsewhere_is_as_sure_in_ratio():
    found = recommend(read((44, 77, 1.0)), USUAL, target_rpm=44.1, **DRIVE)
    assert found.speed.u_rpm == pytest.approx(found.setting / 44)
    for choice in next_readings(read((44, 77, 1.0)), USUAL, 22):
        after = 1 / math.sqrt(1 / 0.5**2 + 1 / choice.u_reading_rpm**2)
        assert choice.u_after_rpm == pytest.approx(after)


def test_coverage_of_the_recommended_speed():
    """Shafts between constant ratio and constant slip, read at one setting and sent to another."""
    source = random.Random(17)
    inside = 0
    for _ in range(1000):
        slip_rpm = source.uniform(1, 3)
        per_hz = source.uniform(1.6, 2.0)
        own_slip = source.uniform(0, slip_rpm)
        readings = []
        for index in range(3):
            hz = source.choice([38.0, 40.0, 42.0])
            rpm, u = per_hz * hz - own_slip, 0.5
            readings.append(
                RatioReading(setting=hz, rpm=rpm + source.gauss(0, u), u_rpm=u, key=f"r{index}")
            )
        fit = fit_ratio(readings)
        advice = recommend(fit, USUAL, slip_rpm=slip_rpm, **DRIVE)
        truth = per_hz * advice.setting - own_slip
        inside += abs(advice.speed.rpm - truth) <= advice.speed.expanded()
    assert inside / 1000 >= 0.93


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (
            lambda: recommend(read((44, 77, 1)), Band(low=70, high=math.inf), **DRIVE),
            "target speed above 0",
        ),
        (lambda: recommend(read((44, 77, 1)), USUAL, target_rpm=0, **DRIVE), "target speed"),
        (
            lambda: recommend(read((44, 77, 1)), USUAL, step=50, lowest=55, highest=60),
            "no multiple of 50",
        ),
        (
            lambda: value_of_reading(read((44, 77, 1)), 44, 0),
            "u_reading_rpm to be a number above 0",
        ),
    ],
)
def test_what_cannot_be_advised_is_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_one_more_reading_adds_its_precision():
    fit = read((44, 77, 0.4), (44, 77, 0.4), (44, 77, 0.4))
    before = predict(fit, 44).u_rpm

    after = value_of_reading(fit, 44, 0.5).u_rpm
    assert after == pytest.approx((before**-2 + 0.5**-2) ** -0.5, rel=1e-9)
