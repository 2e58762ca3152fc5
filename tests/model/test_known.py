"""What was known at the end of a day: nothing filed, corrected or approved later changes it."""

from datetime import date
from functools import cache

import pytest
from campaign import examples
from hypothesis import given, settings
from hypothesis import strategies as st
from small_site import ledger_of, on, setpoint, visit

from ledger.model.ledger import known_on
from ledger.model.references import EntryRef
from ledger.site.rendering import book_files
from ledger.site.tables import flat_tables
from ledger.upkeep.due.calendar import due_events
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.register.found import follow_ups
from ledger.upkeep.speeds.found import speed_results

TASKS = {
    "count-speed": {
        "title": "Count the speed",
        "on": {"machines": "side-brush"},
        "every": "1 week",
        "reads": ["speed"],
    },
    "grease": {
        "title": "Grease the bearings",
        "on": {"points": "rotating-bearing"},
        "every": "2 weeks",
    },
}
DAY = 10


def ref(day, number=1):
    return f"{on(day)}T1000-a-holt#{number}"


def count(passes, **rest):
    return {"task": "count-speed", "at": "brush", "counted": passes, "seconds": 60, **rest}


GREASED = {"task": "grease", "strokes": 3}
FOUND = {"finding": "fitting will not take grease", "at": "brush/bearing-top"}
CLOSED = {"note": "new fitting", "at": "brush/bearing-top"}

EARLIER = (
    visit(1, count(80, found_hz=42.5), GREASED, meters={"vehicles": 1000}),
    visit(4, FOUND, {"at": "brush/chain", "length_mm": 1010, "pitches": 10}),
    visit(8, count(79), meters={"vehicles": 2800}),
)


def ledger(*later, setpoints=()):
    return ledger_of([*EARLIER, *later], tasks=TASKS, setpoints=setpoints)


def outputs(known, day):
    """Everything that is written from a ledger on a day: the book, the tables, the calendar."""
    known = known_on(known, day)
    return (
        book_files(known, day, html=True),
        flat_tables(known, day),
        due_events(
            known,
            Schedule(known, day).all_due(),
            follow_ups(known, speed_results(known), day),
            day,
        ),
    )


@cache
def outputs_of_the_day():
    return outputs(ledger(), on(DAY))


later_entries = st.sampled_from(
    [
        count(70),
        count(81, corrects=ref(8), reason="miscounted"),
        {"corrects": ref(1), "reason": "wrong brush", "void": True},
        GREASED,
        {"task": "grease", "outcome": "not-done", "reason": "no grease"},
        FOUND,
        {"closes": ref(4), **CLOSED},
        {"at": "brush", "changed": "gearbox"},
        {"at": "brush", "found_hz": 40, "left_hz": 44},
        {"at": "brush/chain", "length_mm": 1030, "pitches": 10},
    ]
)


@given(
    added=st.dictionaries(
        st.integers(DAY + 1, DAY + 40),
        st.lists(later_entries, min_size=1, max_size=3, unique_by=str),
    )
)
@settings(max_examples=examples(30))
def test_no_later_visit_alters_what_is_written_as_of_an_earlier_day(added):
    corrected = set()
    visits = []
    for day, entries in sorted(added.items()):
        # An entry is corrected once.
        fresh = [entry for entry in entries if entry.get("corrects", day) not in corrected]
        corrected |= {entry["corrects"] for entry in fresh if "corrects" in entry}
        if fresh:
            visits.append(visit(day, *fresh, meters={"vehicles": 1000 + 200 * day}))
    assert outputs(ledger(*visits), on(DAY)) == outputs_of_the_day()


@pytest.mark.parametrize("day", [0, 3, 7], ids=lambda day: f"day-{day}")
def test_the_files_of_today_say_of_a_day_what_those_of_that_day_said(day):
    then = ledger_of(
        [one for one in EARLIER if date.fromisoformat(one["at"][:10]) <= on(day)], tasks=TASKS
    )
    assert outputs(ledger(), on(day)) == outputs(then, on(day))


def test_a_ledger_without_anything_later_is_the_ledger_itself():
    whole = ledger(setpoints=[setpoint(2, 43)])
    assert known_on(whole, on(DAY)) is whole


def test_the_visit_of_the_day_itself_is_known():
    assert len(known_on(ledger(), on(8)).visits) == 3
    assert len(known_on(ledger(), on(7)).visits) == 2


def test_a_visit_is_known_from_the_day_it_was_written_down():
    late = visit(5, count(81), entered_at=f"{on(9)}T08:00")
    assert [len(known_on(ledger(late), on(day)).visits) for day in (5, 8, 9)] == [2, 3, 4]


def test_a_correction_filed_later_leaves_the_original_standing():
    whole = ledger(visit(DAY + 1, count(81, corrects=ref(8), reason="miscounted")))

    def counted(day):
        return [e.speed.passes for e in known_on(whole, on(day)).standing if e.speed]

    assert counted(DAY) == [80, 79]
    assert counted(DAY + 1) == [80, 81]


def test_what_corrects_or_closes_an_entry_that_was_written_down_later_waits_for_it():
    late = visit(2, count(78), FOUND, entered_at=f"{on(9)}T08:00")
    mended = visit(
        3, count(77, corrects=ref(2), reason="miscounted"), {"closes": ref(2, 2), **CLOSED}
    )
    again = visit(6, count(76, corrects=ref(3), reason="miscounted"))
    whole = ledger_of([late, mended, again], tasks=TASKS)
    known = known_on(whole, on(8))
    assert [(str(entry.ref), entry.closes) for entry in known.entries] == [(ref(3, 2), None)]
    assert known.corrections == {}
    assert known_on(whole, on(9)) is whole
    assert whole.entry[EntryRef.parse(ref(3, 2))].closes == EntryRef.parse(ref(2, 2))


@pytest.mark.parametrize(
    ("day", "in_force", "proposed"),
    [(2, None, []), (5, 43, []), (6, 43, [44]), (8, 43, [44]), (9, 44, [])],
    ids=["nothing-yet", "first", "proposed", "still-proposed", "approved"],
)
def test_a_setting_is_known_as_far_as_it_was_proposed_and_approved(day, in_force, proposed):
    first = setpoint(3, 43, proposed_on=f"{on(3)}", approved_on=f"{on(3)}")
    second = setpoint(7, 44, proposed_on=f"{on(6)}", approved_on=f"{on(9)}")
    drive = known_on(ledger(setpoints=[first, second]), on(day)).setpoints.get("brush")
    found = drive.in_force if drive else None
    assert (found.value if found else None) == in_force
    assert [change.value for change in (drive.proposals if drive else ())] == proposed


def test_a_claim_of_a_later_day_is_a_proposal_without_a_flaw_until_then():
    claim = setpoint(
        7, 44, proposed_on=f"{on(3)}", approved_by="a-holt", approved_on=f"{on(DAY + 1)}"
    )
    whole = ledger(setpoints=[claim])
    (before,) = known_on(whole, on(DAY)).setpoints["brush"].changes
    (after,) = known_on(whole, on(DAY + 1)).setpoints["brush"].changes
    assert (before.is_open_proposal, before.flaws) == (True, ())
    assert after.is_only_claimed


def test_a_change_without_dates_is_taken_as_known():
    drive = known_on(ledger(setpoints=[setpoint(30, 43)]), on(DAY)).setpoints["brush"]
    assert drive.in_force.value == 43


@pytest.mark.parametrize(
    ("entered", "count_of_visits"),
    [(f"{on(9)}T04:59:00+00:00", 1), (f"{on(9)}T05:01:00+00:00", 0)],
    ids=["before-midnight-of-the-site", "after-it"],
)
def test_the_day_of_writing_down_is_one_of_the_site(entered, count_of_visits):
    late = visit(5, count(81), entered_at=entered)
    whole = ledger_of([late], tasks=TASKS, site={"time_zone": "Etc/GMT+5"})
    assert len(known_on(whole, on(8)).visits) == count_of_visits
