"""What is in force of a drive on a day, and what is approved to come."""

import pytest
from small_site import LOOK, ledger_of, on, setpoint, visit

from ledger.upkeep.register.found import last_day_on_record, standing_of
from ledger.upkeep.tuning.found import tune


def standing(day, *, visits=(), **rest):
    ledger = ledger_of(visits, setpoints=[setpoint(2, 43), setpoint(9, 44, **rest)])
    found = standing_of(ledger, "brush", None if day is None else on(day))
    return found.change and found.change.value, [change.value for change in found.coming]


@pytest.mark.parametrize(
    ("day", "found"),
    [
        pytest.param(1, (None, [43, 44]), id="before the first"),
        pytest.param(2, (43, [44]), id="the first day of the first"),
        pytest.param(8, (43, [44]), id="the day before the next"),
        pytest.param(9, (44, []), id="the first day of the next"),
    ],
)
def test_a_setting_is_in_force_from_its_first_day_on(day, found):
    assert standing(day) == found
    assert standing(None, visits=[visit(day, LOOK)]) == found


def test_a_site_without_a_day_on_record_stands_at_its_newest():
    assert last_day_on_record(ledger_of([], setpoints=[setpoint(2, 43)])) is None
    assert standing(None) == (44, [])


def test_an_approval_is_a_day_on_record_too():
    assert standing(None, visits=[visit(4, LOOK)], approved_on=f"{on(9)}") == (44, [])
    assert standing(None, visits=[visit(4, LOOK)], approved_on=f"{on(5)}") == (43, [44])


@pytest.mark.parametrize(("day", "in_force", "coming"), [(8, 43, [44]), (9, 44, [])])
def test_a_drive_is_tuned_from_what_is_in_force_on_the_day(day, in_force, coming):
    ledger = ledger_of([visit(4, LOOK)], setpoints=[setpoint(2, 43), setpoint(9, 44)])
    tuning = tune(ledger, ledger.machines["brush"], (), as_of=on(day))
    assert tuning.change_in_force.value == in_force
    assert [change.value for change in tuning.coming] == coming
