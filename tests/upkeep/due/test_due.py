import pytest
from small_site import ELECTRIC, LOOK, ledger_of, on, visit

from ledger.compute.schedule import State
from ledger.model.references import Place
from ledger.upkeep.due.found import DueWork, Schedule, may_do

TOP, BOTTOM = Place("brush", "bearing-top"), Place("brush", "bearing-bottom")
WEEKLY = {
    "title": "Grease",
    "on": {"points": "rotating-bearing"},
    "every": "1 week",
    "window": "1 day",
    "steps": ".",
}
MONTHLY = {**WEEKLY, "title": "Strip and grease", "every": "1 month", "covers": ["grease"]}


def schedule(visits, as_of, *, tasks=None, **rest) -> Schedule:
    machines = rest.pop("machines", {"brush": ELECTRIC})
    ledger = ledger_of(visits, tasks=tasks or {"grease": WEEKLY}, machines=machines, **rest)
    return Schedule(ledger, on(as_of))


def due_at(schedule: Schedule) -> dict[Place, DueWork]:
    return {work.place: work for work in schedule.all_due()}


def greased(day, at="brush/bearing-top", **rest):
    return visit(day, {"task": "grease", "at": at, **rest})


@pytest.mark.parametrize(
    ("as_of", "state", "overdue_days"),
    [
        pytest.param(5, State.NOT_DUE, 0, id="before the window"),
        pytest.param(6, State.IN_WINDOW, 0, id="the window opens a day early"),
        pytest.param(8, State.IN_WINDOW, 0, id="the window closes a day late"),
        pytest.param(9, State.OVERDUE, 1, id="the first day too late"),
        pytest.param(13, State.OVERDUE, 5, id="days count on"),
    ],
)
def test_a_point_never_done_is_due_an_interval_after_it_came(as_of, state, overdue_days):
    work = due_at(schedule([], as_of))[TOP]

    assert (work.due.state, work.due.overdue_days) == (state, overdue_days)
    assert work.due.due_on == on(7)
    assert work.last_done is None


def test_work_done_moves_the_due_date_of_that_point_alone():
    found = due_at(schedule([greased(7)], 12))

    assert found[TOP].due.due_on == on(14)
    assert found[TOP].last_done.day == on(7)
    assert found[BOTTOM].due.state is State.OVERDUE


def test_work_on_the_machine_counts_for_every_point_that_the_task_selects():
    found = due_at(schedule([greased(7, at="brush")], 12))

    assert {work.due.due_on for work in found.values()} == {on(14)}


def test_work_that_covers_a_smaller_task_counts_for_it():
    tasks = {"grease": WEEKLY, "strip": MONTHLY}
    done = visit(7, {"task": "strip", "at": "brush/bearing-top"})

    found = {
        work.task.ident: work
        for work in schedule([done], 12, tasks=tasks).all_due()
        if work.place == TOP
    }

    assert found["grease"].due.due_on == on(14)
    assert found["strip"].last_done.day == on(7)


def test_covering_does_not_work_upward():
    tasks = {"grease": WEEKLY, "strip": MONTHLY}

    found = {
        work.task.ident: work
        for work in schedule([greased(7)], 12, tasks=tasks).all_due()
        if work.place == TOP
    }

    assert found["strip"].last_done is None


def test_what_is_filed_after_the_day_is_not_known_on_it():
    work = due_at(schedule([greased(7), greased(14)], 10))[TOP]

    assert work.last_done.day == on(7)


def test_work_put_off_says_why_until_it_is_done():
    undone = greased(8, outcome="not-done", reason="Line running.")

    assert due_at(schedule([undone], 9))[TOP].put_off.reason == "Line running."
    assert due_at(schedule([undone, greased(10)], 11))[TOP].put_off is None
    assert due_at(schedule([undone], 9))[TOP].due.state is State.OVERDUE


def test_a_void_entry_was_never_done():
    void = visit(
        9, {"corrects": f"{on(7)}T1000-a-holt#1", "reason": "Was another brush.", "void": True}
    )

    assert due_at(schedule([greased(7), void], 9))[TOP].last_done is None


def test_machines_out_of_service_and_tasks_not_in_use_ask_for_nothing():
    gone = ELECTRIC | {"out_of_service": on(5).isoformat()}
    later = WEEKLY | {"starts": on(20).isoformat()}

    assert schedule([], 9, machines={"brush": gone}).all_due() == ()
    assert schedule([], 9, tasks={"grease": later}).all_due() == ()


def test_a_meter_that_is_not_read_leaves_the_date_unknown():
    by_vehicles = WEEKLY | {"every": {"vehicles": 7000}}

    work = due_at(schedule([visit(1, LOOK)], 9, tasks={"grease": by_vehicles}))[TOP]

    assert work.due.state is State.UNKNOWN
    assert not work.is_on_the_walk


def test_a_meter_predicts_by_its_recent_rate():
    """1000 vehicles a day: 7000 since the first reading are reached on day 7."""
    by_vehicles = WEEKLY | {"every": {"vehicles": 7000}}
    read = [visit(day, LOOK, meters={"vehicles": 1000 * day}) for day in range(5)]

    work = due_at(schedule(read, 4, tasks={"grease": by_vehicles}))[TOP]

    assert work.due.due_on == on(7)
    assert work.due.predicted


def test_the_walk_goes_from_entry_to_exit():
    machines = {
        "a": ELECTRIC | {"station": 30},
        "b": ELECTRIC | {"station": 10},
        "c": ELECTRIC | {"station": 20},
    }

    order = [work.place.machine for work in schedule([], 7, machines=machines).all_due()]

    assert list(dict.fromkeys(order)) == ["b", "c", "a"]


def test_a_person_may_do_what_every_need_allows():
    task = WEEKLY | {"lockout": True, "qualified": ["electrical"]}
    people = {
        "a-holt": {"name": "A. Holt", "roles": ["technician"], "qualified": ["lockout"]},
        "b-marsh": {
            "name": "B. Marsh",
            "roles": ["lead"],
            "approves": ["setpoints"],
            "qualified": ["lockout", "electrical"],
        },
    }
    ledger = ledger_of(tasks={"grease": task}, site={"people": people})

    allowed = [p.ident for p in ledger.site.people.values() if may_do(p, ledger.tasks["grease"])]

    assert allowed == ["b-marsh"]


@pytest.mark.parametrize(
    ("said", "when"),
    [
        ({"every": "1 day"}, "before-opening"),
        ({"every": "1 week"}, "running"),
        ({"every": "1 day", "lockout": True}, "closed"),
        ({"every": "1 day", "when": "running"}, "running"),
        ({"every": "1 week", "lockout": True, "when": "before-opening"}, "before-opening"),
    ],
)
def test_work_belongs_to_a_pass_of_the_day(said, when):
    look = {"title": "Look", "on": {"machines": ["side-brush"]}, **said}
    assert ledger_of(tasks={"look": look}).tasks["look"].when == when
