"""A week of visits on one phone: the page is fetched twice, every tap is counted, all is filed."""

import re
from datetime import date, datetime, timedelta
from urllib.parse import parse_qs, urlsplit

from example import copy_example
from pocket.test_round import choose_person, go_to
from pocket.test_rounds import Taps

from ledger.files.tree import DiskTree
from ledger.filing.posted import visits_in
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

COUNTED, TUNED = 0, 3
"""The days on which two speeds are counted, and a drive is set anew."""

WAYS = ("Share", None, "Copy", "Download", None, "link", "Share")
"""How each day's visit leaves the phone; the sheet of this one shares no YAML, only text."""

MACHINE = "low-brush-p"

NEW_FILE = "https://git.wash.example/a/b/new/main?filename={path}&value={text}"

SHEET = """() => {
  navigator.canShare = ({files}) => files[0].name.endsWith(".txt");
  navigator.share = async ({files}) => { window.shared = await files[0].text(); };
}"""

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

    def counts(self):
        return self.page.locator("section.counts:visible")

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

    def count(self, rpm, used="Use this reading"):
        """Twelve passes tapped; the tapping itself is not counted."""
        clock = self.page.clock
        clock.pause_at(self.page.evaluate("Date.now()") / 1000 + 1)
        for _ in range(12):
            self.page.keyboard.press("Space")
            clock.run_for(60_000 / rpm)
        clock.resume()
        return self.page.get_by_role("dialog").get_by_role("button", name=used)

    def send(self, taps, day, way):
        """The visit by one of the ways out, filed under the name that the page gives it."""
        page = self.page
        taps.on(page.get_by_role("navigation").get_by_role("button", name="not sent"))
        where = re.search(r"observations/\S+yaml", page.locator(".where").inner_text()).group()
        place = self.site / where
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(getattr(self, f"_by_{way.lower()}")(taps), encoding="utf-8")
        (posted,) = visits_in(place.read_text())
        assert posted.is_whole
        handed = page.get_by_role("navigation").get_by_role("button", name="Visit: handed over")
        handed.wait_for()
        taps.on(page.get_by_role("button", name="Start a new visit"))
        taps.on(page.get_by_role("button", name="Start anew"))
        self.taps[day] = taps.count

    def _by_share(self, taps):
        taps.on(self.page.get_by_role("button", name="Share"))
        self.page.get_by_text("Shared as").wait_for()
        return self.page.evaluate("shared")

    def _by_copy(self, taps):
        taps.on(self.page.get_by_role("button", name="Copy"))
        self.page.get_by_text("Copied.").wait_for()
        return self.page.evaluate("navigator.clipboard.readText()")

    def _by_download(self, taps):
        with self.page.expect_download() as waiting:
            taps.on(self.page.get_by_role("button", name="Download"))
        return waiting.value.path().read_text(encoding="utf-8")

    def _by_link(self, taps):
        """The host's page opens with the text in it, and the person says that it is there."""
        link = self.page.get_by_role("link", name="Open the repository's page for it")
        link.evaluate("(e) => e.addEventListener('click', (event) => event.preventDefault())")
        taps.on(link)
        taps.on(self.page.get_by_role("button", name="It is committed there"))
        return parse_qs(urlsplit(link.get_attribute("href")).query)["value"][0]


def test_a_week_on_one_phone(open_round, walk, tmp_path):
    """A Wednesday to a Tuesday; the site is shut on the Thursday and the Sunday."""
    phone = {"viewport": {"width": 390, "height": 844}, "has_touch": True}
    it = open_round(walk, **phone, permissions=["clipboard-read", "clipboard-write"])
    it.context.add_init_script(f"({SHEET})()")
    week = Week(it, copy_example(tmp_path / "site", since="2026-11-18"))
    with (week.site / "site.yaml").open("a", encoding="utf-8") as site:
        site.write(f"\nrepository: {{new_file: '{NEW_FILE}'}}\n")
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
        if number == COUNTED:
            for name in ("90 · Low brush", "100 · Low brush"):
                taps.on(week.counts().get_by_role("button", name=name))
                taps.on(week.count(85, "as approved"))
        if number == TUNED:
            tune(week, taps)
        if number == TIED:
            tie_back(week, taps)
        if number == BACK:
            taps.on(week.page.get_by_label("It runs again"))
        week.send(taps, day, WAYS[number])

    loaded = load(DiskTree(week.site))
    assert not loaded.has_errors, loaded.diagnostics
    phone = [visit for visit in loaded.ledger.visits if visit.day >= FIRST]
    assert [visit.day for visit in phone] == [day for n, day in enumerate(days) if n not in SHUT]
    # Both rounds, asked whether they were not too quick, sent and begun anew; two taps a count, the
    # rest of a session, a tie-back, two for the link, and the machine back.
    assert [week.taps[visit.day] for visit in phone] == [12 + 4, 12 + 6, 12 + 7, 12 + 1, 12 + 1]
    counted = [entry for entry in phone[0].entries if entry.speed]
    assert [str(entry.places[0]) for entry in counted] == ["low-brush-d", "low-brush-p"]
    (session,) = [entry for entry in phone[2].entries if entry.steps]
    assert [step.setting for step in session.steps] == [44, 46, 48]
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


def tune(week, taps):
    """A count that is out of band leads to what to set next, each setting to its count."""
    taps.on(week.counts().get_by_role("button", name="130 · Side brush D2"))
    taps.on(week.count(79, "as approved"))
    part = week.page.locator("[data-key='check-brush-speed brush-d2']")
    for hz, rpm in ((46, 83), (48, 89)):
        taps.on(part.get_by_role("button", name=f"It is set to {hz} Hz: count again"))
        taps.on(week.count(rpm))
    assert "Stop: in band" in part.locator(".advice").inner_text()
    taps.on(part.get_by_label("Locked again"))


def tie_back(week, taps):
    page = week.page
    taps.on(page.get_by_role("navigation").get_by_role("button", name="Findings"))
    taps.on(page.get_by_role("button", name="New finding"))
    page.get_by_label("Machine").select_option(MACHINE)
    taps.count += 2
    page.get_by_label("What is wrong").fill("Arm bent")
    taps.on(page.get_by_label("Tied back"))
    taps.on(page.get_by_label("Now", exact=True))
