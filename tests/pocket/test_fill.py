"""What the phone is told of a day is what the ledger knows of it."""

from datetime import date

import pytest
from small_site import ELECTRIC, HYDRAULIC, ledger_of, setpoint, visit
from sound_site import AS_OF, SOUND, edited, ledger_in, texts_below

from ledger.pocket.fill import round_of
from ledger.pocket.payload import Meter, RateBand, Use
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.speeds.found import band_of


def told(ledger, day):
    return round_of(ledger, Schedule(ledger, day).all_due(), day)


@pytest.fixture(scope="module")
def walk():
    return told(ledger_in(texts_below(SOUND)), AS_OF)


def test_the_site_and_its_day(walk):
    assert (walk.site, walk.as_of, walk.time_zone, walk.units) == ("Brackenford Wash", AS_OF, "America/Chicago", "us")  # fmt: skip
    assert (walk.line_rate_per_h, walk.line_rates_per_h, walk.timing_u_s) == (110, (90, 110), 0.10)
    assert any("Lock out" in line for line in walk.safety)


def test_people_who_have_left_are_not_offered(walk):
    assert [(person.ident, person.qualified) for person in walk.people] == [
        ("d-fenwold", ("electrical", "lockout")),
        ("m-tarrow", ("lockout",)),
    ]


def test_machines_stand_in_walking_order_with_their_setting_as_the_drive_shows_it(walk):
    assert [machine.ident for machine in walk.machines] == ["conveyor", "brush-p2", "low-brush"]
    conveyor, brush, low = walk.machines
    assert (conveyor.setting_unit, conveyor.approved) == (None, None)
    assert (brush.setting_unit, brush.approved.value, brush.approved.since) == ("Hz", 44, date(2026, 11, 10))  # fmt: skip
    assert (low.setting_unit, low.approved.value) == ("gpm", 3.5)
    assert [point.ident for point in brush.points] == ["shaft-bearing-top", "shaft-bearing-bottom", "cloth", "nozzle-1"]  # fmt: skip


def test_a_site_of_metres_reads_litres():
    ledger = ledger_in(edited("site.yaml", "units: us", "units: si"))
    low = told(ledger, AS_OF).machines[2]
    assert (low.setting_unit, low.approved.value) == ("L/min", pytest.approx(13.248941244))


def test_the_setting_is_the_one_in_force_on_the_day():
    ledger = ledger_of(setpoints=[setpoint(0, 48), setpoint(10, 44)])
    before, after = (told(ledger, date(2026, 1, day)).machines[0].approved.value for day in (14, 15))  # fmt: skip
    assert (before, after) == (48, 44)
    assert told(ledger, date(2026, 1, 4)).machines == ()


def test_the_bands_are_those_that_the_ledger_judges_by():
    """A band turned round is left out here as it is there."""
    bands = [{"line_rate_per_h": 90, "rpm": [80, 70]}, {"line_rate_per_h": 110, "rpm": [74, 86]}]
    ledger = ledger_of(machines={"brush": {**ELECTRIC, "speed_band": bands}})
    (machine,) = told(ledger, AS_OF).machines
    assert machine.bands == (RateBand(line_rate_per_h=110, low_rpm=74, high_rpm=86, target_rpm=80),)
    band, _ = band_of(ledger.machines["brush"], 110)
    assert (band.low, band.high) == (74, 86)


def test_one_item_a_task_and_machine_with_its_places_and_parts(walk):
    found = {(item.task, item.machine): item for item in walk.due}
    assert list(found) == [
        ("grease-bearings", "conveyor"),
        ("check-speed", "brush-p2"),
        ("grease-bearings", "brush-p2"),
        ("check-speed", "low-brush"),
        ("grease-bearings", "low-brush"),
    ]
    grease = found["grease-bearings", "brush-p2"]
    assert grease.places == ("brush-p2/shaft-bearing-top", "brush-p2/shaft-bearing-bottom")
    assert grease.uses == (Use(name="Grease EP 2", quantity=3, unit="strokes"),)
    assert (grease.lockout, grease.needs, grease.state, grease.overdue_days) == (True, ("lockout",), "overdue by 7 days", 7)  # fmt: skip
    assert found["check-speed", "brush-p2"].reads == ("speed", "setting")


def test_minutes_are_for_all_places_together():
    task = {"title": "T", "on": {"points": "rotating-bearing"}, "every": "1 week", "minutes": 3}
    (item,) = told(ledger_of(tasks={"t": task}), date(2026, 2, 1)).due
    assert (item.minutes, len(item.places)) == (6, 2)


def test_only_findings_open_that_day():
    found = {"finding": "loud", "at": "brush/motor", "urgency": "now"}
    ledger = ledger_of([visit(0, found), visit(5, {"closes": "2026-01-05T1000-a-holt#1"})])
    assert [(one.ref, one.place, one.urgency) for one in told(ledger, date(2026, 1, 6)).findings] == [("2026-01-05T1000-a-holt#1", "brush/motor", "now")]  # fmt: skip
    assert told(ledger, date(2026, 1, 12)).findings == ()


def test_a_meter_shows_its_last_reading_by_that_day(walk):
    assert walk.meters == (
        Meter(ident="conveyor_hours", name="Conveyor hours", last=4231.0, last_day=date(2026, 11, 17)),
        Meter(ident="vehicles", name="Vehicles washed", last=190110, last_day=date(2026, 11, 17)),
    )  # fmt: skip
    earlier = told(ledger_in(texts_below(SOUND)), date(2026, 11, 3)).meters
    assert [meter.last for meter in earlier] == [4123.4, 184233]
    assert [meter.last for meter in told(ledger_of(), date(2026, 1, 6)).meters] == [None, None]


def test_a_machine_out_of_service_is_not_walked_past():
    gone = {**HYDRAULIC, "out_of_service": "2026-03-01"}
    ledger = ledger_of(machines={"brush": ELECTRIC, "low": gone})
    assert [m.ident for m in told(ledger, date(2026, 2, 28)).machines] == ["brush", "low"]
    assert [m.ident for m in told(ledger, date(2026, 3, 1)).machines] == ["brush"]
