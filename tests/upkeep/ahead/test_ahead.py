import pytest
from small_site import SITE, ledger_of, on, visit

from ledger.book import terminal
from ledger.upkeep.ahead.found import ahead
from ledger.upkeep.ahead.page import ahead_page, day_page
from ledger.upkeep.due.found import Schedule

GREASING = {
    "title": "Grease",
    "on": {"points": "rotating-bearing"},
    "every": "4 weeks",
    "window": "9 days",
    "minutes": 3,
    "lockout": True,
    "uses": {"grease": "10 g"},
}
LOOKING = {"title": "Look", "on": {"ids": ["brush", "low"]}, "every": "1 day", "minutes": 2}
TASKS = {"greasing": GREASING, "looking": LOOKING}
POLICY = {"policy": {"lockout_minutes": 10}}
PARTS = {
    "grease": {
        "name": "Grease",
        "kind": "consumable",
        "unit": "g",
        "opening": {"on": on(0).isoformat(), "count": 15},
        "place": "Shelf B",
    }
}


def people(hours):
    """Both of the small site; the first is qualified for lockout."""
    a, b = SITE["people"].values()
    both = {"a-holt": a | {"qualified": ["lockout"]}, "b-marsh": b}
    for ident, number in hours.items():
        both[ident] = both[ident] | {"hours_per_week": number}
    return {"people": both}


def weeks(*visits, tasks=TASKS, day=0, number=9, hours=()):
    ledger = ledger_of(visits, tasks=tasks, parts=PARTS, site=people(dict(hours)) | POLICY)
    return ledger, ahead(ledger, Schedule(ledger, on(day)), on(day), number)


def test_a_week_has_its_work_and_once_a_machine_its_locks():
    """Two bearings of one brush, 3 min each, and 10 min of locks; due after four and eight weeks."""
    _, found = weeks(visit(0, {"task": "greasing"}), tasks={"greasing": GREASING})

    minutes = {number: week.minutes for number, week in enumerate(found.weeks) if week.minutes}
    assert minutes == {4: 16, 8: 16}
    assert all(set(week.by_kind) <= {frozenset({"lockout"})} for week in found.weeks)


def test_daily_rounds_count_on_the_days_left_of_the_week():
    _, found = weeks(tasks={"looking": LOOKING}, day=3, number=2)

    days = [week.open_days for week in found.weeks]
    assert [week.daily for week in found.weeks] == [2 * 2 * number for number in days]
    assert days[0] < days[1]


def test_what_is_overdue_is_planned_now():
    _, found = weeks(visit(0, {"task": "greasing"}), tasks={"greasing": GREASING}, day=50, number=2)

    assert [bool(week.work) for week in found.weeks] == [True, False]


def test_without_hours_nobody_can_tell():
    _, found = weeks(visit(0, {"task": "greasing"}))

    assert (found.weeks[4].present, found.weeks[4].short) == (None, None)
    assert [person.ident for person in found.without_hours] == ["a-holt", "b-marsh"]


def test_hours_of_who_is_not_qualified_are_no_help():
    """Two bearings and the locks need A. Holt, who has 12 min, however many B. Marsh has."""
    hours = {"a-holt": 0.2, "b-marsh": 40}
    _, found = weeks(visit(0, {"task": "greasing"}), tasks={"greasing": GREASING}, hours=hours)

    short = found.weeks[4].short
    assert short.kinds == (frozenset({"lockout"}),)
    assert (short.minutes, short.present) == (16, 12)
    assert found.weeks[3].short is None


def test_work_goes_from_a_full_week_to_an_empty_one_but_never_that_for_safety():
    heavy = {
        f"heavy-{n}": {**GREASING, "title": f"Heavy {n}", "lockout": False, "minutes": 60 + n}
        for n in range(3)
    }
    done = [visit(0, *({"task": task} for task in heavy))]

    _, found = weeks(*done, tasks=heavy, number=6)
    assert found.moves
    assert all(move.planned != move.better for move in found.moves)
    safe = {ident: {**task, "safety": True} for ident, task in heavy.items()}
    assert not weeks(*done, tasks=safe, number=6)[1].moves


def test_the_page_tells_what_is_short_and_whose_hours_are_not_known():
    greased = visit(0, {"task": "greasing"})
    ledger, found = weeks(greased, tasks={"greasing": GREASING}, hours={"a-holt": 0.2})

    text = " ".join(terminal.render(ahead_page(ledger, found, on(0))).split())

    assert "0.1 h for lockout" in text
    assert "states no hours_per_week: B. Marsh." in text


def test_the_plan_of_a_day_has_order_people_parts_and_locks():
    ledger, _ = weeks(visit(0, {"task": "greasing"}))
    work = Schedule(ledger, on(28)).all_due()

    text = " ".join(terminal.render(day_page(ledger, work, on(28))).split())

    assert "Lock out and prove each machine" in text
    assert "[ ] Grease, Bearing top, 3 min, locked out: A. Holt" in text
    assert "Grease: 20 g, -5 on hand: TOO FEW, Shelf B" in text
    assert "Look" not in text
    nothing = day_page(ledger, Schedule(ledger, on(1)).all_due(), on(1))
    assert "No work but daily rounds" in terminal.render(nothing)


@pytest.mark.parametrize("qualified", [["height"], []], ids=["a qualification", "none"])
def test_a_qualification_that_nobody_has_is_named(qualified):
    task = {"climb": {**LOOKING, "every": "4 weeks", "qualified": qualified}}
    ledger, _ = weeks(tasks=task)

    text = terminal.render(day_page(ledger, Schedule(ledger, on(29)).all_due(), on(29)))

    assert ("NOBODY HERE IS QUALIFIED" in text) == bool(qualified)
