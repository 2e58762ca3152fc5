"""Rows for programs: plain values that JSON holds, with every digit."""

import json
from datetime import date

from small_site import ledger_of, setpoint, visit

from ledger.upkeep.due.found import Schedule
from ledger.upkeep.due.table import due_rows
from ledger.upkeep.register.found import follow_ups
from ledger.upkeep.register.words import follow_up_rows
from ledger.upkeep.speeds.found import speed_results
from ledger.upkeep.speeds.table import speed_rows

TASKS = {"speed": {"title": "Speed", "on": {"ids": ["brush"]}, "every": "1 week", "reads": ["speed"], "lockout": True, "minutes": 3}}  # fmt: skip


def test_a_speed_with_its_setting_band_and_verdict():
    ledger = ledger_of([visit(0, {"at": "brush", "turns": 80, "seconds": 60, "found_hz": 44})])
    (row,) = speed_rows(speed_results(ledger))
    assert json.loads(json.dumps(row)) == row
    assert row["rpm"] == 80
    assert row["expanded_uncertainty_rpm"] > row["standard_uncertainty_rpm"] > 0
    assert (row["setting"], row["setting_unit"], row["band_low_rpm"], row["band_high_rpm"]) == (44, "Hz", 74, 86)  # fmt: skip
    assert (row["verdict"], row["flaw"], row["read"]) == ("in band", None, "80 turns in 60 s")


def test_a_reading_without_a_speed_says_why():
    ledger = ledger_of([visit(0, {"at": "brush", "taps_s": [1, 1, 1, 1, 1]})])
    (row,) = speed_rows(speed_results(ledger))
    assert row["rpm"] is None
    assert row["verdict"] is None
    assert row["flaw"]


def test_due_work_with_its_reason_and_its_last_time():
    done = {"task": "speed", "at": "brush", "counted": 80, "seconds": 60}
    ledger = ledger_of([visit(0, done)], tasks=TASKS)
    day = date(2026, 1, 20)
    (row,) = due_rows(ledger, Schedule(ledger, day).all_due())
    assert json.loads(json.dumps(row)) == row
    assert (row["due_on"], row["overdue_days"], row["last_done"], row["because"]) == ("2026-01-12", 8, "2026-01-05", "1 week")  # fmt: skip
    assert (row["lockout"], row["needs"], row["minutes"], row["state"]) == (True, ["lockout"], 3, "overdue")  # fmt: skip


def test_a_setting_that_waits_for_a_reading_has_the_same_keys_and_its_own():
    ledger = ledger_of([], tasks=TASKS, setpoints=[setpoint(0, 44)])
    day = date(2026, 1, 20)
    (asked,) = follow_up_rows(follow_ups(ledger, speed_results(ledger), day))
    (due,) = due_rows(ledger, Schedule(ledger, day).all_due())
    assert due.keys() - {"remembered"} < asked.keys()
    assert (asked["setting"], asked["setting_unit"], asked["in_force_since"], asked["task"]) == (44, "Hz", "2026-01-05", None)  # fmt: skip
    assert asked["overdue_days"] == 8
