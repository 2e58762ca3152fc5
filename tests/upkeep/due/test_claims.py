"""A round said to be in order by one answer: what it closes, and what stays due."""

import pytest
from small_site import ELECTRIC, ledger_of, on, visit

from ledger.book import terminal
from ledger.book.entry_words import format_entry
from ledger.compute.schedule import State
from ledger.site.machine_page import history_blocks
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.due.walk import claim_entries, tasks_of_round
from ledger.upkeep.intime.rounds import rounds

DAILY = {"title": "Look", "on": {"points": "nozzle"}, "every": "1 day", "steps": "."}
TASKS = {
    "look": DAILY,
    "read": {**DAILY, "title": "Read", "reads": ["pressure"]},
    "stops": {**DAILY, "title": "Stops", "safety": True},
    "locked": {**DAILY, "title": "Locked", "lockout": True},
    "law": {**DAILY, "title": "Law", "basis": "law"},
    "weekly": {**DAILY, "title": "Weekly", "every": "1 week"},
}
MACHINES = {"one": ELECTRIC, "two": {**ELECTRIC, "station": 20}}
CLAIM = {"in_order": "before-opening", "tasks": ["look"], "of": 2, "minutes": 3, "drawn": ["one/nozzle"], "drawn_apart_s": 40}  # fmt: skip


def ledger(*visits):
    return ledger_of(visits, tasks=TASKS, machines=MACHINES)


def done(found, day):
    work = Schedule(found, on(day)).all_due()
    return {(one.task.ident, one.place.machine) for one in work if one.last_done is not None}


def test_a_claim_closes_what_is_looked_at_but_what_it_leaves_out():
    assert done(ledger(visit(1, CLAIM)), 1) == {("look", "one"), ("look", "two")}
    assert done(ledger(visit(1, {**CLAIM, "except": ["two"]})), 1) == {("look", "one")}


@pytest.mark.parametrize("task", ["read", "stops", "locked", "law"])
def test_what_has_to_be_answered_for_one_by_one_stays_due(task):
    found = ledger(visit(1, {**CLAIM, "tasks": [task]}))
    assert done(found, 1) == set()
    due = [one.due.state for one in Schedule(found, on(2)).all_due() if one.task.ident == task]
    assert State.NOT_DUE not in due


def test_the_round_of_a_person_holds_daily_looking_alone():
    found = ledger()
    person = found.site.people["a-holt"]
    tasks = tasks_of_round(found, person, on(1))
    assert [task.ident for task in tasks] == ["look"]
    assert claim_entries(found, tasks, ["two"], on(1)) == [
        {"in_order": "before-opening", "tasks": ["look"], "of": 2, "except": ["two"]}
    ]


def test_the_history_says_that_it_was_the_round_and_not_an_answer_of_its_own():
    found = ledger(visit(1, CLAIM), visit(2, {"task": "look", "at": "one"}))
    blocks = history_blocks(found, found.machines["one"], {})
    (table,) = [block for block in blocks if hasattr(block, "rows")]
    assert [tuple(map(terminal.plain, row)) for row in table.rows] == [
        ("In order, by the round before opening", "Nozzle", "06 (A. Holt)"),
        ("Look", "Nozzle", "07 (A. Holt)"),
    ]
    assert format_entry(found, found.visits[0].entries[0]) == (
        "in order, by the round before opening: 2 places asked, 3 min, 1 drawn, 40 s apart"
    )


def test_a_fault_found_within_a_week_at_a_place_in_order_is_named_beside_the_round():
    found = ledger(
        visit(1, CLAIM),
        visit(3, {"finding": "blocked", "at": "two/nozzle"}),
        visit(4, {"finding": "loud", "at": "two/motor"}),
        visit(12, {"finding": "blocked", "at": "one/nozzle"}),
        visit(13, {"task": "look", "at": "one"}),
    )
    walked = rounds(found, on(20))
    assert (walked.by_round, walked.one_by_one) == (2, 1)
    assert [(e.finding, str(e.place), str(claim.ref)) for e, claim in walked.missed] == [
        ("blocked", "two/nozzle", "2026-01-06T1000-a-holt#1")
    ]


def test_what_was_seen_at_the_drawn_places_is_told_with_the_round():
    (entry,) = ledger(visit(1, {**CLAIM, "seen": ["Even"]})).standing
    assert "1 drawn (Even), 40 s apart" in format_entry(ledger(), entry)
    with pytest.raises(AssertionError, match="2 answers for 1 drawn places"):
        ledger(visit(1, {**CLAIM, "seen": ["Even", "Torn"]}))
