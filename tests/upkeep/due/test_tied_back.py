"""A machine out of action while the line runs: its work waits, and is due when it is back."""

import pytest
from small_site import ELECTRIC, HYDRAULIC, ledger_of, on, setpoint, visit

from ledger.book import terminal
from ledger.compute.reliability import Availability
from ledger.compute.schedule import Outcome, State
from ledger.model.ledger import known_on
from ledger.model.tasks import When
from ledger.upkeep.due.calendar import due_events
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.due.page import due_page
from ledger.upkeep.due.rounds import claim_entry, early_lines, round_said, round_work
from ledger.upkeep.due.table import tied_back_rows
from ledger.upkeep.intime.found import in_time
from ledger.upkeep.register.found import FollowUpState, follow_ups
from ledger.upkeep.reliability.found import reliability

STOP = {"kind": "emergency-stop"}
GUARD = {"kind": "guard"}
MACHINES = {
    "brush": {**ELECTRIC, "points": {**ELECTRIC["points"], "stop": STOP, "guard": GUARD}},
    "low": HYDRAULIC,
}
TASKS = {
    "look": {"title": "Look", "on": {"ids": ["brush", "low"]}, "every": "1 day"},
    "weekly": {"title": "Weekly", "on": {"ids": ["brush"]}, "every": "1 week"},
    "rare": {"title": "Rare", "on": {"ids": ["brush"]}, "every": "1 year"},
    "stops": {"title": "Test the stop", "on": {"ids": ["brush/stop"]}, "every": "1 week"},
    "guards": {"title": "Check the guard", "on": {"ids": ["brush/guard"]}, "every": "1 week"},
}
TIED = {"tied_back": "Arm bent.", "at": "brush"}
BACK = {"closes": f"{on(1)}T1000-a-holt#1"}


def ledger(*visits, **rest):
    return ledger_of(visits, tasks=TASKS, machines=MACHINES, **rest)


def states(found, day):
    return {
        (one.task.ident, one.place.machine): one.due.state
        for one in Schedule(found, on(day)).all_due()
    }


def test_its_work_waits_and_is_not_overdue_but_its_stop_serves_the_line():
    found = ledger(visit(1, TIED))
    waiting = states(found, 30)
    assert {key for key, state in waiting.items() if state is State.PAUSED} == {
        ("look", "brush"),
        ("weekly", "brush"),
        ("rare", "brush"),
        ("guards", "brush"),
    }
    assert waiting["stops", "brush"] is State.OVERDUE
    assert waiting["look", "low"] is State.OVERDUE
    assert State.PAUSED not in states(known_on(found, on(0)), 0).values()


@pytest.mark.parametrize(
    ("since", "expected"),
    [({}, (1, None)), ({"since": f"{on(0)}T16:00"}, (0, None))],
)
def test_since_is_the_visit_or_what_it_says(since, expected):
    (one,) = ledger(visit(1, TIED | since)).tie_backs
    assert (one.away.first, one.away.last) == (on(expected[0]), expected[1])


def test_what_fell_due_meanwhile_is_due_when_it_is_back():
    found = ledger(visit(1, TIED), visit(30, BACK))
    work = {
        one.task.ident: one.due
        for one in Schedule(found, on(30)).all_due()
        if one.place.machine == "brush"
    }
    assert {one: due.due_on for one, due in work.items()} == {
        "look": on(30),
        "weekly": on(30),
        "rare": work["rare"].due_on,
        "stops": work["stops"].due_on,
        "guards": on(0),  # it was late before that
    }
    assert work["look"].overdue_days == 0
    assert work["rare"].state is State.NOT_DUE
    assert work["stops"].due_on < on(30)


def test_nothing_of_it_counts_as_missed():
    counts = {
        one.task.ident: sum(month[Outcome.MISSED] for month in one.months.values())
        for found in [ledger(visit(1, TIED), visit(30, BACK))]
        for one in in_time(found, Schedule(found, on(30)), on(30))
    }
    assert counts["weekly"] == 0
    assert counts["stops"] >= 3
    # Of the daily look those of the other machine, and the first day of this one.
    other = in_time(plain := ledger(), Schedule(plain, on(30)), on(30))
    every = next(one for one in other if one.task.ident == "look")
    assert counts["look"] < sum(month[Outcome.MISSED] for month in every.months.values())


def test_the_due_page_says_since_when_why_and_what_is_first():
    found = ledger(visit(1, TIED))
    work = Schedule(found, on(30)).all_due()
    said = " ".join(terminal.render(due_page(found, work, (), on(30))).split())
    assert (
        f"since {on(1)} 10:00: Arm bent. Before it runs again: Check the guard; Test the stop; guards on, "
        in said
    )
    assert f"Open until an entry closes {on(1)}T1000-a-holt#1." in said
    assert "Tied back is not locked out" in said
    assert tied_back_rows(found, on(30)) == [
        {
            "station": 10,
            "place": "brush",
            "state": "tied back",
            "since": f"{on(1)}T10:00:00+00:00",
            "why": "Arm bent.",
            "closed_by_naming": f"{on(1)}T1000-a-holt#1",
            "before_it_runs_again": ["guards", "stops"],
        }
    ]
    assert all("Weekly" not in one.summary for one in due_events(found, work, (), on(30)))
    closed = ledger(visit(1, TIED), visit(30, BACK))
    work = Schedule(closed, on(30)).all_due()
    assert "Tied back" not in terminal.render(due_page(closed, work, (), on(30)))


def test_a_round_leaves_it_out_and_its_work_is_not_offered():
    found = ledger(visit(1, TIED))
    person = found.site.people["a-holt"]
    work = Schedule(found, on(2)).all_due()
    of_pass = round_work(found, work, person, When.BEFORE_OPENING)
    said = round_said(found, of_pass, When.BEFORE_OPENING, (), None)
    claim = claim_entry(found, said, [], on(2))
    assert (claim["of"], claim["except"]) == (2, ["brush"])
    offered = {one for line in early_lines(work, person) for one in line.work}
    assert all(one.due.state is State.NOT_DUE for one in offered)


def test_a_setting_is_not_to_be_confirmed_meanwhile():
    of_drive = [setpoint(0, 44)]
    for visits, state, late in (
        ([visit(1, TIED)], FollowUpState.PAUSED, 0),
        ([visit(1, TIED), visit(2, BACK)], FollowUpState.OVERDUE, 23),
    ):
        found = ledger(*visits, setpoints=of_drive)
        (one,) = follow_ups(found, (), on(30))
        assert (one.state, one.overdue_days, one.is_open) == (state, late, late > 0)


def test_the_machine_is_down_and_the_line_is_not():
    """Open 08:00 to 18:00: down from 10:00 one day to 10:00 the next is 10 h of opening hours."""
    meters = [
        visit(0, {"at": "low", "temperature_c": 20}, meters={"conveyor_hours": 500}),
        visit(100, {"at": "low", "temperature_c": 20}, meters={"conveyor_hours": 1500}),
    ]
    failed = {"finding": "Seized.", "at": "brush/motor", "failed": True}
    ends = {"closes": f"{on(50)}T1000-a-holt#1"}
    (machine,) = reliability(
        ledger(*meters, visit(1, TIED), visit(2, BACK), visit(50, failed), visit(51, ends))
    ).failed
    assert isinstance(machine.available, Availability)
    assert machine.available.down_h == pytest.approx(20)
    assert machine.line_available.down_h == 0
    still = reliability(ledger(*meters, visit(1, TIED), visit(50, failed), visit(51, ends))).failed
    assert (still[0].available.have, still[0].available.need) == (1, 2)
