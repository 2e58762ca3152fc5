import re

from small_site import ELECTRIC, LOOK, ledger_of, on, visit

from ledger.book import markdown, terminal
from ledger.book.blocks import Caution, Heading, Page, Table, Walk
from ledger.book.terminal import plain
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.due.page import MOST_NAMED, due_page

DAILY = {
    "title": "Look at the nozzles",
    "on": {"points": "nozzle"},
    "every": "1 day",
    "minutes": 0.3,
    "cautions": ["Stay out of the spray."],
    "steps": ".",
}
GREASING = {
    "title": "Grease the bearings",
    "on": {"points": "rotating-bearing"},
    "every": "1 week",
    "lockout": True,
    "minutes": 3,
    "cautions": ["Block the arm.", "Stay out of the spray."],
    "uses": {"grease": "3 strokes"},
    "steps": ".",
}
METERED = {
    "title": "Turn the motor",
    "on": {"points": "motor"},
    "every": {"vehicles": 10000},
    "steps": ".",
}
GREASE = {"name": "EP 2 grease", "kind": "consumable", "unit": "g"}
MACHINES = {
    "first": ELECTRIC | {"name": "First brush", "station": 10},
    "second": ELECTRIC | {"name": "Second brush", "station": 20},
}


def due(visits, as_of, *, tasks=None, machines=None, site=None) -> Page:
    ledger = ledger_of(
        visits,
        tasks=tasks or {"look": DAILY, "greasing": GREASING},
        machines=machines or MACHINES,
        parts={"grease": GREASE},
        site=site,
    )
    return due_page(ledger, Schedule(ledger, on(as_of)).all_due(), (), on(as_of))


def text_of(page: Page) -> str:
    return " ".join(terminal.render(page, width=400).split())


def headings(page: Page) -> list[str]:
    return [block.text for block in page.blocks if isinstance(block, Heading)]


def lines(page: Page) -> list[str]:
    return re.findall(r"- \[ \] (.*)", markdown.render(page))


def looked(day):
    return visit(day, {"task": "look", "at": ["first", "second"]})


def greased(day, at):
    return visit(day, {"task": "greasing", "at": at}, time="12:00")


def test_the_daily_round_is_one_line_a_task_however_many_machines():
    page = due([looked(0)], 1)

    assert headings(page) == ["Before opening", "Never on record", "Coming in the next 7 days"]
    claim, but = lines(page)
    assert claim == "**Daily round in order**, 1 task at 2 places, about 1 min; but not:"
    assert but == "[Look at the nozzles](tasks/look.md) (1 min)\\"
    assert "    At: 10 First brush; 20 Second brush\n" in markdown.render(page)


def test_what_is_read_for_safety_or_asked_for_by_law_is_answered_apart_from_the_round():
    tasks = {
        "look": DAILY,
        "read": {**DAILY, "title": "Read the gauge", "reads": ["pressure"]},
        "stops": {**DAILY, "title": "Test the stops", "safety": True},
        "law": {**DAILY, "title": "Look by law", "basis": "law"},
    }
    (walk,) = [block for block in due([], 1, tasks=tasks).blocks if isinstance(block, Walk)]
    assert [plain(item.first).partition(" (")[0] for item in walk.exceptions] == [DAILY["title"]]
    assert [plain(item.first).partition(" (")[0] for item in walk.alone] == ["Look by law", "Read the gauge", "Test the stops"]  # fmt: skip


def test_other_work_stands_with_its_machine_in_walking_order():
    page = due([looked(6)], 7)

    assert headings(page)[:3] == ["Before opening", "When the line is closed", "Lock out first"]
    written = markdown.render(page)
    assert written.index("- **10** [First brush]") < written.index("- **20** [Second brush]")
    greasing = [line for line in lines(page) if "Grease" in line]
    one = (
        "[Grease the bearings](tasks/greasing.md): Bearing top and Bearing bottom "
        "(locked out; 6 min; 3 strokes of EP 2 grease each; never on record)"
    )
    assert greasing == [one, one]


def cautions(page):
    """The cautions of each pass, a line each, without that of every page."""
    _, *passes = [block for block in page.blocks if isinstance(block, Caution)]
    return [[plain(line) for line in block.lines] for block in passes]


def test_a_danger_is_told_once_a_pass_with_what_to_do_where_or_at_what_work():
    machines = {
        "first": MACHINES["first"] | {"cautions": ["It can drop. Pin it."]},
        "second": MACHINES["second"] | {"cautions": ["It can drop. Pin it."]},
    }
    tasks = {"look": DAILY, "greasing": GREASING | {"short": "grease", "cautions": ["Hot.", "It can drop. Block the arm."]}}  # fmt: skip
    assert cautions(due([looked(6)], 7, machines=machines, tasks=tasks)) == [
        ["It can drop. Pin it (10, 20).", "Stay out of the spray. (look at the nozzles)"],
        ["It can drop. Pin it (10, 20). Block the arm (grease).", "Hot. (grease)"],
    ]


def test_locks_are_put_on_once_for_each_machine():
    """Two tasks on two machines: 12 min of work, and 10 min of locks at each machine."""
    site = {"policy": {"lockout_minutes": 10}}
    assert "about 12 min." in text_of(due([looked(7)], 7))
    assert "about 32 min." in text_of(due([looked(7)], 7, site=site))


def test_machines_with_the_same_work_before_them_share_a_row_of_the_lockout():
    page = due([looked(6)], 7)

    table = next(b for b in page.blocks if isinstance(b, Table) and b.columns[1].title == "Before")
    assert len(table.rows) == 1
    text = text_of(page)
    assert "10 · First brush; 20 · Second brush" in text
    assert "Do not touch them before that." in text


def test_without_lockout_there_is_no_table_for_it():
    assert "Lock out first" not in headings(due([looked(0)], 1))


def test_lateness_is_said_of_the_worst():
    page = due([looked(9), greased(1, "first"), greased(7, "second")], 10)

    (greasing,) = [line for line in lines(page) if "Grease" in line]
    assert greasing.endswith("last done 2026-01-06). **Overdue by 2 days**.")


def test_a_daily_line_names_the_machines_that_are_late_where_not_all_are():
    seen = [
        visit(4, {"task": "look", "at": ["first", "second"]}),
        visit(7, {"task": "look", "at": "second"}),
    ]
    page = due(seen, 8, tasks={"look": DAILY})

    _, line = lines(page)
    assert line.endswith("**Overdue by 1 day** at First brush.\\")


def test_work_put_off_says_why():
    undone = visit(
        7, {"task": "greasing", "at": "first", "outcome": "not-done", "reason": "Line running."}
    )

    assert "Put off on 2026-01-12 by A. Holt: Line running." in text_of(due([undone], 8))


def test_who_may_do_the_work_is_listed_by_need():
    people = {
        "a-holt": {"name": "A. Holt", "roles": ["technician"], "qualified": ["lockout"]},
        "b-marsh": {"name": "B. Marsh", "roles": ["lead"], "approves": ["setpoints"]},
    }
    text = text_of(due([looked(6)], 7, site={"people": people}))

    assert "lockout Grease the bearings A. Holt" in text

    nobody = text_of(due([looked(6)], 7))
    assert "lockout Grease the bearings nobody of this site" in nobody


def test_what_is_coming_leaves_the_daily_round_out_and_says_what_dates_it():
    read = [visit(day, LOOK | {"at": "first"}, meters={"vehicles": 1000 * day}) for day in (0, 4)]
    tasks = {"look": DAILY, "greasing": GREASING, "turn": METERED}

    text = text_of(due(read, 4, tasks=tasks))

    coming = text[text.index("Coming in the next 7 days") :]
    assert "2026-01-12 calendar Grease the bearings First brush; Second brush 4" in coming
    assert "Turn the motor First brush; Second brush 2" in coming
    assert "1000 vehicles a day over the last 4 days" in " ".join(coming.split())
    assert "Look at the nozzles" not in coming


def test_of_many_machines_coming_only_the_ends_are_named():
    many = {f"m{n}": ELECTRIC | {"name": f"Brush {n}", "station": n} for n in range(MOST_NAMED + 1)}

    text = text_of(due([], 4, machines=many, tasks={"greasing": GREASING}))

    assert "5 machines, Brush 0 to Brush 4" in text


def test_work_that_cannot_be_dated_is_listed():
    text = text_of(due([], 4, tasks={"turn": METERED}))

    assert "Cannot be dated" in text
    assert "Turn the motor at First brush: Motor: no meter reading to count from" in text


def test_a_day_without_work_says_so_and_keeps_its_caution():
    page = due(
        [visit(0, LOOK | {"at": "first"})], 1, tasks={"greasing": GREASING | {"window": "1 day"}}
    )

    assert "Nothing is due on this day." in text_of(page)
    assert any(isinstance(block, Caution) for block in page.blocks)
    assert not any(isinstance(block, Walk) for block in page.blocks)
    assert (
        page.as_of
        == "As of 2026-01-06 (Tuesday): what was filed and approved by the end of that day."
    )


def test_the_page_never_calls_a_machine_safe():
    assert not re.search(r"\bsafe\b", text_of(due([looked(6)], 7)))


def test_forty_machines_of_daily_work_stay_a_page():
    """One line a task, whatever the number of machines."""
    many = {f"m{n}": ELECTRIC | {"name": f"Brush {n}", "station": n} for n in range(40)}

    page = due([visit(0, LOOK | {"at": "m0"})], 1, machines=many)

    assert len(lines(page)) == 2
    assert len(markdown.render(page).splitlines()) < 40


def test_who_may_do_it_is_told_with_what_they_do_here():
    people = {
        "a-holt": {"name": "A. Holt", "roles": ["lead", "electrician"], "qualified": ["lockout"]},
        "b-marsh": {"name": "B. Marsh", "qualified": ["lockout"]},
    }
    text = text_of(due([], 9, site={"people": people}))
    assert "A. Holt (lead, electrician); B. Marsh" in text


def test_days_on_which_the_site_is_closed_soon_are_told_with_their_reason():
    closures = [
        {"from": on(11).isoformat(), "to": on(12).isoformat(), "why": "Floor"},
        {"from": on(16).isoformat(), "why": "Fair"},
        {"from": on(17).isoformat(), "why": "Too far off"},
    ]
    text = text_of(due([], 9, site={"closures": closures}))
    assert "Closed from 2026-01-16 to 2026-01-17 (Floor); on 2026-01-21 (Fair)." in text
    assert "Too far off" not in text
