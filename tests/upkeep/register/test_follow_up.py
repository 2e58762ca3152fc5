"""A new setting asks for one reading, until a reading at it agrees with what was predicted."""

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_site import ELECTRIC, HYDRAULIC, ledger_of, on, setpoint, visit

from ledger.upkeep.register.found import FollowUpState, follow_ups, proof_of
from ledger.upkeep.register.words import format_open_since
from ledger.upkeep.speeds.found import speed_results

BEFORE = [45 * 1.8] * 4
NO_NAMEPLATE = {
    **ELECTRIC,
    "drive": {k: v for k, v in ELECTRIC["drive"].items() if k != "reduction"},
}


def read(rpm, hz):
    return {"at": "brush", "turns": 40, "seconds": 2400 / rpm, "found_hz": hz}


def site(*later, settings=((0, 45), (8, 44)), before=BEFORE, **rest):
    """81 r/min at 45 Hz four times, 44 Hz from day 8, and readings (day, rpm, hz) after it."""
    visits = [visit(day, read(rpm, 45)) for day, rpm in enumerate(before)]
    visits += [visit(day, read(rpm, hz)) for day, rpm, hz in later]
    return ledger_of(visits, setpoints=[setpoint(*one) for one in settings], **rest)


def asked(ledger, day):
    (found,) = follow_ups(ledger, speed_results(ledger), on(day))
    return found


@pytest.mark.parametrize(
    ("day", "state", "late"),
    [
        pytest.param(8, FollowUpState.WANTED, 0, id="the first day"),
        pytest.param(15, FollowUpState.WANTED, 0, id="the last day in time"),
        pytest.param(16, FollowUpState.OVERDUE, 1, id="the first day too late"),
        pytest.param(30, FollowUpState.OVERDUE, 15, id="long after"),
    ],
)
def test_without_a_reading_it_is_wanted_and_then_overdue(day, state, late):
    found = asked(site(), day)
    assert (found.state, found.overdue_days, found.is_open) == (state, late, True)
    assert (found.change.value, found.due_on) == (44, on(15))


def test_a_neighbour_on_the_oil_is_read_again_too():
    low = {**HYDRAULIC, "drive": {**HYDRAULIC["drive"], "flow_step_lpm": 0.1}}
    machines = {"brush": low, "low-2": {**low, "name": "Second low brush"}}
    flow = {**setpoint(8, 0), "flow_lpm": 14.4}
    del flow["hz"]
    turns = {"turns": 40, "seconds": 30, "found_flow_lpm": 14.4}
    visits = [visit(0, {"at": "brush", **turns}, {"at": "low-2", **turns})]

    def beside(*later):
        ledger = ledger_of([*visits, *later], machines=machines, setpoints=[flow])
        return asked(ledger, 12)

    before = beside()
    assert [one.ident for one in before.beside] == ["low-2"]
    told = "".join(map(str, format_open_since(ledger_of(machines=machines), before)))
    assert "Read Second low brush again: the pump may be the same." in told
    assert beside(visit(9, {"at": "low-2", **turns})).beside == ()


def test_the_days_are_the_site_s_policy():
    found = asked(site(site={"policy": {"follow_up": "3 days"}}), 12)
    assert (found.due_on, found.state) == (on(11), FollowUpState.OVERDUE)


def test_the_speed_to_expect_is_told():
    expected = asked(site(), 9).expected
    assert expected.rpm == pytest.approx(44 * 1.8, abs=0.3)


def test_what_changed_later_says_nothing_about_the_speed_to_expect_today():
    swapped = visit(30, {"at": "brush", "changed": "motor"})
    ledger = ledger_of(
        [*(visit(day, read(81, 45)) for day in range(4)), swapped],
        setpoints=[setpoint(0, 45), setpoint(8, 44)],
    )
    assert asked(ledger, 9).expected.expanded() < 2
    assert asked(ledger, 31).expected.expanded() > 6


def test_before_the_change_takes_effect_the_older_setting_is_asked_about():
    assert asked(site(), 7).change.value == 45


def test_a_reading_that_agrees_confirms():
    found = asked(site((10, 79.3, 44)), 40)
    assert (found.state, found.overdue_days, found.is_open) == (FollowUpState.CONFIRMED, 0, False)
    assert found.proof.confirmed.result.entry.day == on(10)


def test_a_reading_at_another_setting_confirms_nothing():
    assert asked(site((10, 81, 45)), 12).state is FollowUpState.WANTED


def test_a_reading_after_the_day_asked_about_is_not_known_yet():
    assert asked(site((10, 79.3, 44)), 9).state is FollowUpState.WANTED


def test_a_reading_that_disagrees_says_so_and_stays_open():
    found = asked(site((10, 70, 44)), 12)
    assert (found.state, found.is_open) == (FollowUpState.DOES_NOT_HOLD, True)
    assert found.proof.last.e_number < -1
    assert found.proof.last.predicted.rpm == pytest.approx(79.2, abs=0.3)


def test_a_setting_once_confirmed_stays_so_although_a_later_reading_drifts():
    """That the speed moves later is told by drift; the setting did what was predicted of it."""
    proof = asked(site((10, 79.3, 44), (20, 70, 44)), 30).proof
    assert proof.confirmed.result.entry.day == on(10)
    assert proof.last.result.entry.day == on(20)
    assert proof.last.holds is False
    assert proof.does_not_hold is False


def test_the_first_reading_ever_is_held_against_nothing_and_the_second_against_it():
    bare = {"machines": {"brush": NO_NAMEPLATE}, "before": (), "settings": ((0, 44),)}
    one = asked(site((1, 79.2, 44), **bare), 3)
    assert (one.state, one.proof.last.holds) == (FollowUpState.WANTED, None)
    two = asked(site((1, 79.2, 44), (2, 79.3, 44), **bare), 3)
    assert two.state is FollowUpState.CONFIRMED


def test_a_proposal_asks_for_nothing():
    proposed = {k: v for k, v in setpoint(0, 44).items() if k != "approved_by"}
    assert follow_ups(ledger_of(setpoints=[proposed]), (), on(40)) == ()


def test_a_change_only_claimed_approved_asks_for_nothing():
    claimed = setpoint(8, 44, proposed_by="b-marsh")
    ledger = ledger_of([], setpoints=[setpoint(0, 45), claimed])
    assert asked(ledger, 40).change.value == 45


def test_a_machine_out_of_service_asks_for_nothing():
    gone = {**ELECTRIC, "out_of_service": on(20).isoformat()}
    ledger = site(machines={"brush": gone})
    assert len(follow_ups(ledger, speed_results(ledger), on(19))) == 1
    assert follow_ups(ledger, speed_results(ledger), on(20)) == ()


def test_the_register_s_proof_knows_no_day():
    ledger = site((10, 79.3, 44))
    change = ledger.setpoints["brush"].in_force
    proof = proof_of(ledger, ledger.machines["brush"], speed_results(ledger), change)
    assert proof.confirmed == proof.last


@given(st.integers(1, 60), st.integers(0, 60))
def test_time_alone_never_confirms_and_only_adds_lateness(first, further):
    ledger = site(settings=((0, 45), (8, 44)), before=())
    earlier, later = asked(ledger, 8 + first), asked(ledger, 8 + first + further)
    assert earlier.is_open
    assert later.overdue_days >= earlier.overdue_days
    assert later.overdue_days == max(0, (on(8 + first + further) - later.due_on).days)
    assert later.due_on == later.change.first_day + timedelta(days=7)
