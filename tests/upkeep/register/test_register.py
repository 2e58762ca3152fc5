import pytest
from small_site import ELECTRIC, ledger_of, setpoint, visit

from ledger.upkeep.register.found import (
    found_agrees,
    is_same_setting,
    register,
    register_line,
    step_start,
)
from ledger.upkeep.speeds.found import speed_results

NO_NAMEPLATE = {
    **ELECTRIC,
    "drive": {k: v for k, v in ELECTRIC["drive"].items() if k != "reduction"},
}


def read(rpm, hz, **rest):
    return {"at": "brush", "turns": 40, "seconds": 2400 / rpm, "found_hz": hz, **rest}


def proposal(day, hz, **rest):
    return {k: v for k, v in setpoint(day, hz, **rest).items() if k != "approved_by"}


def line_of(visits, setpoints=(), **rest):
    ledger = ledger_of(visits, setpoints=setpoints, **rest)
    return register_line(ledger, ledger.machines["brush"], speed_results(ledger))


def test_every_drive_that_can_be_set_in_walking_order():
    fixed = {**ELECTRIC, "station": 5, "drive": {"type": "electric", "motor_kw": 2.2}}
    late = {**ELECTRIC, "station": 30}
    ledger = ledger_of(machines={"late": late, "fixed": fixed, "brush": ELECTRIC})

    assert [line.machine.ident for line in register(ledger, ())] == ["brush", "late"]


def test_a_drive_without_a_file_of_settings():
    line = line_of([visit(0, read(81, 45))])
    assert (line.setpoints, line.in_force, line.proposals, line.confirmation) == (
        None, None, (), None,
    )  # fmt: skip
    assert line.as_found.value == 45
    assert (line.as_found.expected, line.as_found.agrees) == (None, None)


def test_the_newest_approved_change_is_in_force_and_a_proposal_is_not():
    line = line_of(
        [],
        [
            setpoint(0, 48),
            setpoint(10, 44.5),
            proposal(20, 42, withdrawn="Wrong brush."),
            proposal(30, 43),
        ],
    )
    assert line.in_force.change.value == 44.5
    assert [outlook.change.value for outlook in line.proposals] == [43]


OWN = {"proposed_by": "b-marsh", "approved_by": "b-marsh"}


def test_a_change_only_claimed_approved_stands_apart_and_what_was_approved_stays():
    line = line_of([], [setpoint(0, 48), setpoint(10, 44, **OWN)])
    assert line.in_force.change.value == 48
    assert [outlook.change.value for outlook in line.claims] == [44]
    assert line.proposals == ()


@pytest.mark.parametrize(
    ("found", "agrees", "claimed"),
    [
        pytest.param(44, False, 2, id="the drive stands at what was only claimed"),
        pytest.param(48, True, None, id="the drive stands at what was approved"),
        pytest.param(46, False, None, id="the drive stands at neither"),
    ],
)
def test_a_drive_found_where_an_approval_is_only_claimed(found, agrees, claimed):
    visits = [visit(20, {"at": "brush", "found_hz": found})]
    as_found = line_of(visits, [setpoint(0, 48), setpoint(10, 44, **OWN)]).as_found
    assert (as_found.value, as_found.agrees) == (found, agrees)
    assert (as_found.claimed and as_found.claimed.number) == claimed


@pytest.mark.parametrize(
    ("changes", "start"),
    [
        pytest.param((), None, id="no file of settings"),
        pytest.param((setpoint(0, 48),), 48, id="the setting in force"),
        pytest.param((setpoint(0, 50, **OWN),), 46, id="nothing approved: what it was left at"),
    ],
)
def test_what_a_new_change_is_a_step_from(changes, start):
    visits = [visit(20, {"at": "brush", "found_hz": 45, "left_hz": 46})]
    ledger = ledger_of(visits, setpoints=changes)
    assert step_start(ledger, ledger.machines["brush"]) == start


def test_the_outlook_is_the_ratio_at_the_setting_and_the_chance_of_its_band():
    line = line_of([visit(day, read(81, 45)) for day in range(4)], [setpoint(0, 45)])

    assert line.in_force.speed.rpm == pytest.approx(81)
    assert line.in_force.band.low == 74
    assert line.in_force.p_in_band > 0.99


def test_an_outlook_without_ratio_or_band():
    bare = {k: v for k, v in NO_NAMEPLATE.items() if k != "speed_band"}
    line = line_of([], [setpoint(0, 45)], machines={"brush": bare})
    assert (line.in_force.speed, line.in_force.band, line.in_force.p_in_band) == (None, None, None)


@pytest.mark.parametrize(
    ("day", "found", "agrees"),
    [
        pytest.param(5, 48, True, id="before the change, the old value"),
        pytest.param(5, 44.5, False, id="before the change, the new value"),
        pytest.param(10, 48, True, id="on the day of the change, still the old value"),
        pytest.param(10, 44.5, True, id="on the day of the change, already the new value"),
        pytest.param(10, 46, False, id="on the day of the change, another value"),
        pytest.param(11, 48, False, id="after the change, the old value"),
        pytest.param(11, 44.7, True, id="within half a step of the display"),
        pytest.param(11, 44.8, False, id="beyond half a step"),
    ],
)
def test_what_was_found_against_what_was_in_force_that_day(day, found, agrees):
    line = line_of(
        [visit(day, {"at": "brush", "found_hz": found})], [setpoint(0, 48), setpoint(10, 44.5)]
    )
    assert line.as_found.agrees is agrees


@pytest.mark.parametrize(
    ("entry", "changes", "agrees"),
    [
        pytest.param({"found_hz": 48, "left_hz": 45}, (), False, id="nobody approved it"),
        pytest.param({"found_hz": 45, "left_hz": 48}, (), True, id="put back as approved"),
        pytest.param(
            {"found_hz": 48, "left_hz": 45}, (setpoint(8, 45),), True, id="approved since"
        ),
        pytest.param(
            {"steps": [{"hz": 48, "counted": 43, "seconds": 30}, {"hz": 45, "counted": 40, "seconds": 30}]},
            (),
            False,
            id="a session that ends at a value of its own",
        ),
    ],
)  # fmt: skip
def test_what_the_drive_was_left_at_against_what_was_approved(entry, changes, agrees):
    line = line_of([visit(5, {"at": "brush", **entry})], [setpoint(0, 48), *changes])
    assert line.as_left.agrees is agrees


def test_a_drive_that_was_only_looked_at_was_left_at_nothing_new():
    visits = [visit(1, {"at": "brush", "left_hz": 45}), visit(5, {"at": "brush", "found_hz": 48})]
    assert line_of(visits, [setpoint(0, 48)]).as_left is None


def test_before_any_setting_there_is_nothing_to_agree_with():
    ledger = ledger_of([visit(0, {"at": "brush", "found_hz": 45})], setpoints=[setpoint(5, 45)])
    machine, drive = ledger.machines["brush"], ledger.setpoints["brush"]
    assert found_agrees(machine, drive, ledger.entries[0], 45) == (None, None)


def test_the_last_value_found_is_shown():
    line = line_of(
        [visit(day, {"at": "brush", "found_hz": 44 + day}) for day in range(3)], [setpoint(0, 46)]
    )
    assert (line.as_found.value, line.as_found.agrees) == (46, True)


def confirmed(rpm):
    """Four readings of 81 r/min at 45 Hz, a change to 44 Hz, and one reading there."""
    visits = [visit(day, read(81, 45)) for day in range(4)]
    return line_of([*visits, visit(9, read(rpm, 44))], [setpoint(0, 45), setpoint(8, 44)])


def test_a_reading_at_the_new_setting_confirms_what_was_predicted_before_it():
    confirmation = confirmed(79.3).confirmation

    assert confirmation.predicted.rpm == pytest.approx(44 * 1.8)
    assert confirmation.holds


def test_a_reading_that_does_not_confirm():
    assert confirmed(76).confirmation.holds is False


def test_readings_before_the_change_or_at_another_setting_confirm_nothing():
    line = line_of(
        [visit(0, read(79, 44)), visit(9, read(81, 45))], [setpoint(0, 45), setpoint(8, 44)]
    )
    assert line.confirmation is None


def test_a_first_reading_is_held_against_the_nameplate():
    line = line_of([visit(1, read(81, 45))], [setpoint(0, 45)])
    assert line.confirmation.predicted.rpm == pytest.approx(1.8125 * 45)
    assert line.confirmation.holds


def test_without_a_nameplate_a_first_reading_cannot_hold_or_fail():
    line = line_of([visit(1, read(81, 45))], [setpoint(0, 45)], machines={"brush": NO_NAMEPLATE})
    assert line.confirmation.holds is None


def test_settings_are_one_to_half_a_step_of_the_drive():
    ledger = ledger_of()
    assert is_same_setting(ledger.machines["brush"], 44.5, 44.75)
    assert not is_same_setting(ledger.machines["brush"], 44.5, 44.76)
    # A tenth of the unit of its limits is the step of a flow control that tells none.
    assert is_same_setting(ledger.machines["low"], 14.4, 14.4 + 0.05)
    assert not is_same_setting(ledger.machines["low"], 14.4, 14.4 + 0.06)
