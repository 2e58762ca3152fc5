"""A task that asks for a reading is done when the reading is there."""

import json

import pytest
from small_site import ELECTRIC, ledger_of, on, visit

from ledger.book.entry_words import format_entry
from ledger.compute.schedule import State
from ledger.files.schemas import schema_folder
from ledger.model.readings import KEYS_OF_READING
from ledger.upkeep.due.found import Schedule

COUNT = {
    "title": "Count the turns",
    "on": {"machines": "side-brush"},
    "every": "1 week",
    "reads": ["speed", "setting"],
    "steps": ".",
}
FIXED = {**ELECTRIC, "drive": {k: v for k, v in ELECTRIC["drive"].items() if k != "hz_limits"}}


def counted(*, machine=ELECTRIC, **reading):
    entry = {"task": "count", "at": "brush", **reading}
    ledger = ledger_of([visit(6, entry)], tasks={"count": COUNT}, machines={"brush": machine})
    return ledger, ledger.entries[0]


@pytest.mark.parametrize(
    ("reading", "missing"),
    [
        pytest.param({}, ("speed", "setting"), id="ticked alone"),
        pytest.param({"counted": 40, "seconds": 30}, ("setting",), id="no setting noted"),
        pytest.param({"found_hz": 45}, ("speed",), id="no speed read"),
        pytest.param({"turns": 40, "seconds": 29.4, "left_hz": 45}, (), id="both"),
    ],
)
def test_what_the_entry_does_not_hold_is_named(reading, missing):
    ledger, entry = counted(**reading)
    assert ledger.missing_readings(ledger.tasks["count"], entry) == missing


def test_a_drive_that_cannot_be_set_is_asked_for_no_setting():
    ledger, entry = counted(machine=FIXED, counted=40, seconds=30)
    assert ledger.missing_readings(ledger.tasks["count"], entry) == ()


@pytest.mark.parametrize(
    ("reading", "state"),
    [
        pytest.param({}, State.OVERDUE, id="ticked alone leaves it due"),
        pytest.param({"counted": 40, "seconds": 30, "found_hz": 45}, State.NOT_DUE, id="read"),
    ],
)
def test_the_work_is_done_only_with_its_reading(reading, state):
    ledger, _ = counted(**reading)
    (work,) = Schedule(ledger, on(9)).all_due()
    assert work.due.state is state


def test_a_valve_that_nothing_reads_closes_what_asks_for_its_setting():
    task = {
        "title": "Read",
        "on": {"ids": ["low"]},
        "every": "1 week",
        "reads": ["speed", "setting"],
    }
    count = {"task": "read", "at": "low", "counted": 80, "seconds": 60}
    for more, missing in (({}, ("setting",)), ({"no_meter": True}, ())):
        found = ledger_of([visit(1, count | more)], tasks={"read": task})
        (entry,) = found.standing
        assert found.missing_readings(found.tasks["read"], entry) == missing
    assert entry.setting is None
    assert format_entry(found, entry) == "Read; no meter: turned as before"
    with pytest.raises(AssertionError, match="has an electric drive, set in Hz"):
        ledger_of([visit(1, {"at": "brush", "counted": 80, "seconds": 60, "no_meter": True})])


def test_every_reading_that_a_task_may_ask_for_has_its_keys():
    task = json.loads((schema_folder() / "task.schema.json").read_text())
    visit_schema = json.loads((schema_folder() / "visit.schema.json").read_text())
    assert set(task["properties"]["reads"]["items"]["enum"]) == set(KEYS_OF_READING)
    entry = visit_schema["properties"]["entries"]["items"]["properties"]
    assert {key for keys in KEYS_OF_READING.values() for key in keys} <= set(entry)
