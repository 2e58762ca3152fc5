"""A small invented book that has every kind of block, for all writers to write."""

import os
from datetime import date
from pathlib import Path
from random import Random

import pytest

from ledger.book.blocks import (
    VERDICT,
    Axis,
    AxisKind,
    Bullets,
    Caution,
    Code,
    Column,
    Curve,
    Event,
    Heading,
    Lines,
    Link,
    Mark,
    Page,
    Paragraph,
    Picture,
    Plot,
    Prose,
    Sample,
    Samples,
    SmallPlots,
    Station,
    Stroke,
    Strong,
    Table,
    Walk,
    Zone,
    beneath,
    right,
)

SAFETY = (
    (
        "Lock out, tag out and verify before hands go in: every source of energy, and wait for stored "
        "energy (springs, air, hydraulic pressure, raised arms, charged drives) to be gone."
    ),
    (
        "Turns are timed from outside the guards. The maker's manual, the local code and licensed "
        "people come before anything written here."
    ),
)
MACHINES = (
    ("conveyor", "Conveyor", 1, "chain"),
    ("curtain-front", "Cloth curtain, front", 5, "crank bearing"),
    ("brush-p1", "Upper side brush, passenger", 11, "shaft bearing, top"),
    ("brush-p2", "Lower side brush, passenger", 12, "shaft bearing, top"),
    ("brush-d2", "Lower side brush, driver", 12, "shaft bearing, bottom"),
    ("top-brush", "Top brush", 14, "pivot bearing"),
    ("blower-1", "Blower 1", 20, "motor"),
)


def day(text):
    return float(date.fromisoformat(text).toordinal())


def speed_plot():
    chance = Random(12)
    counted = [
        Sample(
            x=day("2026-01-05") + 7 * week,
            y=80.5 - 0.12 * week + chance.gauss(0, 1),
            half_width=2.6,
        )
        for week in range(44)
    ]
    timed = [
        Sample(x=day("2026-03-02") + 60 * n, y=79.6 - 1.1 * n, half_width=0.7) for n in range(5)
    ]
    return Plot(
        title="Lower side brush, passenger: shaft speed",
        summary="49 readings from 2026-01-05 to 2026-11-02, falling from about 80 to 75 r/min.",
        x=Axis(label="date", kind=AxisKind.DAY),
        y=Axis(label="shaft speed, r/min"),
        samples=(
            Samples(name="counted", mark=Mark.DISC, points=counted),
            Samples(name="timed turns", mark=Mark.RING, points=timed),
        ),
        curves=(
            Curve(
                name="trend",
                stroke=Stroke.DASHED,
                corners=((day("2026-01-05"), 80.5), (day("2026-11-02"), 75.3)),
            ),
        ),
        zones=(Zone(name="band at 110 vehicles an hour", low=74, high=86),),
        events=(
            Event(x=day("2026-02-10"), label="44.0 Hz"),
            Event(x=day("2026-06-24"), label="44.5 Hz"),
            Event(x=day("2026-07-20"), label="new strips"),
        ),
    )


def machine_page(ident, name, station, point):
    plot = (
        ()
        if ident != "brush-p2"
        else (
            Heading(2, "Speed"),
            Picture("plots/speed-brush-p2.svg", speed_plot()),
            Paragraph(("Every reading is on ", Link("the page of shaft speeds", "speeds.md"), ".")),
        )
    )
    history = [
        (
            f"2026-{11 - n // 4:02}-{23 - 7 * (n % 4):02} 06:40",
            point,
            (
                "Grease the turning shaft bearings: done, 3 strokes",
                "Check the brush speed: counted 38 in 30 s, 76.0 ± 2.2 r/min, found 44.0 Hz",
                "Fitting will not take grease | replaced the next day, see *finding*",
            )[n % 3],
            ("M. Osterby", "T. Varrick")[n % 2],
            f"2026-{11 - n // 4:02}-{23 - 7 * (n % 4):02}T0640-m-osterby#{n % 3 + 1}",
        )
        for n in range(12)
    ]
    return Page(
        path=f"machines/{ident}.md",
        title=name,
        blocks=[
            Bullets(
                (
                    f"Station {station}, tunnel, side brush, passenger side",
                    "Turns against the vehicle's travel.",
                    "Electric motor, 3 hp, 1740 r/min at 60 Hz, reduction about 20.5.",
                    (
                        "Setting in force: 44.5 Hz since 2026-06-24 (",
                        Link("register", "setpoints.md"),
                        ").",
                    ),
                )
            ),
            Caution(SAFETY),
            Heading(2, "Notes"),
            Prose(
                "# Arm\n\nKeep the arm *level*; moving it out\npresses harder on small vehicles.\n\n"
                "1. Look at the jack screws.\n2. Look at the damper:\n   - no bouncing\n   - no oil\n\n"
                "<b>Not bold</b> | not | a table"
            ),
            Heading(2, "Points"),
            Table(
                (Column("Point"), Column("Kind"), Column("Cycle"), Column("Last done")),
                [
                    (
                        point,
                        "rotating bearing",
                        Link("every 1 week", "tasks/grease-shaft-bearings.md"),
                        "2026-11-23",
                    ),
                    ("damper", "damper", "every 1 month", "2026-11-02"),
                    ("nozzle 1", "nozzle", "every 1 day", "2026-11-24"),
                ],
            ),
            *plot,
            Heading(2, "History, newest first", newest_first=True),
            Table(
                (Column("When"), Column("Where"), Column("What"), Column("By"), Column("Entry")),
                history,
                newest_first=True,
            ),
        ],
    )


def due_page():
    blocks = [
        Paragraph(
            (
                "14 tasks at 32 places on 7 machines, about 2 h 05 min of work. ",
                Strong("3 overdue."),
            )
        ),
        Caution(SAFETY),
        Heading(2, "Lock out first"),
        Paragraph("These machines are locked out, tagged and verified before the work named."),
        Table(
            (right("Station"), Column("Machine"), Column("Before")),
            [
                (
                    str(station),
                    Link(name, f"machines/{ident}.md"),
                    "Grease the turning shaft bearings; Look at strips and bolts",
                )
                for ident, name, station, _ in MACHINES
            ],
        ),
        Heading(2, "The walk"),
    ]
    blocks.append(
        Walk(
            claim=(Strong("Daily round in order"), ", 1 task at 7 places; but not:"),
            exceptions=[
                Lines(
                    "Look at strips and bolts (2 min)",
                    ["At: 1 Conveyor; 20 Blower 1"],
                    brief="At 1, 20",
                )
            ],
            alone=[Lines("Test the emergency stops (5 min)", ["At: 20 Blower 1"], brief="At 20")],
            stations=[
                Station(
                    str(station),
                    Link(name, f"machines/{ident}.md"),
                    [
                        Lines(
                            (
                                Link(
                                    "Grease the turning shaft bearings",
                                    "tasks/grease-shaft-bearings.md",
                                ),
                                f": {point} (locked out; 3 min; 3 strokes of grease EP2 each). ",
                                Strong("Overdue by 2 days"),
                                ".",
                            ),
                            brief="grease ■ 2 d",
                        ),
                        Lines(
                            (
                                Link("Check the brush speed", "tasks/check-brush-speed.md"),
                                " (5 min; last done 2026-11-18)",
                            ),
                            brief="count 44 Hz",
                        ),
                    ],
                )
                for ident, name, station, point in MACHINES
            ],
        )
    )
    blocks += [
        Heading(2, "Coming in the next 7 days"),
        Table(
            (Column("Due"), Column("Task"), right("Places"), Column("Machines")),
            [
                (
                    "2026-11-30",
                    Link("Pivot bearings", "tasks/grease-pivots.md"),
                    "4",
                    "Top brush, Lower side brush, driver",
                )
            ],
        ),
    ]
    return Page(
        path="due.md", title="Due work", blocks=blocks, as_of="As of 2026-11-25 (Wednesday)."
    )


def task_page(ident, title):
    return Page(
        path=f"tasks/{ident}.md",
        title=title,
        blocks=[
            Bullets(
                ("Due every 1 week.", ("Edit ", Code(f"tasks/{ident}.yaml"), " to change it."))
            ),
            Heading(2, "Steps"),
            Prose("Wipe the fitting, give three strokes, wipe again,\nput the cap back."),
            Heading(2, "Where"),
            Bullets([Link(name, f"machines/{machine}.md") for machine, name, *_ in MACHINES]),
        ],
    )


GOLDEN = Path(__file__).parent / "golden"


@pytest.fixture
def golden():
    """Holds a text to the file a person has reviewed; ACCEPT_GOLDEN=1 takes the new text."""

    def hold(name, text):
        path = GOLDEN / name
        if os.environ.get("ACCEPT_GOLDEN"):
            path.write_bytes(text.encode())
        assert text == path.read_bytes().decode(), (
            f"review, then accept with ACCEPT_GOLDEN=1: {name}"
        )

    return hold


@pytest.fixture
def book():
    """Pages of a made-up site, in the order of its navigation."""
    return specimen()


def specimen():
    return (
        Page(
            path="README.md",
            title="Harrow Lane wash",
            as_of="As of 2026-11-25 (Wednesday).",
            blocks=[
                Bullets(
                    (("32 places are ", Link("due", "due.md#the-walk"), "."), "1 finding is open.")
                ),
                Heading(2, "Machines"),
                Bullets([Link(name, f"machines/{ident}.md") for ident, name, *_ in MACHINES]),
            ],
        ),
        due_page(),
        Page(
            path="setpoints.md",
            title="Settings in force",
            blocks=[
                Table(
                    (
                        Column("Drive"),
                        right("Setting"),
                        Column("Since"),
                        right("Predicted, r/min"),
                        Column("Evidence"),
                        Column("Proposed by"),
                        Column("Approved by"),
                        Column("Why"),
                    ),
                    [
                        (
                            Link(name, f"machines/{ident}.md"),
                            "44.5 Hz",
                            "2026-06-24",
                            "79.8 ± 1.1",
                            Code("2026-11-23T0640-m-osterby#2"),
                            "M. Osterby",
                            "T. Varrick",
                            "Third count above the band at 48 Hz.",
                        )
                        for ident, name, *_ in MACHINES
                    ],
                )
            ],
        ),
        Page(
            path="speeds.md",
            title="Shaft speeds",
            blocks=[
                SmallPlots(
                    2026,
                    [
                        (
                            Lines(
                                Link("Lower side brush, passenger", "machines/brush-p2.md"),
                                ["● in band 75.3 ± 2.6"],
                            ),
                            Picture("plots/2026/small-brush-p2.svg", speed_plot(), is_small=True),
                        )
                    ],
                ),
                Heading(2, "Last readings", in_columns=True),
                Heading(3, "Lower side brush, passenger"),
                Table(
                    (Column("Date"), right("r/min ± U"), VERDICT, beneath("Band")),
                    [("2026-11-02", "75.3 ± 2.6", "● in band", "74–86")],
                ),
                Heading(3, "Top brush"),
                Paragraph("Not read yet."),
            ],
        ),
        *(machine_page(*machine) for machine in MACHINES),
        task_page("grease-shaft-bearings", "Grease the turning shaft bearings"),
        task_page("check-brush-speed", "Check the brush speed"),
        task_page("grease-pivots", "Grease the pivot bearings"),
    )
