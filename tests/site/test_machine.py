"""The page of one machine: its facts in the units of the site, its points, all that was filed."""

import pytest
from small_site import ELECTRIC as SMALL
from small_site import HYDRAULIC, ledger_of, setpoint, visit

from ledger.book.blocks import Bullets, Caution, Heading, Picture, Prose
from ledger.book.terminal import plain
from ledger.model.ledger import last_day_filed
from ledger.site.asked import asked_at
from ledger.site.machine_page import machine_page
from ledger.site.parts import Parts
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.findings.found import findings
from ledger.upkeep.speeds.found import speed_results

ELECTRIC = {**SMALL, "drive": {**SMALL["drive"], "hz_limits": [25, 60]}}
GREASE = {"title": "Grease", "on": {"points": "rotating-bearing"}, "every": "1 week"}
LOOK = {"title": "Look", "on": {"ids": ["brush"]}, "every": ["1 month", {"hours": 250}]}
NEXT = "What is next, and when it was done"
GREASED = {"task": "grease", "at": "brush", "strokes": 3}


def page_of(visits=(), ident="brush", tasks=None, **rest):
    tasks = {"grease": GREASE, "look": LOOK} if tasks is None else tasks
    rest = {"machines": {"brush": ELECTRIC, "low": HYDRAULIC}, **rest}
    ledger = ledger_of(visits, tasks=tasks, **rest)
    machine = ledger.machines[ident]
    every = speed_results(ledger)
    results = [r for r in every if r.machine == ident]
    found = [f for f in findings(ledger) if f.entry.places[0].machine == ident]
    last = last_day_filed(ledger)
    asked = asked_at(ledger, ident, Parts(ledger, last, None))
    return machine_page(ledger, machine, Schedule(ledger, last), results, found, asked, last.year)


def section(page, title):
    """The blocks below one heading of level 2."""
    start = next(i for i, b in enumerate(page.blocks) if isinstance(b, Heading) and b.text == title)
    rest = page.blocks[start + 1 :]
    end = next((i for i, b in enumerate(rest) if isinstance(b, Heading) and b.level == 2), len(rest))  # fmt: skip
    return rest[:end]


def cells(table):
    return [[plain(cell) for cell in row] for row in table.rows]


def facts(**rest):
    return plate(page_of(**rest))


def plate(page):
    (bullets,) = section(page, "Plate and points")
    return [plain(item) for item in bullets.items]


@pytest.mark.parametrize(
    ("units", "ident", "words"),
    [
        ("si", "brush", "Electric motor, 2.2 kW, 1740 r/min at 60 Hz, reduction about 16, limits 25 to 60 Hz."),
        ("us", "brush", "Electric motor, 2.95 hp, 1740 r/min at 60 Hz, reduction about 16, limits 25 to 60 Hz."),
        ("si", "low", "Hydraulic motor, 160 cm³ per turn, limits 5.0 L/min to 20.0 L/min."),
        ("us", "low", "Hydraulic motor, 9.76 in³ per turn, limits 1.32 gpm to 5.28 gpm."),
    ],
)  # fmt: skip
def test_the_drive_in_the_units_of_the_site(units, ident, words):
    """2.2 kW is 2.950 hp and 160 cm³ is 9.764 in³ by the factors of NIST SP 811 appendix B.8."""
    assert words in facts(ident=ident, site={"units": units})


@pytest.mark.parametrize(
    ("units", "brush", "words"),
    [
        ("us", {"diameter_in": 48, "strips_around": 18, "material": "cloth"}, "Brush: cloth, 48 in across, 18 strips around."),
        ("si", {"diameter_in": 48, "material": "foam"}, "Brush: foam, 1219.2 mm across."),
        ("si", {"strips_around": 18}, "Brush: 18 strips around."),
    ],
)  # fmt: skip
def test_the_brush_in_the_units_of_the_site(units, brush, words):
    """48 in are 1219.2 mm by NIST SP 811 appendix B.8."""
    machines = {"brush": {**ELECTRIC, "brush": brush}}
    assert words in facts(machines=machines, site={"units": units})


def test_the_note_of_a_point_stands_behind_its_name():
    points = {"motor": {"kind": "motor", "note": "Behind the guard"}}
    page = page_of(machines={"brush": {**ELECTRIC, "points": points}}, tasks={})
    assert plate(page)[-1] == "Motor: motor; Behind the guard."


def test_facts_that_are_stated_are_told_and_others_left_out():
    machine = {**ELECTRIC, "side": "passenger", "turns": "against", "serial": "SB-1", "maker_manual": "Shelf 1", "out_of_service": [{"from": "2026-07-01", "to": "2026-07-09"}, {"from": "2027-01-01"}], "notes": "Set *level*.", "panel": "a"}  # fmt: skip
    panels = {"panels": {"a": {"name": "Panel A", "rated_a": 100, "volts": 460}}}
    page = page_of(machines={"brush": machine}, site=panels, setpoints=[setpoint(0, 44)])
    standing = "Station 10, tunnel, side brush, passenger side; turns against the vehicle's travel."
    assert plain(page.blocks[0].spans) == standing
    assert now(page) == ["Setting in force: 44 Hz from 2026-01-05 (register)."]
    assert plate(page)[:9] == [
        "Electric motor, 2.2 kW, 1740 r/min at 60 Hz, reduction about 16, limits 25 to 60 Hz.",
        "Band at 90 vehicles an hour: 70–80 r/min, target 75.",
        "Band at 110 vehicles an hour: 74–86 r/min, target 80.",
        "Fed from Panel A.",
        "Serial number SB-1.",
        "In service since 2026-01-05.",
        "Out of service from 2026-07-01 to 2026-07-09.",
        "Out of service from 2027-01-01.",
        "Maker's manual: Shelf 1.",
    ]
    assert section(page, "Notes") == [Prose("Set *level*.")]
    bare = {"name": "Pit", "kind": "pit-pump", "station": 1}
    assert facts(machines={"brush": bare}, tasks={}) == ["In service since 2026-01-05."]


def test_the_caution_stands_before_anything_that_is_to_be_done():
    page = page_of([visit(0, {"finding": "loud", "at": "brush"})])
    at = [block.text if isinstance(block, Heading) else type(block) for block in page.blocks]
    assert at.index(Caution) < at.index("What is next, and when it was done")


def test_what_is_next_stands_first_beside_when_it_was_last_done():
    visits = [visit(0, GREASED), visit(7, {**GREASED, "at": "brush/bearing-top"})]
    table, idle = section(page_of(visits), NEXT)
    assert cells(table) == [
        ["2026-01-12", "weekly", "2026-01-05", "Grease", "Bearing bottom"],
        ["2026-01-19", "weekly", "2026-01-12", "Grease", "Bearing top"],
        ["2026-02-05", "monthly or every 250 hours, whichever comes first", "–", "Look", "machine"],
    ]
    assert plain(idle.spans) == "No task for: Cloth; Nozzle; Chain; Gauge; Motor."


def test_work_not_done_or_struck_out_is_not_the_last_time():
    visits = [
        visit(0, GREASED),
        visit(7, {"task": "grease", "at": "brush", "outcome": "not-done", "reason": "line ran"}),
        visit(8, GREASED),
        visit(9, {"corrects": "2026-01-13T1000-a-holt#1", "reason": "other brush", "void": True}),
    ]
    first, *_ = cells(section(page_of(visits), NEXT)[0])
    assert first[2:4] == ["2026-01-05", "Grease"]


def now(page):
    """The state at the top, each line as text."""
    bullets = section(page, "Now")[0]
    assert isinstance(bullets, Bullets)
    return [plain(item).replace("\N{NO-BREAK SPACE}", " ") for item in bullets.items]


def test_open_findings_stand_above_the_most_urgent_first_and_closed_ones_do_not():
    dusty = {"finding": "dusty", "at": "brush"}
    loud = {"finding": "loud", "at": "brush/motor", "urgency": "now"}
    assert now(page_of([visit(0, {**dusty, "urgency": "planned"}, loud)])) == [
        "✱ Open finding, now: loud (Motor, 2026-01-05, A. Holt, 2026-01-05T1000-a-holt#2)",
        "✱ Open finding, planned: dusty (machine, 2026-01-05, A. Holt, 2026-01-05T1000-a-holt#1)",
    ]
    closed = page_of([visit(0, loud), visit(1, {"closes": "2026-01-05T1000-a-holt#1"})])
    assert now(closed) == ["Nothing asks for a decision."]


def test_what_asks_for_a_decision_is_named_by_its_point_on_the_page_of_its_machine_alone():
    """60 turns in 60 s are out of the band of 74 to 86 r/min; the approver proposed it himself."""
    seized = [
        visit(day, {"finding": "Seized.", "at": "brush/bearing-top", "failed": True})
        for day in (2, 4, 6)
    ]
    closing = visit(8, *({"closes": f"2026-01-{day:02}T1000-a-holt#1"} for day in (7, 9, 11)))
    slow = visit(7, {"at": "brush", "turns": 60, "seconds": 60})
    clogged = visit(7, {"at": "brush/nozzle", "caught_ml": 500, "seconds": 30, "pressure_kpa": 300}, time="11:00")  # fmt: skip
    claimed = [setpoint(0, 45), setpoint(5, 44, proposed_by="b-marsh")]
    visits = [*seized, slow, clogged, closing]

    assert now(page_of(visits, setpoints=claimed))[:5] == [
        "◆ Out of band: this machine, 60.00 ± 0.22 r/min for a band of 74–86. Recommended settings",
        "↘ Clogged: clean and catch again: Nozzle, read 2026-01-12. Wear",
        "↻ Fails again and again: Bearing top, 3 times in a year, last on 2026-01-11. Reliability",
        "? To confirm: read the speed of this machine at 45 Hz by 2026-01-12. Due work",
        (
            "… To approve properly or put back: this machine, 44 Hz from 2026-01-10: claimed "
            "approved by B. Marsh, does not count: B. Marsh proposed it too. Drive settings"
        ),
    ]
    assert now(page_of(visits, ident="low", setpoints=claimed)) == ["Nothing asks for a decision."]


def test_a_picture_only_where_there_is_a_reading():
    assert not [b for b in page_of().blocks if isinstance(b, Picture)]
    read = page_of([visit(0, {"at": "low", "tachometer_rpm": 80, "accuracy_rpm": 1})], ident="low", machines={"brush": ELECTRIC, "low": HYDRAULIC})  # fmt: skip
    assert [b.path for b in read.blocks if isinstance(b, Picture)] == ["plots/speed-low.svg"]
