"""Answers to the numbered lines of a walk: each is an example of what a technician may type."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.cli.walk_list import chosen
from ledger.compute.schedule import Due, State
from ledger.model.references import Place
from ledger.model.tasks import Task
from ledger.upkeep.due.found import DueWork
from ledger.upkeep.due.rounds import WalkLine, runs_of

STATIONS = {"conveyor": 10.0, "wrap-d": 70.0, "wrap-p": 80.0, "brush": 80.5, "dryer": 230.0}


def line(ident, *places, state=State.IN_WINDOW):
    task = Task(ident=ident, title=ident, places=(), every=())
    due = Due(seen_on=date(2026, 11, 25), rests=state, due_on=date(2026, 11, 25))
    return WalkLine(
        task=task,
        work=tuple(
            DueWork(task=task, place=Place.parse(place), due=due, last_done=None, put_off=None)
            for place in places
        ),
    )


LINES = (
    line("a", "conveyor"),
    line("b", "wrap-d/1", "wrap-d/2", "wrap-p/1", "brush/1"),
    line("c", "wrap-d", "wrap-p"),
    line("d", "dryer"),
)
ALL = [(one.task.ident, str(one.place)) for each in LINES for one in each.work]


def found(text):
    return {(one.task.ident, str(one.place)) for one in chosen(text, LINES, STATIONS)}


def spelt(*words):
    """`b:wrap-d/1` as the pair it stands for."""
    return {tuple(word.split(":")) for word in words}


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("", set()),
        ("1", spelt("a:conveyor")),
        ("1,4", spelt("a:conveyor", "d:dryer")),
        ("3-4", spelt("c:wrap-d", "c:wrap-p", "d:dryer")),
        ("3\N{EN DASH}4", spelt("c:wrap-d", "c:wrap-p", "d:dryer")),
        ("all", set(ALL)),
        ("ALL but 2", set(ALL) - {one for one in ALL if one[0] == "b"}),
        ("2@70", spelt("b:wrap-d/1", "b:wrap-d/2")),
        ("2-3@80-80.5", spelt("b:wrap-p/1", "b:brush/1", "c:wrap-p")),
        ("2@wrap-p", spelt("b:wrap-p/1")),
        ("@70", spelt("b:wrap-d/1", "b:wrap-d/2", "c:wrap-d")),
        ("all@70", spelt("b:wrap-d/1", "b:wrap-d/2", "c:wrap-d")),
        ("@70 but 3@70", spelt("b:wrap-d/1", "b:wrap-d/2")),
        ("@70 without 3 2.1", spelt("b:wrap-d/2")),
        ("2.2-3", spelt("b:wrap-d/2", "b:wrap-p/1")),
        ("2.4 1", spelt("a:conveyor", "b:brush/1")),
    ],
)
def test_what_an_answer_means(text, meant):
    assert found(text) == meant


def test_the_work_stands_in_walking_order():
    work = chosen("4 3 1", LINES, STATIONS)
    assert [str(one.place) for one in work] == ["conveyor", "wrap-d", "wrap-p", "dryer"]


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("0", "no number of the list, 1 to 4"),
        ("5", "no number of the list, 1 to 4"),
        ("3-2", "no number of the list"),
        ("70-80", "for stations write @70-80"),
        ("one", "no number of the list"),
        ("1-", "no number of the list"),
        ("2.5", "places 1 to 4"),
        ("2-3.1", "places of one line"),
        (".1", "places of one line"),
        ("1@70", "line 1 has no work at 70"),
        ("@500", "the list has no work at 500"),
        ("@wrap", "no station or machine"),
        ("1 but 1", "nothing is left"),
        ("but 1", "nothing is left"),
    ],
)
def test_what_means_nothing_is_said(text, complaint):
    with pytest.raises(ValueError, match=complaint):
        found(text)


@given(st.text(alphabet="0123456789@-., allbut", max_size=20))
def test_any_answer_is_understood_or_refused_in_words(text):
    refused = ""
    try:
        meant = found(text)
    except ValueError as wrong:
        meant, refused = set(), str(wrong)
    assert meant <= set(ALL)
    assert bool(meant) or bool(refused) or not text.strip(" ,")


@given(st.sets(st.sampled_from(list(STATIONS))))
def test_the_runs_of_a_walk_are_its_machines_and_do_not_touch(machines):
    walk = list(STATIONS)
    covered = []
    for first, last in runs_of(machines, walk):
        run = walk[walk.index(first) : walk.index(last) + 1]
        assert not covered or walk.index(first) > walk.index(covered[-1]) + 1
        covered += run
    assert set(covered) == machines


def test_work_that_is_not_due_yet_is_meant_by_its_number_alone():
    early = line("e", "wrap-d", "dryer", state=State.NOT_DUE)
    both = (*LINES, early)
    assert chosen("all", both, STATIONS) == chosen("all", LINES, STATIONS)
    assert chosen("@70", both, STATIONS) == chosen("@70", LINES, STATIONS)
    assert chosen("5@230", both, STATIONS) == early.work[1:]
    with pytest.raises(ValueError, match="`all` is all that is due, and nothing is"):
        chosen("all", (early,), STATIONS)
