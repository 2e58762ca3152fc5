from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sitegen import draws
from small_site import ELECTRIC, HYDRAULIC, SITE, ledger_of, visit

from ledger.compute.band import SURE
from ledger.compute.line import HeldBy, SeenFrom, Sense
from ledger.compute.numbers import Estimate
from ledger.model.site import DriverSide, Line
from ledger.upkeep.line.found import (
    RateCheck,
    expected_turnings,
    line_matching,
    line_speed_at,
    stated_check,
)
from ledger.upkeep.line.page import format_band
from ledger.upkeep.speeds.found import speed_results

LINE = {**SITE["line"], "chain_speed_m_per_min": 11, "vehicle_pitch_m": 6}


def line(**rest):
    return Line(line_rate_per_h=110, line_rates_per_h=(90, 110), **rest)


def brush(**rest):
    return {"brush": {**ELECTRIC, "side": "passenger", "turns": "against", **rest}}


def matched(visits=(), rates=(), **rest):
    ledger = ledger_of(visits, **rest)
    return line_matching(ledger, speed_results(ledger), rates)


@pytest.mark.parametrize(
    ("chain_m_s", "pitch_m", "stated", "fraction", "agrees"),
    [
        pytest.param(90 * 0.00508, 21 * 0.3048, 257, -0.0006, True, id="90 ft/min at 21 ft: 257.14/h"),
        pytest.param(0.5, 6.5, 276.92, 0.0, True, id="0.5 m/s at 6.5 m: 276.92/h"),
        pytest.param(0.5, 6.5, 290, 0.0472, True, id="4.7 % off"),
        pytest.param(0.5, 6.5, 292, 0.0544, False, id="5.4 % off"),
        pytest.param(0.5, 6.5, 260, -0.0611, False, id="6.1 % under"),
    ],
)  # fmt: skip
def test_the_stated_rate_beside_chain_and_pitch(chain_m_s, pitch_m, stated, fraction, agrees):
    check = stated_check(
        Line(
            line_rate_per_h=stated,
            line_rates_per_h=(),
            chain_speed_m_per_s=chain_m_s,
            vehicle_pitch_m=pitch_m,
        )
    )
    assert check.fraction == pytest.approx(fraction, abs=1e-4)
    assert check.agrees is agrees


def test_without_chain_or_pitch_there_is_nothing_to_check():
    assert stated_check(line(chain_speed_m_per_s=0.4)) is None
    assert stated_check(line(vehicle_pitch_m=6.0)) is None


def test_a_vague_timing_contradicts_nothing():
    assert RateCheck(stated_per_h=110, found=Estimate(value=100, u=6)).agrees
    assert not RateCheck(stated_per_h=110, found=Estimate(value=100, u=1)).agrees


def test_line_speed_goes_with_the_rate():
    assert line_speed_at(line(vehicle_pitch_m=6.0), 90) == pytest.approx(0.15)
    assert line_speed_at(line(chain_speed_m_per_s=0.4), 55) == pytest.approx(0.2)
    assert line_speed_at(line(), 60) is None


@pytest.mark.parametrize(
    ("side", "turns", "driver", "expected"),
    [
        pytest.param(
            "passenger", "against", DriverSide.LEFT,
            [("passenger", Sense.COUNTERCLOCKWISE, SeenFrom.ABOVE)], id="side brush (common practice)",
        ),
        pytest.param(
            "driver", "against", DriverSide.LEFT,
            [("driver", Sense.CLOCKWISE, SeenFrom.ABOVE)], id="other side (common practice)",
        ),
        pytest.param(
            "driver", "with", DriverSide.LEFT,
            [("driver", Sense.COUNTERCLOCKWISE, SeenFrom.ABOVE)], id="wrap",
        ),
        pytest.param(
            "passenger", "against", DriverSide.RIGHT,
            [("passenger", Sense.CLOCKWISE, SeenFrom.ABOVE)], id="driver on the right",
        ),
        pytest.param(
            "both", "with", DriverSide.LEFT,
            [("driver", Sense.COUNTERCLOCKWISE, SeenFrom.ABOVE), ("passenger", Sense.CLOCKWISE, SeenFrom.ABOVE)],
            id="a brush on either side",
        ),
        pytest.param(
            "over", "against", DriverSide.LEFT,
            [("over", Sense.COUNTERCLOCKWISE, SeenFrom.DRIVER_SIDE)], id="top brush",
        ),
    ],
)  # fmt: skip
def test_which_way_a_brush_must_be_seen_to_turn(side, turns, driver, expected):
    machine = ledger_of(machines=brush(side=side, turns=turns)).machines["brush"]
    found = expected_turnings(machine, driver)
    assert [(at, turning.sense, turning.seen_from) for at, turning in found] == expected


def test_without_side_or_turns_no_sense_is_expected():
    machine = ledger_of(machines={"brush": ELECTRIC}).machines["brush"]
    assert expected_turnings(machine, DriverSide.LEFT) == ()


@pytest.mark.parametrize(("seen", "wrong"), [("against", False), ("with", True)])
def test_the_last_look_decides(seen, wrong):
    visits = [
        visit(0, {"at": "brush", "turning": "with"}),
        visit(1, {"at": "brush", "turning": seen}),
    ]
    (one,) = matched(visits, machines=brush()).brushes
    assert one.last_seen.day.isoformat() == "2026-01-06"
    assert one.turned_wrong is wrong


def test_a_brush_never_looked_at_is_not_called_wrong():
    (one,) = matched(machines=brush()).brushes
    assert one.last_seen is None
    assert not one.turned_wrong


def test_cloth_past_the_panel_adds_the_line_against_the_travel_and_takes_it_off_with_it():
    """0.76 m at 92 r/min: edge 3.66100 m/s (worked from πDn/60)."""
    band = [{"line_rate_per_h": 110, "rpm": [90, 94]}]
    cloth = {"diameter_mm": 760, "strips_around": 18}
    only = {"type": "electric", "motor_kw": 2.2}

    def at(turns):
        machines = brush(turns=turns, speed_band=band, brush=cloth, drive=only)
        (one,) = matched(machines=machines, site={"line": LINE}, rates=(110,)).brushes
        return one.rates[0]

    against, with_it = at("against"), at("with")
    assert against.edge_m_s == pytest.approx(3.66100, abs=5e-6)
    assert against.line_m_s == pytest.approx(110 * 6 / 3600)
    assert against.cloth_m_s == pytest.approx(against.edge_m_s + against.line_m_s)
    assert with_it.cloth_m_s == pytest.approx(against.edge_m_s - against.line_m_s)
    assert against.contacts_per_m == pytest.approx(18 * 92 / 60 / against.line_m_s)
    assert against.setting is None


def test_what_file_or_line_leave_open_stays_open():
    (one,) = matched(machines=brush(), rates=(110,)).brushes
    at = one.rates[0]
    assert (at.line_m_s, at.edge_m_s, at.cloth_m_s, at.contacts_per_m) == (None, None, None, None)


def steady(ratio=1.8):
    """Six careful readings at 45 Hz."""
    rng = Random(6)
    rpm = ratio * 45
    return [
        visit(day, {"at": "brush", **draws.timed_turns(rng, rpm, 60), "found_hz": 45})
        for day in range(6)
    ]


def test_at_the_sites_rate_cloth_is_whole_and_the_target_is_aimed_at():
    (one,) = matched(steady(), machines=brush(), rates=(110,)).brushes
    at = one.rates[0]
    assert at.same_cloth.same_cloth_rpm == 80
    assert at.setting == 44.5
    assert at.cloth_share == pytest.approx(1, abs=0.01)


def test_held_at_the_band_the_setting_is_the_nearest_that_is_surely_inside():
    """90/110 of 80 r/min lie under 70; at exactly 70 the brush is out as often as in."""
    (one,) = matched(steady(), machines=brush(), rates=(90,)).brushes
    at = one.rates[0]

    assert at.same_cloth.held_by is HeldBy.LOW
    assert at.same_cloth.rpm == 70
    assert at.p_in_band >= SURE
    assert 70 < at.rpm < 72
    assert at.cloth_share == pytest.approx(at.rpm / (80 * 90 / 110))


def test_held_at_the_upper_limit_steps_go_down():
    (one,) = matched(steady(), machines=brush(), rates=(150,)).brushes
    at = one.rates[0]
    assert at.same_cloth.held_by is HeldBy.HIGH
    assert 84 < at.rpm < 86
    assert at.p_in_band >= SURE


def test_a_drive_that_cannot_reach_says_how_unlikely_its_nearest_step_is():
    slow = {**ELECTRIC["drive"], "hz_limits": [25, 35]}
    (one,) = matched(steady(), machines=brush(drive=slow), rates=(110,)).brushes
    at = one.rates[0]
    assert at.setting == 35
    assert at.p_in_band < 0.01


def test_on_the_nameplate_alone_the_likeliest_step_is_taken():
    (one,) = matched(machines=brush(), rates=(90,)).brushes
    at = one.rates[0]
    assert at.p_in_band < SURE
    assert abs(at.rpm - 75) < 0.5


def test_counts_that_disagree_give_no_step():
    """Two counts of 30 s, 76 and 82 r/min at one setting: nothing to set by."""
    visits = [
        visit(day, {"at": "brush", "counted": counted, "seconds": 30, "found_hz": 45})
        for day, counted in enumerate((38, 41))
    ]
    at_110 = matched(visits, rates=(110,)).brushes[0].rates[0]

    assert at_110.setting is None
    assert at_110.p_in_band is None


def test_bands_stated_drawn_between_and_taken_from_the_nearest():
    (found,) = matched(rates=(90, 100, 200), machines=brush()).brushes
    assert [format_band(at.same_cloth, found) for at in found.rates] == [
        "70–80, 75",
        "72–83, 77.5 (between)",
        "74–86, 80 (nearest)",
    ]


def test_machines_without_a_band_are_left_out():
    bare = {k: v for k, v in HYDRAULIC.items() if k != "speed_band"}
    assert matched(machines={"low": bare}).brushes == ()


def test_a_line_rate_that_is_none_is_refused():
    with pytest.raises(ValueError, match="above 0"):
        matched(machines=brush(), rates=(-1,))


LEDGER = ledger_of(steady(), machines=brush())
RESULTS = speed_results(LEDGER)


@given(rate=st.floats(20, 300))
def test_the_setting_stays_inside_the_limits_and_on_its_side_of_the_middle(rate):
    (one,) = line_matching(LEDGER, RESULTS, (rate,)).brushes
    (at,) = one.rates
    band = at.same_cloth.band
    assert 25 <= at.setting <= 60
    if at.same_cloth.held_by is HeldBy.LOW:
        assert at.rpm <= band.middle + 1
    if at.same_cloth.held_by is HeldBy.HIGH:
        assert at.rpm >= band.middle - 1
