"""A week of visits on one phone: the page is fetched twice, every tap is counted, all is filed."""

import re
from datetime import date, datetime, timedelta

from example import copy_example
from pocket.test_round import choose_person, go_to
from pocket.test_rounds import Taps

from ledger.files.tree import DiskTree
from ledger.model.ledger import known_on
from ledger.model.tasks import When
from ledger.pocket.fill import round_of
from ledger.pocket.page import render
from ledger.site.pipeline import load
from ledger.upkeep.due.found import PASSES, Schedule, belongs_to_daily_round, is_looked_at

FIRST = date(2026, 11, 25)
"""A Wednesday; on the day after the site is shut."""

SHUT = {1, 4}

TIED, FRESH, BACK = 2, 5, 6
"""The days on which a machine is tied back, the page is fetched again, and the machine is back."""

MACHINE = "low-brush-p"

FINE = re.compile("^(Even|Whole|Dry|Over half)$")


class Week:
    def __init__(self, it, site):
        self.it = it
        self.page = it.page
        self.site = site
        self.taps = {}

    def fetch(self, day):
        """The page as a build of that morning makes it, of what was filed till then."""
        loaded = load(DiskTree(self.site))
        assert not loaded.has_errors, loaded.diagnostics
        ledger = known_on(loaded.ledger, day)
        walk = round_of(ledger, Schedule(ledger, day).all_due(), day)
        self.it.file.write_text(render(walk), encoding="utf-8")

    def open(self, day):
        self.page.clock.set_fixed_time(datetime.fromisoformat(f"{day}T06:40-06:00"))
        self.page.reload()
        return Taps(self.page)

    def claim(self, taps, when):
        """One press a pass, once the two drawn places were looked at; False without a round."""
        part = self.page.locator("details.pass", has=self.page.locator("summary h3", has_text=PASSES[when]))  # fmt: skip
        if not part.locator("[data-key^='round ']").count():
            return False
        if part.get_attribute("open") is None:
            taps.on(part.locator("summary").first)
        for place in part.locator(".drawn > *").all():
            fine = place.get_by_role("button", name=FINE)
            taps.on(fine.first if fine.count() else place.locator("input"))
        taps.on(part.get_by_role("button", name="All in order"))
        sure = self.page.get_by_role("button", name="It is in order")
        if sure.count():
            taps.on(sure)
        return True

    def send(self, taps, day):
        """The visit downloaded, put where the page says, and a new one begun."""
        taps.on(self.page.get_by_role("navigation").get_by_role("button", name="not sent"))
        with self.page.expect_download() as waiting:
            taps.on(self.page.get_by_role("button", name="Download"))
        got = waiting.value
        place = self.site / "observations" / f"{day:%Y}" / f"{day:%m}" / got.suggested_filename
        place.parent.mkdir(parents=True, exist_ok=True)
        got.save_as(place)
        taps.on(self.page.get_by_role("button", name="Start a new visit"))
        taps.on(self.page.get_by_role("button", name="Start anew"))
        self.taps[day] = taps.count


def test_a_week_on_one_phone(open_round, walk, tmp_path):
    """A Wednesday to a Tuesday; the site is shut on the Thursday and the Sunday."""
    week = Week(
        open_round(walk, viewport={"width": 390, "height": 844}, has_touch=True),
        copy_example(tmp_path / "site", since="2026-11-18"),
    )
    week.fetch(FIRST)
    days = [FIRST + timedelta(days=number) for number in range(7)]
    for number, day in enumerate(days):
        if number == FRESH:
            week.fetch(day)
        taps = week.open(day)
        if number == 0:
            choose_person(week.page)
        go_to(week.page, "Walk")
        claimed = [when for when in When if week.claim(taps, when)]
        if number in SHUT:
            assert claimed == [], "what was due before was handed over"
            continue
        assert claimed == [When.BEFORE_OPENING, When.RUNNING]
        if number == TIED:
            tie_back(week, taps)
        if number == BACK:
            taps.on(week.page.get_by_label("It runs again"))
        week.send(taps, day)

    loaded = load(DiskTree(week.site))
    assert not loaded.has_errors, loaded.diagnostics
    phone = [visit for visit in loaded.ledger.visits if visit.day >= FIRST]
    assert [visit.day for visit in phone] == [day for n, day in enumerate(days) if n not in SHUT]
    # Both rounds, asked whether they were not too quick, sent and begun anew.
    assert {week.taps[visit.day] for visit in phone} == {12, 12 + 6, 12 + 1}
    (tied,) = loaded.ledger.tie_backs
    assert (tied.machine, tied.first_day, tied.closed_by.day) == (MACHINE, days[TIED], days[BACK])
    for visit in phone:
        claims = [entry for entry in visit.entries if entry.claim]
        looked_at = {place.machine for entry in claims for place in entry.places}
        assert (MACHINE in looked_at) == (not days[TIED] <= visit.day <= days[BACK])
    work = Schedule(loaded.ledger, days[-1]).all_due()
    late = [one for one in work if belongs_to_daily_round(one) and is_looked_at(loaded.ledger, one.task)]  # fmt: skip
    assert {
        one.place.machine for one in late if one.due.overdue_days and not one.task.needs
    } == set()


def tie_back(week, taps):
    page = week.page
    taps.on(page.get_by_role("navigation").get_by_role("button", name="Findings"))
    taps.on(page.get_by_role("button", name="New finding"))
    page.get_by_label("Machine").select_option(MACHINE)
    taps.count += 2
    page.get_by_label("What is wrong").fill("Arm bent")
    taps.on(page.get_by_label("Tied back"))
    taps.on(page.get_by_label("Now", exact=True))
