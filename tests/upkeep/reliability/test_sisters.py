"""A place that fails again and again is held against its sisters first."""

import pytest
from small_site import ELECTRIC, LOOK, ledger_of, visit

from ledger.book import terminal
from ledger.book.blocks import Page
from ledger.compute.reliability import chance_of_so_many
from ledger.upkeep.reliability.found import reliability
from ledger.upkeep.reliability.page import machine_blocks

MONEY = ELECTRIC | {"costs": {"planned": 240, "failure": 1150}}


@pytest.mark.parametrize(
    ("here", "elsewhere", "share", "chance"),
    [
        pytest.param(6, 0, 1 / 2, 1 / 64, id="six of six at one of two: 2^-6 (computed)"),
        pytest.param(5, 1, 1 / 2, 7 / 64, id="five or more of six: (6 + 1)/64 (computed)"),
        pytest.param(3, 0, 1 / 4, 1 / 64, id="three of three at one of four (computed)"),
        pytest.param(3, 2, 1, 1, id="no hours elsewhere"),
    ],
)
def test_the_chance_that_so_many_fall_on_one(here, elsewhere, share, chance):
    assert chance_of_so_many(here, elsewhere, share=share) == pytest.approx(chance)


def failure(day, machine):
    return visit(
        day, {"finding": "Seized.", "at": f"{machine}/bearing-bottom", "failed": True}, time="15:00"
    )


def found(*failures, machines=("brush", "other")):
    record = [
        visit(day, LOOK, time="06:00", meters={"conveyor_hours": 500 + 10 * day})
        for day in (0, 400)
    ]
    ledger = ledger_of([*record, *failures], machines=dict.fromkeys(machines, MONEY))
    judged = {one.machine.ident: one for one in reliability(ledger).failed}
    page = Page(path="x.md", title="x", blocks=machine_blocks(ledger, judged["brush"]))
    return judged["brush"], " ".join(terminal.render(page).split())


SIX = [failure(day, "brush") for day in (60, 120, 180, 240, 300, 360)]


def test_a_place_that_fails_while_its_sister_does_not_has_a_cause_before_an_age():
    machine, said = found(*SIX)
    (sisters,) = machine.repeats
    assert (sisters.failures, sisters.sister_failures) == (6, 0)
    assert sisters.stands_out
    assert said.index("never failed: look for the cause") < said.index("Until the cause is found")


def test_places_that_fail_alike_get_their_age():
    machine, said = found(*SIX, *(failure(day + 5, "other") for day in (60, 120, 180, 240, 300)))
    assert not machine.repeats[0].stands_out
    assert "failed 5 times: too little to say" in said
    assert "Until the cause is found" not in said


def test_without_a_sister_there_is_nothing_to_compare_with():
    machine, said = found(*SIX, machines=("brush",))
    assert machine.repeats[0].chance is None
    assert "No other machine here has this point to compare with: look for the cause." in said


def test_two_failures_are_not_again_and_again():
    machine, _ = found(*SIX[:2])
    assert machine.repeats == ()
