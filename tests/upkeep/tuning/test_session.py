"""What a tuning session says after each count, for the terminal and for the phone alike.

`tests/vectors/session.json` is written from the cases below by

    python -m tests.upkeep.tuning.test_session

and a test fails when it is stale.
"""

import dataclasses
import json
from pathlib import Path

import pytest
from small_site import HYDRAULIC, ledger_of, setpoint, visit

from ledger.compute.band import Band
from ledger.model.build_visit import speed_reading_of
from ledger.upkeep.speeds.found import speed_of
from ledger.upkeep.speeds.ratios import neighbours_of
from ledger.upkeep.tuning.session import (
    AdviceKind,
    SessionDrive,
    advice_after,
    aim_of,
    practice_of,
    propose_command,
    session_drive,
)

VECTORS = Path(__file__).parents[2] / "vectors" / "session.json"

HERTZ = SessionDrive(unit="Hz", step=0.5, low=30, high=50, most=2)
GALLONS = SessionDrive(unit="gpm", step=0.1, low=3.2, high=4.4, most=0.3)
BAND, TARGET = (58, 68), 63


def timed(setting, rpm, turns=40, key="hz"):
    return {key: setting, "turns": turns, "seconds": round(turns * 60 / rpm, 2)}


def counted(setting, passes, seconds=30, key="hz"):
    return {key: setting, "counted": passes, "seconds": seconds}


# name, drive, band, target, counts
CASES = [
    ("one count below", HERTZ, BAND, TARGET, [timed(38, 57)]),
    ("far below: two hertz at once", HERTZ, BAND, TARGET, [timed(34, 51)]),
    ("two counts, in band a step off", HERTZ, BAND, TARGET, [timed(38, 57), timed(40, 61.2)]),
    ("in band at the best step", HERTZ, BAND, TARGET, [timed(38, 57), timed(42, 63.1)]),
    ("in band, two steps off, surely", HERTZ, BAND, TARGET, [timed(40, 60.0, turns=120)]),
    ("a vague count in the middle", HERTZ, BAND, TARGET, [counted(42, 10, 10)]),
    ("three vague counts", HERTZ, BAND, TARGET, [counted(42, 10, 10)] * 3),
    ("the speed went the other way", HERTZ, BAND, TARGET, [timed(38, 57), timed(40, 52)]),
    ("it hardly moved", HERTZ, BAND, TARGET, [timed(38, 57), timed(40, 56.9)]),
    ("beyond the drive", HERTZ, BAND, TARGET, [timed(50, 52)]),
    ("above, come down", HERTZ, BAND, TARGET, [timed(48, 74)]),
    ("six counts", HERTZ, BAND, TARGET, [timed(38 + n / 2, 50 + n / 9) for n in range(6)]),
    ("no step brings it in", dataclasses.replace(HERTZ, step=4), (62.8, 63.2), 63, [timed(40, 61)]),
    ("oil, too slow", GALLONS, BAND, TARGET, [timed(3.5, 56.1, key="flow_gpm")]),
    ("oil, not beyond what is allowed", GALLONS, BAND, TARGET, [timed(4.2, 50, key="flow_gpm")]),
    ("oil at the edge of what is allowed", GALLONS, BAND, TARGET, [timed(4.4, 55, key="flow_gpm")]),
    ("taps", HERTZ, BAND, TARGET, [{"hz": 40, "taps_s": [round(n * 1.02 + (n % 3) / 50, 3) for n in range(14)]}]),
    ("counts of one place and two ways", HERTZ, BAND, TARGET, [counted(41, 30), timed(41, 60.4)]),
]  # fmt: skip


def advised(drive, band, target, steps):
    counts = []
    for step in steps:
        (setting,) = [value for key, value in step.items() if key in ("hz", "flow_gpm")]
        counts.append((setting, speed_of(speed_reading_of(step), timing_u_s=0.1)))
    return advice_after(drive, Band(low=band[0], high=band[1]), target, counts)


def vectors():
    return [
        {
            "id": ident,
            "drive": dataclasses.asdict(drive),
            "band": {"low": band[0], "high": band[1]},
            "target": target,
            "steps": steps,
            "stem": "flow_gpm" if drive.unit == "gpm" else "hz",
            "expect": dataclasses.asdict(advised(drive, band, target, steps)),
        }
        for ident, drive, band, target, steps in CASES
    ]


def rendered():
    return json.dumps(vectors(), ensure_ascii=False, indent=1) + "\n"


def test_the_file_is_current():
    assert VECTORS.read_text(encoding="utf-8") == rendered()


@pytest.mark.parametrize(
    ("ident", "kind", "setting", "words"),
    [
        ("one count below", "next", 40, "Try 40 Hz: about 60 r/min expected. At most 2 Hz at once."),
        ("two counts, in band a step off", "next", 41.5, "Try 41.5 Hz: about 63 r/min expected."),
        ("in band at the best step", "stop", None, "Stop: in band, and no step of the drive comes nearer."),
        ("a vague count in the middle", "again", 42, "Time whole turns at 42 Hz: the counts so far cannot tell."),
        ("the speed went the other way", "cause", None, "Stop: the speed did not follow the setting. Look at belt, coupling, pump or the mark, and make it a finding."),
        ("beyond the drive", "limit", None, "Stop: 63 r/min would take 60.5 Hz, beyond the 30 to 50 that the drive or the site allows at once."),
        ("six counts", "many", None, "Stop: 6 counts. Leave it, and look for the cause."),
        ("no step brings it in", "cause", None, "Stop: no step of the drive brings it into its band. Look for the cause."),
        ("oil, too slow", "next", 3.8, "Try 3.8 gpm: about 61 r/min expected. At most 0.3 gpm at once."),
        ("counts of one place and two ways", "next", 43, "Try 43 Hz: about 63 r/min expected."),
    ],
)  # fmt: skip
def test_what_is_said_after_the_counts(ident, kind, setting, words):
    found = next(case["expect"] for case in vectors() if case["id"] == ident)
    assert (found["kind"], found["setting"], found["words"]) == (kind, setting, words)


def test_every_kind_of_advice_is_among_the_cases():
    assert {case["expect"]["kind"] for case in vectors()} == set(AdviceKind)


def test_nothing_counted_is_no_session():
    with pytest.raises(ValueError, match="at least one count"):
        advised(HERTZ, BAND, TARGET, [])


US = {"units": "us"}


def test_a_drive_may_go_as_far_as_the_site_allows_at_once():
    ledger = ledger_of(setpoints=[setpoint(0, 44)])
    drive = session_drive(ledger, ledger.machines["brush"])
    assert dataclasses.astuple(drive) == ("Hz", 0.5, 39, 49, 2)
    free = ledger_of()
    assert session_drive(free, free.machines["brush"]).high == 60
    oil = ledger_of(site=US)
    assert session_drive(oil, oil.machines["low"]).unit == "gpm"
    assert session_drive(oil, oil.machines["low"]).step == pytest.approx(0.026)
    bare = ledger_of(machines={"brush": {"name": "B", "kind": "wrap", "station": 1}})
    assert session_drive(bare, bare.machines["brush"]) is None
    assert aim_of(bare.machines["brush"], 120) is None


def test_what_is_minded_is_that_of_the_drive():
    ledger = ledger_of(
        machines={"low": HYDRAULIC, "low-2": {**HYDRAULIC, "name": "Second low brush"}}
    )
    low = ledger.machines["low"]
    assert [one.ident for one in neighbours_of(ledger, low)] == ["low-2"]
    said = practice_of(ledger, low)
    assert "The oil is warm." in said
    assert said[-1] == "Read Second low brush again: the pump may be the same."
    electric = ledger_of()
    said = practice_of(electric, electric.machines["brush"])
    assert "The panel's door stays shut: set the drive at its keypad." in said
    assert not any("pump" in line for line in said)


@pytest.mark.parametrize(
    ("entry", "command"),
    [
        pytest.param({"at": "brush", "steps": [timed(44, 80), timed(45.5, 83)]}, "tunnelbook propose brush --hz 45.5 --evidence '2026-01-10T1000-a-holt#1' --why 'Tuned and counted.'", id="left elsewhere"),
        pytest.param({"at": "brush", "steps": [timed(45.5, 83), timed(44, 80)]}, "", id="left as approved"),
        pytest.param({"at": "brush", "found_hz": 45.5}, "", id="only looked at"),
        pytest.param({"at": "low", "found_flow_lpm": 13, "left_flow_lpm": 14.2}, "tunnelbook propose low --flow-lpm 14.2 --evidence '2026-01-10T1000-a-holt#1' --why 'Tuned and counted.'", id="oil"),
    ],
)  # fmt: skip
def test_what_was_left_otherwise_is_proposed_by_a_command(entry, command):
    ledger = ledger_of([visit(5, entry)], setpoints=[setpoint(0, 44)])
    assert propose_command(ledger, ledger.entries[0]) == command


@pytest.mark.parametrize(
    "case", json.loads(VECTORS.read_text(encoding="utf-8")), ids=lambda c: c["id"]
)
def test_a_session_never_goes_where_the_drive_may_not(case):
    drive, setting = case["drive"], case["expect"]["setting"]
    assert setting is None or drive["low"] <= setting <= drive["high"]


if __name__ == "__main__":
    VECTORS.write_text(rendered(), encoding="utf-8")
