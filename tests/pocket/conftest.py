"""An invented walk, and the page of it open in a real Chromium."""

import dataclasses
from datetime import date

import pytest

from ledger.pocket.page import render
from ledger.pocket.payload import (
    ApprovedSetting,
    DueItem,
    Machine,
    Meter,
    OpenFinding,
    Person,
    Point,
    RateBand,
    Round,
    Tuning,
    Use,
)

HOSTILE = (
    "Say \"no\": 'it' # </script><script>stop()</script> @@round@@ <!-- & {[*]} \\ \u2028 🧽 – ä"
)


def site_round():
    bands = tuple(
        RateBand(line_rate_per_h=rate, low_rpm=low, high_rpm=high)
        for rate, low, high in ((80, 70, 80), (100, 72, 82), (110, 74, 86))
    )
    brush = Machine(
        ident="brush-p2",
        name="Side brush P2, passenger",
        kind="side-brush",
        station=140,
        side="passenger",
        turns="against",
        bands=bands,
        plausible_rpm=(5, 400),
        setting_unit="Hz",
        approved=ApprovedSetting(value=44.5, since=date(2026, 11, 10)),
        tuning=Tuning(
            unit="Hz",
            step=0.5,
            low=39.5,
            high=49.5,
            most=2,
            keypad=True,
            practice=("The cloth is wet, and no vehicle is in it.", "One drive at a time."),
        ),
        points=(
            Point(ident="shaft-bearing-top", name="shaft bearing, top"),
            Point(ident="shaft-bearing-bottom", name="shaft bearing, bottom"),
            Point(ident="damper", name="damper"),
            Point(ident="nozzle-1", name="nozzle 1"),
        ),
    )
    return Round(
        site="Quillmere Tunnel Wash",
        as_of=date(2026, 11, 23),
        time_zone="America/Chicago",
        units="us",
        line_rate_per_h=110,
        line_rates_per_h=(90, 100, 110),
        timing_u_s=0.10,
        hurry_share=0.25,
        safety=(
            "Lock out, tag out and verify before hands go in, and wait for stored energy to be gone.",
            "Turns are timed from outside the guards. The maker's manual comes first.",
        ),
        people=(
            Person(ident="m-osterby", name="M. Osterby", qualified=("lockout", "hydraulic")),
            Person(ident="k-yelloway", name="K. Yelloway", qualified=("chemicals",)),
        ),
        machines=(
            Machine(
                ident="conveyor",
                name="Conveyor",
                kind="conveyor",
                station=10,
                points=(Point(ident="chain", name="chain"),),
            ),
            brush,
            Machine(
                ident="wrap-d",
                name="Wrap, driver",
                kind="wrap",
                station=150,
                side="driver",
                turns="with",
                bands=bands[:1],
                setting_unit="gpm",
                approved=ApprovedSetting(value=4.2, since=date(2026, 10, 1)),
            ),
        ),
        due=(
            DueItem(
                task="check-chain",
                title="Measure the chain",
                machine="conveyor",
                places=("conveyor/chain",),
                state="in window",
                minutes=10,
                lockout=True,
                needs=("lockout",),
                cautions=("The chain moves under the gratings.",),
                steps="Lay the tape along the strand.\nMeasure over many pitches.",
                reads=("chain",),
            ),
            DueItem(
                task="grease-shaft-bearings",
                title="Grease the turning shaft bearings",
                machine="brush-p2",
                places=("brush-p2/shaft-bearing-top", "brush-p2/shaft-bearing-bottom"),
                state="overdue by 3 days",
                overdue_days=3,
                minutes=6,
                lockout=True,
                needs=("lockout",),
                cautions=("The arm may swing when the air is off.",),
                steps="Wipe the fitting. Three strokes. Put the cap back.",
                uses=(Use(name="Grease EP2", quantity=2, unit="strokes"),),
            ),
            DueItem(
                task="check-brush-speed",
                title="Check the brush speed",
                machine="brush-p2",
                places=("brush-p2",),
                state="in window",
                minutes=4,
                reads=("speed", "turning"),
            ),
            DueItem(
                task="catch-nozzle",
                title="Catch the nozzle's flow",
                machine="brush-p2",
                places=("brush-p2/nozzle-1",),
                state="in window",
                reads=("catch", "pressure"),
            ),
        ),
        findings=(
            OpenFinding(
                ref="2026-11-20T0655-k-yelloway#2",
                text="Damper lets the arm bounce",
                place="brush-p2/damper",
                urgency="soon",
                day=date(2026, 11, 20),
            ),
        ),
        meters=(
            Meter(
                ident="vehicles", name="Vehicles washed", last=184233, last_day=date(2026, 11, 22)
            ),
            Meter(ident="conveyor_hours", name="Conveyor hours"),
        ),
    )


def hostile_round():
    """The same walk with every text a person wrote turned against the page."""
    walk = site_round()
    return dataclasses.replace(
        walk,
        site=HOSTILE,
        safety=(HOSTILE,),
        people=tuple(dataclasses.replace(person, name=HOSTILE) for person in walk.people),
        machines=tuple(
            dataclasses.replace(
                machine,
                name=HOSTILE,
                points=tuple(dataclasses.replace(point, name=HOSTILE) for point in machine.points),
            )
            for machine in walk.machines
        ),
        due=tuple(
            dataclasses.replace(item, title=HOSTILE, cautions=(HOSTILE,), steps=HOSTILE)
            for item in walk.due
        ),
        findings=tuple(dataclasses.replace(finding, text=HOSTILE) for finding in walk.findings),
    )


@pytest.fixture(scope="session")
def walk():
    return site_round()


@pytest.fixture(scope="session")
def hostile_text():
    return HOSTILE


@pytest.fixture(scope="session")
def hostile_walk():
    return hostile_round()


class OpenPage:
    """A page in a context of its own, with all it asked for and complained of.

    On a busy machine Chromium 150 gives one page from a file in twenty storage that is cut off
    from that of its other tabs and loads: a bare page that sets one item shows it, and none of 500
    pages with an https address did. So only what is about files is opened from one.
    """

    ADDRESS = "https://pocket.example/round.html"

    def __init__(self, browser, folder, walk, *, from_file=False, **options):
        self.file = folder / "round.html"
        self.file.write_text(render(walk), encoding="utf-8")
        self.context = browser.new_context(accept_downloads=True, **options)
        self.context.set_default_timeout(10_000)
        self.requests = []
        self.complaints = []
        self.context.on("request", lambda request: self.requests.append(request.url))
        self.page = self.context.new_page()
        self.page.on("console", lambda said: self.complaints.append(said.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.address = self.file.as_uri() if from_file else self.ADDRESS
        self.context.route(
            self.ADDRESS, lambda route: route.fulfill(path=self.file, content_type="text/html")
        )
        self.page.goto(self.address)

    def keep(self, place, text):
        """Put a text in the place of what the page keeps, and load the page anew."""
        self.page.evaluate(
            """([place, text]) => {
              for (const storage of [localStorage, sessionStorage]) storage.setItem(place, text);
            }""",
            [place, text],
        )
        self.page.reload()

    def kept(self, place):
        return self.page.evaluate("(place) => localStorage.getItem(place)", place)


@pytest.fixture
def open_round(browser, tmp_path):
    """Opens a walk; every page must have asked for nothing but itself, and complained of nothing."""
    opened = []

    def open_it(walk, **options):
        it = OpenPage(browser, tmp_path, walk, **options)
        opened.append(it)
        return it

    yield open_it
    for it in opened:
        it.context.close()
        own = (it.address, "blob:", "data:")
        beyond = [url for url in it.requests if not url.startswith(own)]
        assert beyond == []
        assert it.complaints == []


@pytest.fixture(scope="module")
def page(browser, tmp_path_factory, walk):
    """The walk on a page that nobody fills in, for what its functions answer."""
    it = OpenPage(browser, tmp_path_factory.mktemp("round"), walk)
    yield it.page
    it.context.close()
    assert it.complaints == []
