"""What a column is taken for, by its heading, its words and the names of the example."""

import pytest
from example import example_ledger

from ledger.filing.import_columns import SiteNames, Use, classify
from ledger.filing.import_rows import read_text, under_headings
from ledger.model.site import Units

GREASE = (
    "grease-conveyor-bearings",
    "grease-curtain-bearings",
    "grease-pivot-bearings",
    "grease-shaft-bearings",
)


@pytest.fixture(scope="module")
def names():
    return SiteNames(example_ledger())


def column(names, heading: str, cells: str, units: Units = Units.US):
    rows = [(cell.strip(),) for cell in cells.split("|")]
    (found,) = classify(rows, [heading], names, units)
    return found


@pytest.mark.parametrize(
    ("heading", "cells", "use", "key"),
    [
        ("When", "11/02/2026|3.11.26|4 Nov 2026|Thursday 2026-11-05|later", Use.DAY, ""),
        ("Done at", "6:40|7.15 am|06:50|7 pm", Use.TIME, ""),
        ("Tech", "MO|P. Dunmarsh|yelloway", Use.PERSON, ""),
        ("Initials", "M.O.|P D|K. Y.", Use.PERSON, ""),
        ("Tech", "Bo|Al|Cy", Use.PERSON, ""),
        ("Unit no.", "P2|Brush P1|conveyor", Use.PLACE, ""),
        ("Unit", "P-2|brush p 2|P2 top damper", Use.PLACE, ""),
        ("Job", "Grease the turning shaft bearings|wash cloth", Use.TASK, ""),
        ("Completed", "yes|no|x", Use.TICK, ""),
        ("Greased shaft bearings (y/n)", "ja|nein|x|ja", Use.TICK, ""),
        ("Cars", "183,000|183,410", Use.METER, "vehicles"),
        ("Odometer (cars)", "183,000|183410", Use.METER, "vehicles"),
        ("Compressor hours", "1200|1210", Use.METER, "compressor_hours"),
        ("Cars today", "257|690|510|233|700", Use.UNKNOWN, ""),
        # Two meters count hours.
        ("Hours", "1200|1210", Use.UNKNOWN, ""),
        ("Turns", "43|43 turns", Use.READING, "counted"),
        ("Passes / 30 s", "43|44", Use.READING, "counted"),
        ("Hz", "44|44 Hz", Use.READING, "found_hz"),
        ("Set Hz", "44|43.5", Use.READING, "left_hz"),
        ("Flow", "4.4 gpm|4.2", Use.READING, "found_flow_gpm"),
        ("Flow", "16.5 l/min|16", Use.READING, "found_flow_lpm"),
        ("Pump pressure", "60|62", Use.READING, "pressure_psi"),
        ("Temp", "120|118", Use.READING, "temperature_f"),
        ("Temp °C", "52|50", Use.READING, "temperature_c"),
        ("P2 Hz", "43|44 Hz", Use.READING, "found_hz"),
        ("Cloth (in)", '18"|17 1/2"|18.25 in', Use.READING, "strip_length_in"),
        ("Motor amps", "3.1|3.4 A", Use.READING, "current_a"),
        ("Grease strokes", "3|2 shots", Use.READING, "strokes"),
        ("Wash cloth", "x|no|-", Use.TICK, ""),
        ("Remarks", "cold|fine", Use.NOTE, ""),
        ("Foreman", "seen|ok?", Use.UNKNOWN, ""),
        ("Page", "1|2|3", Use.UNKNOWN, ""),
        ("Note", "", Use.UNKNOWN, ""),
    ],
)
def test_what_a_column_is(names, heading, cells, use, key):
    found = column(names, heading, cells)
    assert (found.use, found.key, found.unit) == (use, key, "")


def test_a_number_without_a_unit_is_in_that_of_the_site(names):
    assert column(names, "Temp", "52|50", Units.SI).key == "temperature_c"
    assert column(names, "Pressure", "400|410", Units.SI).key == "pressure_kpa"


def test_a_unit_that_no_key_has_is_converted(names):
    found = column(names, "Strip (cm)", "47.3|46")
    assert (found.key, found.unit) == ("strip_length_in", "cm")


@pytest.mark.parametrize(
    ("heading", "place", "tasks"),
    [
        ("Cloth washed", "", ("wash-cloth",)),
        # Whatever fits equally well is offered, and none of it taken.
        ("Greased", "", GREASE),
        ("P2 shaft greased", "brush-p2", ("grease-shaft-bearings",)),
        ("Conveyor chain lubricated", "conveyor", ("lubricate-conveyor-chain",)),
        ("Swept", "", ()),
    ],
)
def test_which_task_a_tick_is_of(names, heading, place, tasks):
    found = column(names, heading, "x|no|-|done|later")
    assert (found.use, found.place, found.tasks) == (Use.TICK, place, tasks)
    assert found.unknown == ("later",)


def test_a_word_that_names_two_things_names_none(names):
    found = column(names, "Machine", "P2|Brush|Bruhs P2|conveyor")
    assert found.words == {"P2": "brush-p2", "conveyor": "conveyor"}
    assert found.unknown == ("Brush", "Bruhs P2")


def test_the_machine_in_a_heading(names):
    found = column(names, "Hz of P2", "44|43")
    assert (found.key, found.place) == ("found_hz", "brush-p2")


def test_in_a_column_of_places_a_number_is_a_station(names):
    found = column(names, "Unit", "Brush P2|140|100|999|brush P1")
    assert found.words == {
        "Brush P2": "brush-p2",
        "140": "brush-p2",
        "100": "low-brush-p",
        "brush P1": "brush-p1",
    }
    assert found.unknown == ("999",)
    assert column(names, "Page", "140|100").use is Use.UNKNOWN


@pytest.mark.parametrize(
    ("text", "places"),
    [
        ("brush p-2", ("brush-p2",)),
        ("P 2", ("brush-p2",)),
        ("P2 damper", ("brush-p2/damper",)),
        # Words of a machine and a number name none of its points.
        ("low brush passenger 2", ()),
        ("140", ("brush-p2",)),
    ],
)
def test_a_place_as_people_write_it(names, text, places):
    assert names.place(text) == places


def test_ticks_beside_tasks_say_whether_they_were_done(names):
    rows = [
        ("done", "Wash cloth", "x"),
        ("skipped", "wash the cloth", ""),
        ("no", "Clear pits", ""),
    ]
    status, job, seen = classify(rows, ["Status", "Job", "Clean strainers"], names, Units.US)
    assert (status.use, job.use, seen.use) == (Use.DONE, Use.TASK, Use.TICK)
    assert (seen.cells, seen.rows) == (("x",), (0,))


@pytest.mark.parametrize(
    ("first", "last", "headings", "lines"),
    [
        (1, 1, ["Log"], [2, 3, 4, 5, 6]),
        (2, 2, ["Date", "P1", "", "P2", "", ""], [3, 4, 6]),
        (2, 3, ["Date", "P1 Turns", "P1 Hz", "P2 Turns", "P2 Hz", "Seen"], [4, 6]),
    ],
)
def test_headings_may_stand_in_two_lines(first, last, headings, lines):
    log = "Log\nDate,P1,,P2,,\nDate,Turns,Hz,Turns,Hz,Seen\n1,43,44\nDate,P1,,P2,,\n2,43,44\n"
    table = read_text(log, ",")
    found, rows = under_headings(table, first, last)
    assert found == headings
    assert [line for line, _ in rows] == lines
