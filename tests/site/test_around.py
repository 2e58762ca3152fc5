"""What the record holds around one moment, told without a name."""

from datetime import UTC, datetime

from small_site import LOOK, ledger_of, setpoint, visit

from ledger.book import terminal
from ledger.site.around import around, around_page
from ledger.upkeep.speeds.found import speed_results

LOOKED = {"title": "Look at the brush", "on": {"ids": ["brush"]}, "every": "1 day", "steps": "."}
COUNT = {"at": "brush", "counted": 40, "seconds": 30, "found_hz": 44}


def told(*visits, hour=14):
    ledger = ledger_of(visits, tasks={"look": LOOKED}, setpoints=[setpoint(0, 44.0)])
    when = datetime(2026, 1, 15, hour, tzinfo=UTC)
    machine = ledger.machines["brush"]
    results = [one for one in speed_results(ledger) if one.machine == "brush"]
    found = around(ledger, machine, results, when)
    return found, terminal.render(around_page(ledger, machine, found, when))


def test_service_speed_findings_and_stops_of_that_hour():
    found, page = told(
        visit(8, {"task": "look", "at": "brush"}, COUNT),
        visit(9, {"finding": "Strip torn.", "at": "brush/cloth"}, time="08:00"),
        visit(10, {"task": "look", "at": "brush"}, time="06:30"),
        visit(10, {"stop": "vehicle", "stopped_minutes": 12, "at": "low"}, time="13:20"),
        visit(10, {"stop": "supply", "stopped_minutes": 5}, time="11:00"),
        visit(11, {"closes": "2026-01-14T0800-a-holt#1", "at": "brush/cloth"}, COUNT),
        visit(12, {"changed": "brush-set", "at": "brush/cloth"}),
        visit(40, {"finding": "Much later.", "at": "brush/cloth"}),
    )
    assert found["last_service"] == [("Look at the brush", "2026-01-15 06:30")]
    assert [line[:21] for line in found["speed"]] == [
        "Read 2026-01-13 10:00",
        "Read 2026-01-16 10:00",
        "Setting in force that",
    ]
    assert "in band 74–86 r/min" in found["speed"][0]
    assert found["open_findings"] == ["2026-01-14 08:00: Strip torn."]
    assert found["stops"] == [
        "2026-01-15 13:20: 12 min, a vehicle was refused, stuck or damaged, Low brush"
    ]
    assert found["found_after"] == ["2026-01-17 10:00: changed: brush set"]
    assert "holt" not in page.casefold()
    assert "marsh" not in page.casefold()


def test_what_is_not_on_record_is_said():
    found, page = told(visit(20, LOOK))
    assert not any(
        found[part] for part in ("last_service", "open_findings", "stops", "found_after")
    )
    for said in (
        "No work on record before that.",
        "None was open.",
        "nothing here says that a machine was safe",
    ):
        assert said in page.replace("\n", " ")


def test_a_machine_that_was_tied_back_then():
    found, _ = told(
        visit(9, {"tied_back": "Arm bent.", "at": "brush"}),
        visit(11, {"closes": "2026-01-14T1000-a-holt#1", "at": "brush"}),
    )
    assert "It was tied back since 2026-01-14 10:00." in found["speed"]
