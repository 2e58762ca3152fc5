"""Due work as events: one a task and day, with its places; ids that a later day keeps."""

from small_site import ledger_of, on, setpoint, visit

from ledger.book.words import SAFETY
from ledger.upkeep.due.calendar import due_events
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.register.found import follow_ups
from ledger.upkeep.speeds.found import speed_results

TASKS = {
    "grease": {
        "title": "Grease the bearings",
        "on": {"points": "rotating-bearing"},
        "every": "2 weeks",
        "window": "3 days",
        "minutes": 3,
        "qualified": ["electrical"],
        "lockout": True,
        "cautions": ["The shaft turns without warning.", "Wipe the fitting first."],
    },
    "look": {"title": "Look at the brushes", "on": {"machines": ["side-brush", "low-brush"]}, "every": "1 week"},
}  # fmt: skip
TOP = {"task": "grease", "at": "brush/bearing-top"}


def events(visits, day, **rest):
    ledger = ledger_of(visits, tasks=TASKS, **rest)
    asked = follow_ups(ledger, speed_results(ledger), on(day))
    return due_events(ledger, Schedule(ledger, on(day)).all_due(), asked, on(day))


def shown(found):
    return [(event.day, event.summary) for event in found]


def test_places_of_one_task_and_day_are_one_event():
    assert shown(events([], 1)) == [
        (on(7), "Look at the brushes: 2 machines"),
        (on(14), "Grease the bearings: Side brush (2 places)"),
    ]


def test_the_description_says_what_it_takes_what_can_hurt_and_where():
    grease = events([], 1)[1]
    assert grease.description.splitlines() == [
        "grease: every 2 weeks.",
        "Time: 3 min each, 6 min in all.",
        "Needs somebody qualified for electrical, lockout.",
        "Lock out, tag out and verify first.",
        "Caution: The shaft turns without warning.",
        "Caution: Wipe the fitting first.",
        "Due 2026-01-19, window 2026-01-16 to 2026-01-22.",
        "",
        "- Side brush: Bearing top (brush/bearing-top)",
        "- Side brush: Bearing bottom (brush/bearing-bottom)",
        "",
        "The maker's manual, the local code and licensed people come first.",
    ]


def test_places_due_on_different_days_are_an_event_each():
    found = events([visit(10, TOP)], 10)
    assert shown(found)[1:] == [
        (on(14), "Grease the bearings: Side brush: Bearing bottom"),
        (on(24), "Grease the bearings: Side brush: Bearing top"),
    ]


def test_what_is_late_and_what_is_due_today_share_the_day_and_say_how_late_each_is():
    not_done = {"task": "grease", "at": "brush/bearing-bottom", "outcome": "not-done", "reason": "no grease"}  # fmt: skip
    (grease,) = [
        e for e in events([visit(4, TOP), visit(9, not_done)], 20) if "Grease" in e.summary
    ]
    assert grease.day == on(20)
    assert grease.description.splitlines()[-4:-2] == [
        "- Side brush: Bearing top (brush/bearing-top); due 2026-01-23, window 2026-01-20 to 2026-01-26",
        "- Side brush: Bearing bottom (brush/bearing-bottom); due 2026-01-19, window 2026-01-16 to 2026-01-22, overdue by 3 days; put off on 2026-01-14: no grease",
    ]


def test_ids_stay_while_the_work_moves_and_are_never_shared():
    before = events([], 1)
    after = events([visit(10, TOP)], 10)
    assert {event.uid for event in before} < {event.uid for event in after}
    assert len({event.uid for event in after}) == len(after)
    days = {event.uid: event.day for event in events([visit(15, {"task": "grease"})], 16)}
    assert [days[event.uid] for event in before] == [on(16), on(29)]


def test_another_site_has_other_ids():
    other = events([], 1, site={"name": "Other Wash"})
    assert not {event.uid for event in events([], 1)} & {event.uid for event in other}


def reading(day, passes):
    return visit(day, {"at": "brush", "counted": passes, "seconds": 60, "found_hz": 44})


def readings_asked(visits, day):
    found = events(visits, day, setpoints=[setpoint(3, 44, approved_on=f"{on(3)}")])
    return [event for event in found if event.summary.startswith("Read the speed")]


def test_a_new_setting_asks_for_its_reading_by_its_last_day_in_time():
    (asked,) = readings_asked([], 4)
    assert (asked.day, asked.summary) == (on(10), "Read the speed: Side brush at 44 Hz")
    assert asked.description.splitlines()[0] == "brush, change 1"
    assert "by 2026-01-15" in asked.description
    assert asked.description.splitlines()[-len(SAFETY) :] == list(SAFETY)


def test_an_overdue_reading_stands_on_the_day_itself_under_the_same_id():
    (before,), (after,) = readings_asked([], 4), readings_asked([], 30)
    assert (before.uid, after.day) == (after.uid, on(30))
    assert "Overdue by 20 days" in after.description


def test_a_reading_that_agrees_ends_it_and_one_that_does_not_asks_at_once():
    nameplate = 1740 / 16 * 44 / 60  # r/min of the shaft at 44 Hz, the change of slip left out
    assert readings_asked([reading(4, round(nameplate))], 5) == []
    (asked,) = readings_asked([reading(4, 60)], 5)
    assert asked.day == on(5)
    assert "does not agree" in asked.description
