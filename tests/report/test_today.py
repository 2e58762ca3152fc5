from small_site import ELECTRIC, HYDRAULIC, ledger_of, on, setpoint, visit

from ledger.assess.due import Schedule
from ledger.assess.follow_up import follow_ups
from ledger.assess.register import register
from ledger.assess.speeds import speed_results
from ledger.assess.wear import wear
from ledger.report.blocks import Bullets, Link, Table
from ledger.report.pages.today import today_page
from ledger.write import terminal

LOOK = {"title": "Look", "on": {"points": "motor"}, "every": "1 week", "minutes": 4, "steps": "."}
FILTER = {
    "name": "Filter",
    "kind": "spare",
    "unit": "piece",
    "opening": {"on": on(0).isoformat(), "count": 1},
    "reorder_level": 1,
}


def page(*visits, as_of=8, setpoints=(), machines=None):
    ledger = ledger_of(
        visits,
        setpoints=setpoints,
        tasks={"look": LOOK},
        machines=machines or {"brush": ELECTRIC, "low": HYDRAULIC},
        parts={"filter": FILTER},
    )
    results = speed_results(ledger)
    return today_page(
        ledger,
        Schedule(ledger, on(as_of)).all_due(),
        results,
        register(ledger, results),
        follow_ups(ledger, results, on(as_of)),
        wear(ledger),
        on(as_of),
        ((Link("Further", "further.md"), "more of it"),),
    )


def text_of(found) -> str:
    return " ".join(terminal.render(found).split())


def test_a_site_that_has_just_begun_says_what_there_is():
    found = page(as_of=1)
    text = text_of(found)

    assert found.title == "Small Wash"
    assert "As of 2026-01-06 (Tuesday): what was filed and approved by the end of that day." in text
    assert "0 tasks due at 0 places; 0 overdue." in text
    assert "0 findings open." in text
    assert "No visit is filed yet." in text
    assert "Worn by the last reading" not in text


def test_what_is_due_and_the_longest_overdue():
    text = text_of(page(as_of=10))

    assert "1 task due at 1 place, about 4 min; 1 overdue." in text
    assert "Longest overdue: Look, by 3 days." in text


def test_findings_to_see_to_now_are_named():
    text = text_of(
        page(
            visit(1, {"finding": "Cable bare.", "at": "brush/motor", "urgency": "now"}),
            visit(2, {"finding": "Dusty.", "at": "brush/motor", "urgency": "planned"}),
        )
    )

    assert "2 findings open." in text
    assert "To see to now: Side brush: Motor: Cable bare." in text
    assert "Dusty" not in text


def test_the_last_reading_of_each_brush_is_counted_by_its_verdict():
    """60 turns in 45 s are 80.0 r/min, in the band of 75 to 85; 60 in 60 s are out of it."""
    good = {"at": "brush", "turns": 60, "seconds": 45}
    bad = {"at": "low", "turns": 60, "seconds": 60}

    text = text_of(page(visit(1, good | {"seconds": 60}), visit(2, good, bad)))

    assert "1 in band, 0 cannot tell, 1 out of band (Low brush)." in text


def test_settings_in_force_proposed_and_found_otherwise():
    proposal = setpoint(5, 44) | {"approved_by": ""}
    del proposal["approved_by"]
    seen = visit(3, {"at": "brush", "found_hz": 50})

    text = text_of(page(seen, setpoints=[setpoint(1, 45), proposal]))

    assert "1 setting in force, 1 proposal waiting for a second person." in text
    assert "Found at another value than approved: Side brush." in text


def test_what_is_worn_and_what_to_order_are_named():
    clogged = {"at": "brush/nozzle", "caught_ml": 500, "seconds": 30, "pressure_kpa": 300}

    text = text_of(page(visit(1, clogged)))

    assert "Worn by the last reading: Side brush: Nozzle (clogged: clean and catch again)." in text
    assert "To order: Filter." in text


def test_the_last_visit_is_the_last_known_on_the_day():
    text = text_of(
        page(
            visit(1, {"at": "brush", "temperature_c": 20}),
            visit(20, {"at": "brush", "temperature_c": 20}),
        )
    )

    assert "Last visit: 2026-01-06 10:00 by A. Holt, 1 entry." in text


def test_every_page_and_machine_is_reached_from_it():
    found = page()

    links = [
        item[0].to
        for block in found.blocks
        if isinstance(block, Bullets)
        for item in block.items
        if isinstance(item[0], Link)
    ]
    assert "further.md" in links
    assert {"due.md", "setpoints.md", "speeds.md", "findings.md", "parts.md"} <= set(links)
    (machines,) = [block for block in found.blocks if isinstance(block, Table)]
    assert [row[1] for row in machines.rows] == [
        Link("Side brush", "machines/brush.md"),
        Link("Low brush", "machines/low.md"),
    ]
