"""What holds after corrections: each in the place, and at the time, of what it corrects."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_site import LOOK, ledger_of, on, visit


def ref(day, number=1):
    return f"{on(day)}T1000-a-holt#{number}"


def count(passes, **rest):
    return {"at": "brush", "counted": passes, "seconds": 60, **rest}


def corrects(day, passes, number=1):
    return count(passes, corrects=ref(day, number), reason="miscounted")


def strikes(day, number=1):
    return {"corrects": ref(day, number), "reason": "wrong machine", "void": True}


def standing(*visits):
    ledger = ledger_of(visits)
    return [(entry.day, entry.speed.passes if entry.speed else None) for entry in ledger.standing]


def test_without_corrections_everything_stands_as_filed():
    ledger = ledger_of([visit(0, count(80), LOOK), visit(1, count(81))])
    assert ledger.standing == ledger.entries


def test_a_correction_stands_at_the_time_of_its_original():
    assert standing(visit(0, count(80)), visit(1, count(90)), visit(5, corrects(0, 81))) == [
        (on(0), 81),
        (on(1), 90),
    ]


def test_the_last_of_a_chain_of_corrections_stands():
    assert standing(visit(0, count(80)), visit(1, corrects(0, 81)), visit(2, corrects(1, 82))) == [
        (on(0), 82)
    ]


def test_a_void_correction_stands_for_nothing():
    assert standing(visit(0, count(80), LOOK), visit(1, strikes(0))) == [(on(0), None)]


def test_what_was_struck_out_can_be_put_back_by_a_correction_of_the_strike():
    assert standing(visit(0, count(80)), visit(1, strikes(0)), visit(2, corrects(1, 80))) == [
        (on(0), 80)
    ]


def test_a_correction_within_one_visit():
    assert standing(visit(0, count(80), corrects(0, 81))) == [(on(0), 81)]


def test_the_record_as_filed_keeps_every_word():
    ledger = ledger_of([visit(0, count(80)), visit(1, corrects(0, 81)), visit(2, strikes(1))])
    assert [entry.void for entry in ledger.entries] == [False, False, True]
    assert ledger.standing == ()
    assert ledger.last_word(ledger.entries[0]) is ledger.entries[2]
    assert all(ledger.origin(entry) is ledger.entries[0] for entry in ledger.entries)


def test_who_corrected_answers_for_the_correction():
    ledger = ledger_of([visit(0, count(80)), {**visit(1, corrects(0, 81)), "by": "b-marsh"}])
    assert [entry.by for entry in ledger.standing] == ["b-marsh"]


def test_a_correction_that_moves_an_entry_is_found_in_both_histories():
    moved = {"at": "low", "counted": 80, "seconds": 60, "corrects": ref(0), "reason": "other brush"}
    ledger = ledger_of([visit(0, count(80)), visit(1, moved)])
    assert [len(ledger.filed_in(machine, 2026)) for machine in ("brush", "low")] == [2, 1]
    assert [len(list(ledger.standing_at(machine))) for machine in ("brush", "low")] == [0, 1]


@given(st.lists(st.tuples(st.integers(0, 9), st.booleans()), max_size=10))
def test_any_record_of_corrections_stands_once_for_each_original(drawn):
    """Drawn: for each day after the first, which earlier day it corrects, and whether it strikes out."""
    visits, free = [visit(0, count(80))], {0}
    origin = {0: 0}
    for day, (wanted, is_strike) in enumerate(drawn, start=1):
        earlier = sorted(free)
        if wanted < len(earlier):
            target = earlier[wanted]
            free.discard(target)
            origin[day] = origin[target]
            visits.append(visit(day, strikes(target) if is_strike else corrects(target, 80 + day)))
        else:
            origin[day] = day
            visits.append(visit(day, count(80 + day)))
        free.add(day)
    ledger = ledger_of(visits)
    last = {origin[day]: day for day in sorted(origin)}
    expected = [
        (on(first), 80 + day)
        for first, day in sorted(last.items())
        if not visits[day]["entries"][0].get("void")
    ]
    assert [(entry.day, entry.speed.passes) for entry in ledger.standing] == expected
    assert len(ledger.entries) == len(visits)


@pytest.mark.parametrize("machine", ["brush", "low", "no-such-machine"])
def test_the_index_of_a_machine_is_the_record_filtered(machine):
    ledger = ledger_of(
        [visit(0, count(80), {"at": "low", "temperature_c": 40}), visit(1, strikes(0))]
    )
    assert tuple(ledger.standing_at(machine)) == tuple(
        entry
        for entry in ledger.standing
        if any(place.machine == machine for place in entry.places)
    )


def test_an_entry_that_closes_a_finding_is_found_in_the_history_of_its_machine():
    found = {"finding": "no grease goes in", "at": "brush/bearing-top"}
    closing = {"closes": ref(0), "note": "New fitting."}
    ledger = ledger_of([visit(0, found), visit(1, closing)])
    assert [str(entry.ref) for entry in ledger.filed_in("brush", 2026)] == [ref(0), ref(1)]
    assert [str(place) for place in ledger.places_meant(ledger.entries[1])] == ["brush/bearing-top"]
