import math
from dataclasses import replace

import pytest
from small_site import ELECTRIC, ledger_of, visit

from ledger.book.entry_words import format_raw
from ledger.compute.band import Band, Verdict
from ledger.compute.speed import Speed
from ledger.model.machines import RateBand
from ledger.model.visits import PassCount, TimedTurns
from ledger.upkeep.speeds.found import (
    advice,
    agreement_with,
    band_of,
    band_points,
    by_entry,
    speed_results,
    target_of,
)
from ledger.upkeep.speeds.ratios import drive_ratio, fit_of
from ledger.upkeep.speeds.words import format_count


def results_of(*entries, **rest):
    return speed_results(ledger_of([visit(0, *({"at": "brush", **e} for e in entries))], **rest))


def only(entry, **rest):
    (result,) = results_of(entry, **rest)
    return result


@pytest.mark.parametrize(
    ("entry", "rpm", "u_rpm", "said"),
    [
        pytest.param(
            {"counted": 23, "seconds": 15}, 92.000, 1.74438, "23 passes in 15 s",
            id="23 passes in 15 s, u_T 0.10 s (uncertainties 3.2.3, GTC 1.5.1)",
        ),
        pytest.param(
            {"counted": 23, "seconds": 15, "start": "on-pass"}, 60 * 23.5 / 15.11, 60 * 23.5 / 15.11 * 0.1 / 15.11,
            "23 passes in 15 s, started on a pass",
            id="started on a pass: half added, 0.11 s late; the phase is shared (GUM 4.3.7)",
        ),
        pytest.param(
            {"counted": 46, "seconds": 15, "passes_per_turn": 2}, 92.000, 1.02120,
            "46 passes in 15 s, 2 passes a turn", id="two marked arms",
        ),
        pytest.param(
            {"turns": 20, "seconds": 13.05}, 91.954, 0.70463, "20 turns in 13.05 s",
            id="20 turns in 13.05 s (uncertainties 3.2.3)",
        ),
        pytest.param(
            {"tachometer_rpm": 80, "accuracy_percent": 0.5}, 80, math.hypot(0.4 / math.sqrt(3), 0.05 / math.sqrt(3), 0.16),
            "tachometer 80 r/min (accuracy 0.5 %)", id="instrument, rectangle (GUM 4.3.7)",
        ),
        pytest.param(
            {"tachometer_rpm": 80, "accuracy_rpm": 1}, 80, math.hypot(1 / math.sqrt(3), 0.05 / math.sqrt(3), 0.16),
            "tachometer 80 r/min (accuracy 1 r/min)", id="instrument, accuracy in r/min",
        ),
        pytest.param(
            {"turns": 10, "frames": 240, "fps": 30}, 75, 75 * math.hypot(1 / math.sqrt(6) / 240, 0.001 / math.sqrt(3)),
            "10 turns in 240 frames at 30/s", id="film: half a frame at either end, a nominal rate",
        ),
        pytest.param(
            {"taps_s": [0, 0.75, 1.5, 2.25, 3.0]}, 80, 80 / 0.75 * 0.01 / math.sqrt(12) * 0.316228,
            "5 taps", id="even taps: sqrt(12/(m(m2-1))) of the watch's resolution",
        ),
    ],
)  # fmt: skip
def test_raw_numbers_become_a_speed_with_its_uncertainty(entry, rpm, u_rpm, said):
    result = only(entry)

    assert result.speed.rpm == pytest.approx(rpm, abs=5e-4)
    own = result.speed.u_own_rpm if isinstance(result.entry.speed, BY_HAND) else result.speed.u_rpm
    assert own == pytest.approx(u_rpm, abs=5e-5)
    assert format_raw(result.entry.speed) == said


BY_HAND = (PassCount, TimedTurns)


def test_the_sites_own_timing_counts():
    slow_hand = {"policy": {"timing_u_s": 0.5}}
    assert only({"turns": 20, "seconds": 15}, site=slow_hand).speed.u_own_rpm == pytest.approx(
        80 / 30
    )


def test_numbers_that_give_no_speed_say_why():
    result = only({"taps_s": [0, 0.75, 1.5, 9.0, 9.75]})

    assert result.speed is None
    assert result.flaw == "a pause of 7.5 s between taps: tap again"
    assert result.verdict is None
    assert advice(result, timing_u_s=0.1) == ""
    assert agreement_with(result, Speed(rpm=80, u_rpm=1)) is None


@pytest.mark.parametrize(
    ("entry", "verdict"),
    [
        ({"turns": 40, "seconds": 30}, Verdict.IN_BAND),
        ({"turns": 45, "seconds": 30}, Verdict.OUT_OF_BAND),
        ({"counted": 14, "seconds": 10}, Verdict.CANNOT_TELL),
    ],
)
def test_the_verdict_is_on_the_band_of_the_line_rate(entry, verdict):
    assert only(entry).verdict is verdict


def test_the_line_rate_of_the_entry_comes_before_that_of_the_site():
    at_90, at_site = results_of(
        {"turns": 37, "seconds": 30, "line_rate_per_h": 90}, {"turns": 37, "seconds": 30}
    )

    assert (at_90.band, at_90.verdict) == (Band(low=70, high=80), Verdict.IN_BAND)
    assert (at_site.band.low, at_site.verdict) == (74, Verdict.CANNOT_TELL)


def test_advice_names_a_count_and_turns_that_would_tell():
    """No 10 s hand count can prove 74-86: U(k=2) is about 6 (common practice, checked by GUM)."""
    result = only({"counted": 13, "seconds": 10})

    words = advice(result, timing_u_s=0.1)
    assert words.startswith("count for ")
    assert "whole turns" in words


def test_advice_too_close_to_a_limit():
    result = only({"tachometer_rpm": 86, "accuracy_rpm": 1})
    assert advice(result, timing_u_s=0.1) == "too close to a limit for any count to tell"


def test_between_rates_limits_and_target_lie_on_a_straight_line():
    brush = {**ELECTRIC, "speed_band": [
        {"line_rate_per_h": 90, "rpm": [70, 80], "target_rpm": 74},
        {"line_rate_per_h": 110, "rpm": [74, 86]},
    ]}  # fmt: skip
    machine = ledger_of(machines={"brush": brush}).machines["brush"]

    assert band_of(machine, 100) == (Band(low=72, high=83), False)
    assert target_of(machine, 100) == 77
    assert band_of(machine, 140) == (Band(low=74, high=86), True)


def test_a_machine_without_a_band():
    machine = replace(ledger_of().machines["brush"], speed_band=())
    assert band_of(machine, 120) == (None, False)
    assert target_of(machine, 120) is None


def test_a_band_turned_round_is_left_out_instead_of_failing():
    machine = ledger_of().machines["brush"]
    reversed_band = RateBand(line_rate_per_h=100, low_rpm=85, high_rpm=75, target_rpm=80)
    twice = replace(machine.speed_band[0], low_rpm=10)
    doubtful = replace(machine, speed_band=(*machine.speed_band, reversed_band, twice))

    assert band_points(doubtful) == band_points(machine)


def test_a_count_belongs_to_the_setting_found():
    found, left, none = results_of(
        {"turns": 20, "seconds": 15, "found_hz": 44},
        {"turns": 20, "seconds": 15, "found_hz": 44, "left_hz": 45.5},
        {"turns": 20, "seconds": 15},
    )
    assert [(r.setting, r.unit) for r in (found, left, none)] == [
        (44, "Hz"),
        (44, "Hz"),
        (None, ""),
    ]


STEPS = [
    {"hz": 38, "counted": 31, "seconds": 30},
    {"hz": 40.5, "turns": 20, "seconds": 18.2},
    {"hz": 42, "counted": 35, "seconds": 30},
]


def test_each_count_of_a_session_is_read_at_its_own_setting():
    session = results_of({"steps": STEPS})
    alone = results_of(
        *(
            {**{k: v for k, v in step.items() if k != "hz"}, "found_hz": step["hz"]}
            for step in STEPS
        )
    )
    assert [(r.setting, r.unit, r.speed) for r in session] == [
        (r.setting, r.unit, r.speed) for r in alone
    ]
    assert [str(r.entry.ref) for r in session] == [
        f"2026-01-05T1000-a-holt#1.{number}" for number in (1, 2, 3)
    ]
    assert list(by_entry(session).values()) == [list(session)]


def test_a_session_teaches_the_ratio_what_its_counts_teach_apart():
    ledger = ledger_of([visit(0, {"at": "brush", "steps": STEPS})])
    ratio = drive_ratio(ledger, ledger.machines["brush"], speed_results(ledger))
    assert len(ratio.used) == 3
    assert ratio.fit.rpm_per_unit == pytest.approx(
        fit_of(results_of({"steps": STEPS})).rpm_per_unit
    )


def test_a_step_in_words_with_what_it_was_counted_at():
    ledger = ledger_of([visit(0, {"at": "brush", "steps": STEPS[:1]})])
    (result,) = speed_results(ledger)
    assert format_count(result, ledger.site) == "31 passes in 30 s at 38 Hz = 62.0 ± 1.7 r/min, out of band"  # fmt: skip


def test_a_correction_counts_on_the_day_of_what_it_corrects():
    wrong = visit(0, {"at": "brush", "counted": 19, "seconds": 15, "found_hz": 45})
    mended = visit(
        9,
        {
            "corrects": "2026-01-05T1000-a-holt#1",
            "reason": "Read the wrong line.",
            "at": "brush",
            "counted": 20,
            "seconds": 15,
            "found_hz": 45,
        },
    )
    (result,) = speed_results(ledger_of([wrong, mended]))

    assert result.speed.rpm == 80
    assert result.entry.day.isoformat() == "2026-01-05"


def test_agreement_is_the_e_number_of_iso_13528():
    result = only({"tachometer_rpm": 80, "accuracy_rpm": math.sqrt(3) * 3})
    # U is 6 and 8, so the difference of 5 is half of their root sum of squares; and a digit.
    assert agreement_with(result, Speed(rpm=85, u_rpm=4)) == pytest.approx(-0.5, abs=1e-3)
