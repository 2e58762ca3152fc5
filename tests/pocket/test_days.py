"""A page that is not fetched again: seven days of due work, and where it was left."""

import dataclasses
from datetime import date, datetime, timedelta

from example import example_ledger
from pocket.test_round import choose_person, download, go_to, unfold
from small_site import ELECTRIC, ledger_of, on, visit

from ledger.pocket.fill import DAYS, round_of
from ledger.pocket.payload import DueItem
from ledger.upkeep.due.found import Schedule

FIRST = date(2026, 11, 23)


def item(task, **rest):
    return DueItem(
        task=task,
        title=task.capitalize(),
        machine="conveyor",
        places=("conveyor",),
        state="due",
        closes=FIRST,
        **rest,
    )


def with_days(walk):
    ahead = FIRST + timedelta(days=2)
    due = (
        item("daily", again_days=1),
        item("late", overdue_days=3),
        dataclasses.replace(item("ahead"), opens=ahead, closes=ahead + timedelta(days=1)),
    )
    return dataclasses.replace(walk, due=due, closed_days=(FIRST + timedelta(days=3),))


def on_day(it, day, hour=12):
    """The page loaded anew on a day so many after the first, by the site's clock."""
    noon = datetime.fromisoformat(f"{FIRST + timedelta(days=day)}T{hour:02}:00-06:00")
    it.page.clock.set_fixed_time(noon)
    it.page.reload()
    go_to(it.page, "Walk")


def states(page):
    titles = page.locator("#walk .station .item h4").all_text_contents()
    facts = page.locator("#walk .station .facts").all_text_contents()
    return dict(zip(titles, facts, strict=True))


def test_the_page_picks_by_its_own_day_and_says_what_it_cannot_know(open_round, walk):
    it = open_round(with_days(walk))
    on_day(it, 0)
    assert states(it.page) == {"Daily": "Due", "Late": "Due"}
    assert it.page.get_by_label("Notices").locator("p:visible").count() == 0
    on_day(it, 2)
    since = f"Due since {FIRST}, unless it was filed after this page was made"
    assert states(it.page) == {"Daily": since, "Late": "Overdue by 5 days", "Ahead": "Due"}
    assert it.page.locator("h1").inner_text() == "Walk of 2026-11-25"
    assert "It knows what falls due today, but nothing that others filed since." in it.page.get_by_label("Notices").inner_text()  # fmt: skip
    on_day(it, 9)
    assert it.page.locator("h1").inner_text() == "Walk of 2026-11-29", "the last day it knows"
    assert "Its due work is not today's. Counts and findings go on" in it.page.get_by_label("Notices").inner_text()  # fmt: skip


def test_what_this_phone_handed_over_counts_as_done_until_it_comes_round(open_round, walk):
    it = open_round(with_days(walk))
    page = it.page
    on_day(it, 0)
    choose_person(page)
    for box in page.get_by_label("Done", exact=True).all():
        box.check()
    assert page.get_by_role("navigation").get_by_text("Visit: 2 not sent").is_visible()
    assert len(download(it)["entries"]) == 2
    assert page.get_by_role("navigation").get_by_text("Visit: handed over").is_visible()
    page.get_by_role("button", name="Start a new visit").click()
    page.get_by_role("button", name="Start anew").click()
    go_to(page, "Walk")
    assert states(page) == {}
    on_day(it, 1)
    assert states(page) == {"Daily": f"Due since {FIRST}, unless it was filed after this page was made"}  # fmt: skip
    on_day(it, 3)
    assert "Daily" not in states(page), "the site is shut"


def test_a_visit_begun_last_night_keeps_its_day(open_round, walk):
    it = open_round(with_days(walk))
    on_day(it, 0, hour=23)
    it.page.get_by_label("Done", exact=True).first.check()
    it.page.clock.set_fixed_time(datetime.fromisoformat(f"{FIRST + timedelta(days=1)}T00:30-06:00"))
    it.page.reload()
    assert it.page.locator("h1").inner_text() == f"Walk of {FIRST}"
    assert it.page.get_by_label("Done", exact=True).first.is_checked()


def test_it_opens_where_it_was_left(open_round, walk):
    page = open_round(walk, viewport={"width": 390, "height": 844}, has_touch=True).page
    choose_person(page)
    unfold(page, "Side brush P2")
    page.evaluate("window.scrollTo(0, 900)")
    page.reload()
    assert page.locator("details.station[open]").count() == 2
    assert abs(page.evaluate("window.scrollY") - 900) < 2
    go_to(page, "Findings")
    page.reload()
    assert page.get_by_role("heading", name="Findings", level=2).is_visible()


def test_the_record_tells_what_falls_due_when():
    tasks = {
        "daily": {"title": "Daily", "on": {"ids": ["brush"]}, "every": "1 day"},
        "weekly": {"title": "Weekly", "on": {"ids": ["brush"]}, "every": "1 week"},
        "monthly": {"title": "Monthly", "on": {"ids": ["brush"]}, "every": "1 month"},
    }
    done = visit(7, *({"task": task} for task in tasks))
    found = ledger_of([done], tasks=tasks, machines={"brush": ELECTRIC})
    told = round_of(found, Schedule(found, on(8)).all_due(), on(8))
    assert {one.task: (one.opens, one.closes, one.again_days) for one in told.due} == {
        "daily": (None, on(8), 1),
        "weekly": (on(14), on(14), 0),
    }
    assert told.closed_days == (on(12), on(13)), "Saturday and Sunday"


def test_seven_days_of_the_example_stay_a_page_for_a_phone():
    ledger = example_ledger()
    day = date(2026, 11, 25)
    work = Schedule(ledger, day).all_due()
    told = round_of(ledger, work, day)
    assert told.days == DAYS
    today = {(one.task, place) for one in told.due if one.opens is None for place in one.places}
    assert today == {(w.task.ident, str(w.place)) for w in work if w.is_on_the_walk}
    assert any(one.opens for one in told.due)
    assert len(told.to_json()) < 250_000
