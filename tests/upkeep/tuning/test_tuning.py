import math
from dataclasses import replace
from random import Random

import pytest
from example import example_ledger
from hypothesis import given
from hypothesis import strategies as st
from sitegen import condition, draws
from small_site import ELECTRIC, HYDRAULIC, ledger_of, setpoint, visit

from ledger.compute.band import Verdict
from ledger.compute.ratio import DriveCaution, RatioReading, fit_ratio, setting_for
from ledger.compute.tuning import Limit
from ledger.upkeep.speeds.found import speed_results
from ledger.upkeep.tuning.found import (
    DriveLimits,
    drive_limits,
    outlook_at,
    rates_of,
    setting_range,
    tune,
    tunings,
)


def read(rpm, hz, *, turns=40):
    return {"at": "brush", "turns": turns, "seconds": 60 * turns / rpm, "found_hz": hz}


def drive(**rest):
    return {"brush": {**ELECTRIC, "drive": {**ELECTRIC["drive"], **rest}}}


LOW = {"hz_limits": [20, 60]}


def tuned(visits=(), *, machine="brush", setpoints=(), rates=(), target=None, **rest):
    ledger = ledger_of(visits, setpoints=setpoints, **rest)
    return tune(
        ledger,
        ledger.machines[machine],
        speed_results(ledger),
        line_rates_per_h=rates,
        target_rpm=target,
    )


SURE = [visit(day, read(81, 45)) for day in range(6)]
"""A brush known to turn 1.8 r/min per Hz."""


def test_the_setting_gives_the_target_at_each_line_rate_of_the_site():
    at_90, at_110 = tuned(SURE).rates

    assert (at_90.line_rate_per_h, at_90.recommended.target_rpm) == (90, 75)
    assert at_90.exact == pytest.approx(75 / 1.8)
    assert at_90.recommended.setting == 41.5
    assert at_110.exact == pytest.approx(80 / 1.8)
    assert at_110.recommended.setting == 44.5
    assert at_110.recommended.speed.rpm == pytest.approx(80.1)
    assert at_110.recommended.p_in_band > 0.99
    assert at_110.verdict is Verdict.IN_BAND
    assert not at_110.band_clamped


def test_the_line_rate_in_force_is_among_the_rates():
    ledger = ledger_of(site={"line": {"line_rate_per_h": 95, "line_rates_per_h": [110, 90]}})
    assert rates_of(ledger) == (90, 95, 110)


def test_another_line_rate_and_another_target():
    (at_100,) = tuned(SURE, rates=(100,)).rates
    assert at_100.recommended.target_rpm == 77.5

    (fast,) = tuned(SURE, rates=(110,), target=84).rates
    assert fast.recommended.setting == 46.5


def test_a_rate_beyond_those_stated_takes_the_nearest_band():
    (at,) = tuned(SURE, rates=(200,)).rates
    assert at.band_clamped
    assert (at.band.low, at.band.high) == (74, 86)


def test_the_setting_is_a_step_of_the_drive_inside_its_limits():
    (fine,) = tuned(SURE, rates=(110,), machines=drive(hz_step=0.1)).rates
    assert fine.recommended.setting == 44.4

    (held,) = tuned(SURE, rates=(110,), machines=drive(hz_limits=[25, 40])).rates
    assert held.recommended.setting == 40
    assert held.recommended.limited_by is Limit.HIGHEST
    assert held.verdict is Verdict.OUT_OF_BAND


def test_limits_without_a_step_between_them_give_no_setting():
    tuning = tuned(SURE, machines=drive(hz_limits=[44.1, 44.4], hz_step=0.5))
    assert (tuning.limits, tuning.rates) == (None, ())
    assert "no step" in tuning.gap


def test_limits_turned_round_give_no_setting_instead_of_failing():
    machine = ledger_of().machines["brush"]
    turned = replace(machine, drive=replace(machine.drive, hz_limits=(60.0, 25.0)))
    assert drive_limits(turned) is None


@pytest.mark.parametrize(
    ("machines", "gap"),
    [
        pytest.param(
            {"brush": {**ELECTRIC, "drive": {"type": "electric", "motor_kw": 2.2}}}, "nothing to set",
            id="no limits",
        ),
        pytest.param(
            {"brush": {k: v for k, v in ELECTRIC.items() if k != "speed_band"}}, "no speed band",
            id="no band",
        ),
        pytest.param(
            {"brush": {**ELECTRIC, "drive": {k: v for k, v in ELECTRIC["drive"].items() if k != "reduction"}}},
            "read the speed once", id="no ratio",
        ),
    ],
)  # fmt: skip
def test_where_nothing_can_be_recommended_it_says_why(machines, gap):
    tuning = tuned(machines=machines)
    assert gap in tuning.gap
    assert tuning.rates == ()


@pytest.mark.parametrize("rates", [(0,), (-5,), (math.nan,)])
def test_line_rates_that_are_none_are_refused(rates):
    with pytest.raises(ValueError, match="above 0"):
        tuned(SURE, rates=rates)


def test_a_target_that_is_none_is_refused():
    with pytest.raises(ValueError, match="above 0"):
        tuned(SURE, target=-1)


def test_the_nameplate_alone_cannot_tell_and_a_reading_would_help():
    at = tuned(rates=(110,)).rates[0]

    assert at.verdict is Verdict.CANNOT_TELL
    # Φ(6/4) - Φ(-6/4) with 5 % of 80 as standard uncertainty, but for the rounding to a step.
    assert at.recommended.p_in_band == pytest.approx(0.866, abs=0.01)
    best = min(at.next_readings, key=lambda reading: reading.u_after_rpm)
    assert best.p_in_band > 0.99
    assert {reading.way for reading in at.next_readings} == {
        "30 s count",
        "60 s count",
        "20 timed turns",
        "30 taps",
    }


def test_constant_slip_is_the_other_bracket():
    """Motor 1750 r/min at 60 Hz, 4 poles: for 1500 r/min 51.429 Hz by ratio, 51.667 by constant
    slip (worked by hand from IEC 60034-1's synchronous speed)."""
    machines = {
        "brush": {
            **ELECTRIC,
            "drive": {**ELECTRIC["drive"], "rated_rpm": 1750, "reduction": 20},
            "speed_band": [{"line_rate_per_h": 110, "rpm": [70, 80]}],
        }
    }
    visits = [visit(day, read(87.5, 60)) for day in range(4)]
    (at,) = tuned(visits, rates=(110,), machines=machines).rates

    assert at.exact == pytest.approx(51.429, abs=5e-4)
    assert at.by_constant_slip == pytest.approx(51.667, abs=5e-4)
    assert at.range.low < at.by_constant_slip < at.range.high


def test_without_readings_there_is_no_bracket():
    assert tuned(rates=(110,)).rates[0].by_constant_slip is None


def test_leaking_oil_is_a_bracket_as_slip_is():
    """80 r/min at 14 L/min and 160 cm3: 0.9143, so 7.5 r/min leak away at any flow."""
    oil = [visit(0, {"at": "low", "turns": 40, "seconds": 30, "found_flow_lpm": 14})]
    (at,) = tuned(oil, machine="low", rates=(110,)).rates
    slope = 87.5 / 14
    assert at.by_constant_slip == pytest.approx(14 + (83.5 - 80) / slope, abs=0.005)


@pytest.mark.parametrize(
    ("rpm_at_45", "machines", "cautions"),
    [
        pytest.param(81, drive(**LOW), (), id="usual"),
        pytest.param(
            160, drive(**LOW), (DriveCaution.SELF_COOLED_SLOW,), id="22.5 Hz on its own fan"
        ),
        pytest.param(
            160, drive(**LOW, cooling="separate"), (), id="22.5 Hz with a fan of its own motor"
        ),
        pytest.param(55, drive(hz_limits=[20, 70]), (DriveCaution.ABOVE_BASE,), id="above 60 Hz"),
    ],
)
def test_cautions_of_the_motor(rpm_at_45, machines, cautions):
    visits = [visit(day, read(rpm_at_45, 45)) for day in range(3)]
    assert tuned(visits, rates=(110,), machines=machines).rates[0].cautions == cautions


@pytest.mark.parametrize(("in_force", "step", "beyond"), [(42, 2.5, False), (39, 5.5, True)])
def test_a_step_larger_than_the_site_allows_is_said(in_force, step, beyond):
    (at,) = tuned(SURE, setpoints=[setpoint(0, in_force)], rates=(110,)).rates
    assert at.step_in_force == pytest.approx(step)
    assert at.beyond_policy_step is beyond


def test_a_step_of_exactly_what_the_site_allows_is_allowed():
    (at,) = tuned(SURE, setpoints=[setpoint(0, 39.5)], rates=(110,)).rates
    assert (at.step_in_force, at.beyond_policy_step) == (5.0, False)


def test_the_setting_in_force_is_judged_at_its_own_line_rate():
    tuning = tuned(SURE, setpoints=[setpoint(0, 41.5, line_rate_per_h=90)])

    assert tuning.in_force.speed.rpm == pytest.approx(74.7)
    assert tuning.in_force.band.low == 70
    assert tuning.in_force.p_in_band > 0.99


def test_the_reverse_what_speed_at_a_setting():
    tuning = tuned(SURE)
    outlook = outlook_at(tuning.machine, tuning.ratio, 50, 120)

    assert outlook.speed.rpm == pytest.approx(90)
    assert outlook.p_in_band < 0.01


def test_a_flow_is_recommended_for_an_oil_motor():
    """40 L/min, efficiency 0.95, 160 cm³ give 237.5 r/min (makers' formula), so 5.9375 a litre."""
    visits = [
        visit(day, {"at": "low", "turns": 80, "seconds": 60 * 80 / 83.125, "found_flow_lpm": 14})
        for day in range(4)
    ]
    (at,) = tuned(visits, machine="low", rates=(110,)).rates

    assert at.recommended.target_rpm == 83.5
    assert at.exact == pytest.approx(83.5 / 5.9375)
    # A tenth of a litre a minute is the step.
    assert at.recommended.setting == 14.1
    assert at.recommended.p_in_band > 0.99


def test_a_setting_in_force_in_gallons_is_the_step_of_the_drive_that_it_is():
    """A step told in litres differs from 0.1 gal/min by 0.00001 L/min: nothing is to be moved."""
    visits = [
        visit(day, {"at": "brush", "turns": 80, "seconds": 60 * 80 / 83.125, "found_flow_lpm": 14})
        for day in range(4)
    ]
    approved = {key: value for key, value in setpoint(0, 0).items() if key != "hz"}
    tuning = tuned(
        visits,
        machines={"brush": HYDRAULIC | {"drive": HYDRAULIC["drive"] | {"flow_step_lpm": 0.378541}}},
        setpoints=[{**approved, "flow_gpm": 3.7}],
        rates=(110,),
    )
    (at,) = tuning.rates
    assert at.step_in_force == 0
    assert at.recommended.setting == tuning.in_force.setting


def worn(loss_share, weeks):
    rng = Random(2)
    return [
        visit(
            7 * week,
            {"at": "low", **draws.timed_turns(rng, 85 * (1 - loss_share * week / weeks), 60),
             "found_flow_lpm": 14.4},
        )
        for week in range(weeks)
    ]  # fmt: skip


def test_a_falling_speed_at_one_flow_is_wear():
    change = tuned(worn(0.08, 40), machine="low").ratio_change

    wear = change.oil_motor
    assert wear.first.fraction == pytest.approx(85 / 14.4 * 160 / 1000, abs=0.01)
    assert wear.is_worn
    assert change.has_moved
    assert change.fraction == pytest.approx(-0.07, abs=0.01)
    assert wear.new.fraction == 0.95


def test_a_steady_motor_is_not_worn():
    change = tuned(worn(0.0, 40), machine="low").ratio_change
    assert not change.oil_motor.is_worn
    assert not change.has_moved


def test_few_readings_give_an_efficiency_but_no_history():
    change = tuned(worn(0.0, 4), machine="low").ratio_change
    assert change.oil_motor.now.fraction == pytest.approx(0.944, abs=0.02)
    assert (change.fraction, change.e_number, change.oil_motor.since_first) == (None, None, None)
    assert not change.has_moved
    assert not change.oil_motor.is_worn


def test_a_new_motor_starts_a_new_history():
    swapped = visit(7 * 40, {"at": "low", "changed": "hydraulic-motor"})
    tuning = tuned([*worn(0.08, 40), swapped], machine="low")
    assert tuning.ratio_change is None
    assert len(tuning.ratio.set_aside) == 40


def test_an_electric_drive_has_no_oil_motor():
    assert tuned(SURE).ratio_change.oil_motor is None


@given(
    hz=st.floats(20, 60),
    rpm=st.floats(30, 150),
    share=st.floats(1e-4, 0.2),
    target=st.floats(30, 150),
)
def test_the_range_holds_the_exact_setting_and_narrows_with_the_doubt(hz, rpm, share, target):
    def around(u):
        fit = fit_ratio([RatioReading(setting=hz, rpm=rpm, u_rpm=u * rpm, key="one")])
        return setting_range(fit, target), setting_for(fit, target)

    wide, exact = around(share)
    narrow, same = around(share / 2)
    assert exact == pytest.approx(same)
    assert wide.low <= narrow.low <= same <= narrow.high <= wide.high


def test_a_ratio_too_vague_leaves_the_range_open():
    """Two readings that contradict each other grossly, and one degree of freedom."""
    fit = fit_ratio(
        [
            RatioReading(setting=45, rpm=60, u_rpm=0.2, key="one"),
            RatioReading(setting=45, rpm=100, u_rpm=0.2, key="two"),
        ]
    )
    assert math.isinf(setting_range(fit, 80).high)


def test_every_drive_of_the_site_in_walking_order():
    ledger = ledger_of(machines={"low": HYDRAULIC, "brush": ELECTRIC})
    assert [one.machine.ident for one in tunings(ledger, ())] == ["brush", "low"]


@pytest.fixture(scope="module")
def example():
    return example_ledger()


@pytest.fixture(scope="module")
def found(example):
    return {one.machine.ident: one for one in tunings(example, speed_results(example))}


def test_the_true_settings_lie_in_their_intervals(found):
    """Of 27 intervals of 95 % three or fewer miss in 95 % of cases (binomial distribution)."""
    missed = []
    for brush in condition.BRUSHES:
        if brush == condition.HYDRAULIC:
            continue
        for at in found[brush].rates:
            truth = at.recommended.target_rpm / condition.rpm_per_hz(brush, condition.LAST_DAY)
            if not at.range.low <= truth <= at.range.high:
                missed.append((brush, at.line_rate_per_h))
    assert len(missed) <= 3, missed


def test_the_oil_motor_is_named_as_worn(found):
    tuning = found[condition.HYDRAULIC]
    truth = condition.volumetric_efficiency(condition.LAST_DAY)

    assert tuning.ratio_change.oil_motor.is_worn
    assert tuning.ratio_change.oil_motor.now.fraction == pytest.approx(truth, abs=0.01)
    assert tuning.ratio.outgrown


def test_readings_from_before_new_strips_do_not_count(found):
    ratio = found["brush-p2"].ratio
    assert ratio.since.day == condition.STRIPS_RENEWED
    assert all(result.entry.day >= condition.STRIPS_RENEWED for result in ratio.used)


def test_limits_from_nought_begin_at_the_first_step():
    drive = {**ELECTRIC["drive"], "hz_limits": [0, 60], "hz_step": 5}
    slow = {**ELECTRIC, "drive": drive, "speed_band": [{"line_rate_per_h": 110, "rpm": [0, 1]}]}  # fmt: skip
    ledger = ledger_of(machines={"brush": slow})
    (tuning,) = tunings(ledger, ())
    assert tuning.limits == DriveLimits(lowest=5, highest=60, step=5)
    assert {rate.recommended.setting for rate in tuning.rates} == {5}


def test_few_readings_that_disagree_give_no_setting():
    """Two counts of 30 s, 6 r/min apart, where each has U of 1.7."""
    apart = [
        visit(day, {"at": "brush", "counted": counted, "seconds": 30, "found_hz": 45})
        for day, counted in enumerate((38, 41))
    ]
    first = tuned(apart, setpoints=[setpoint(0, 44)]).count_first

    assert first is not None
    assert first.disagree
    assert (first.setting, first.readings) == (44, 2)
    assert first.more is not None
    assert tuned(apart).rates == ()


def test_readings_wider_than_the_band_give_no_setting_either():
    """Two counts of 3 s: ± 16 r/min each."""
    short = [
        visit(0, {"at": "brush", "counted": 4, "seconds": 3, "found_hz": 45}),
        visit(1, {"at": "brush", "counted": 4, "seconds": 3, "found_hz": 45}),
    ]
    first = tuned(short).count_first

    assert first is not None
    assert not first.disagree
    assert first.more is not None
    assert first.more.timings == 1


def test_readings_that_agree_give_a_setting():
    assert tuned(SURE).count_first is None
