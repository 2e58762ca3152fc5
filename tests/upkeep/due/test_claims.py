"""A round said to be in order by one answer: what it closes, and what stays due."""

import pytest
from small_site import ELECTRIC, ledger_of, on, visit

from ledger.book import terminal
from ledger.book.entry_words import format_entry
from ledger.compute.schedule import State
from ledger.model.tasks import When
from ledger.site.machine_page import history_blocks
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.due.rounds import (
    claim_entry,
    drawn,
    is_hurried,
    list_of,
    round_said,
    round_work,
)
from ledger.upkeep.intime.found import rounds

DAILY = {"title": "Look", "on": {"points": "nozzle"}, "every": "1 day", "steps": "."}
TASKS = {
    "look": DAILY,
    "read": {**DAILY, "title": "Read", "reads": ["pressure"]},
    "stops": {**DAILY, "title": "Stops", "safety": True},
    "locked": {**DAILY, "title": "Locked", "lockout": True},
    "law": {**DAILY, "title": "Law", "basis": "law"},
    "weekly": {**DAILY, "title": "Weekly", "every": "1 week"},
}
ASKS = {"question": "How is the fan?", "fine": ["Whole"], "wrong": ["Aside", "Blocked"]}
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


def test_a_place_that_comes_into_service_later_is_neither_claimed_nor_due():
    points = {**ELECTRIC["points"], "later": {"kind": "nozzle", "in_service": str(on(3))}}
    machines = {**MACHINES, "two": {**MACHINES["two"], "points": points}}
    found = ledger_of([visit(1, CLAIM)], tasks=TASKS, machines=machines)
    assert [str(place) for place in found.entries[0].places] == ["one/nozzle", "two/nozzle"]
    for day, due in ((2, False), (3, True)):
        work = Schedule(found, on(day)).all_due()
        places = {str(one.place) for one in work if one.is_on_the_walk}
        assert ("two/later" in places) == due


@pytest.mark.parametrize("task", ["read", "stops", "locked", "law"])
def test_what_has_to_be_answered_for_one_by_one_stays_due(task):
    found = ledger(visit(1, {**CLAIM, "tasks": [task]}))
    assert done(found, 1) == set()
    due = [one.due.state for one in Schedule(found, on(2)).all_due() if one.task.ident == task]
    assert State.NOT_DUE not in due


def round_of(found, day):
    work = Schedule(found, on(day)).all_due()
    return round_work(found, work, found.site.people["a-holt"], When.BEFORE_OPENING)


def said(found, day, *left_out, minutes=None):
    return round_said(found, round_of(found, day), When.BEFORE_OPENING, left_out, minutes)


def test_the_round_of_a_person_holds_daily_looking_alone():
    found = ledger()
    assert [(one.task.ident, str(one.place)) for one in round_of(found, 1)] == [
        ("look", "one/nozzle"),
        ("look", "two/nozzle"),
    ]
    assert claim_entry(found, said(found, 1, "two", minutes=4), [], on(1)) == {
        "in_order": "before-opening",
        "tasks": ["look"],
        "of": 2,
        "list": list_of(found, ["look"], on(1))[1],
        "except": ["two"],
        "minutes": 4,
    }
    with pytest.raises(ValueError, match="does not include three"):
        said(found, 1, "three")


def test_a_round_that_was_filed_already_can_be_said_again():
    found = ledger(visit(1, CLAIM))
    assert len(round_of(found, 1)) == 2


def test_what_was_wrong_at_a_drawn_place_leaves_it_out():
    found = ledger_of((), tasks={"look": {**DAILY, "asks": ASKS}}, machines=MACHINES)
    whole = said(found, 1)
    first, second = drawn(whole, found.site.people["a-holt"], on(1))
    entry = claim_entry(found, whole, [(first, "Aside"), (second, "Whole")], on(1))
    assert entry["drawn"] == [str(first.place), str(second.place)]
    assert entry["seen"] == ["Aside", "Whole"]
    assert entry["except"] == [str(first.place)]


def test_two_places_are_drawn_by_day_and_person_where_something_is_asked_first():
    tasks = {"look": DAILY, "ask": {**DAILY, "title": "Ask", "asks": ASKS}}
    found = ledger_of((), tasks=tasks, machines=MACHINES)
    pairs = set()
    for day in range(1, 20):
        places = drawn(said(found, day), found.site.people["a-holt"], on(day))
        assert [one.task.ident for one in places] == ["ask", "ask"]
        pairs.add(tuple(one.place.machine for one in places))
    assert pairs == {("one", "two"), ("two", "one")}


@pytest.mark.parametrize(("minutes", "hurried"), [(None, False), (4.9, True), (5, False)])
def test_a_round_is_hurried_below_a_quarter_of_its_minutes(minutes, hurried):
    tasks = {"look": {**DAILY, "minutes": 10}}
    found = ledger_of((), tasks=tasks, machines=MACHINES)
    assert is_hurried(said(found, 1, minutes=minutes)) is hurried


def test_the_history_says_that_it_was_the_round_and_not_an_answer_of_its_own():
    found = ledger(visit(1, CLAIM), visit(2, {"task": "look", "at": "one"}))
    blocks = history_blocks(found, found.machines["one"], {}, 2026)
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
