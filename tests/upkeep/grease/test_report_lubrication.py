import json
import re

from small_site import ELECTRIC, LOOK, ledger_of, on, visit

from ledger.book import svg, terminal
from ledger.book.blocks import Caution, Heading, Page, Picture, Table
from ledger.upkeep.grease.found import lubrication
from ledger.upkeep.grease.given import grease_supplies
from ledger.upkeep.grease.page import grease_plot, lubrication_page
from ledger.upkeep.grease.table import point_row, supply_row

BEARING = {
    "kind": "rotating-bearing",
    "bore_mm": 50,
    "outer_mm": 90,
    "width_mm": 20,
    "mounting": "horizontal",
    "water": "spray",
    "dirt": "light",
    "dynamic_load_kn": 30,
    "load_kn": 5,
}
PIVOT = {
    "kind": "pivot-bearing",
    "sweep_deg": 4,
    "dynamic_load_kn": 10,
    "load_kn": 1,
}
BRUSH = ELECTRIC | {"points": {"top": BEARING, "bottom": BEARING, "pivot": PIVOT}}
MACHINES = {
    "one": BRUSH | {"name": "Brush one", "station": 1},
    "two": BRUSH | {"name": "Brush two", "station": 2},
}
GREASE = {
    "name": "EP 2 grease",
    "kind": "consumable",
    "unit": "g",
    "pack": 400,
    "pack_name": "cartridge",
    "grams_per_stroke": 1,
    "opening": {"on": on(0).isoformat(), "count": 800},
}
UNWEIGHED = {key: value for key, value in GREASE.items() if key != "grams_per_stroke"}
TASK = {
    "title": "Grease the shafts",
    "on": {"points": "rotating-bearing"},
    "every": "1 week",
    "steps": ".",
    "uses": {"grease": "3 strokes"},
}


def record(every=7):
    visits = [
        visit(
            day,
            {"at": "one", "temperature_c": 20},
            time="06:00",
            meters={"conveyor_hours": 10 * day},
        )
        for day in (0, 69)
    ]
    return [
        *visits,
        *(visit(day, {"task": "shafts", "at": ["one", "two"]}) for day in range(every, 70, every)),
    ]


def ledger(visits=None, part=GREASE, machines=None):
    return ledger_of(
        record() if visits is None else visits,
        machines=machines or MACHINES,
        tasks={"shafts": TASK},
        parts={"grease": part},
    )


def page_of(*args, **rest) -> Page:
    made = ledger(*args, **rest)
    return lubrication_page(made, lubrication(made), grease_supplies(made))


def text_of(*args, **rest) -> str:
    return " ".join(terminal.render(page_of(*args, **rest), 4000).split())


def table(page, first, third) -> Table:
    return next(
        block
        for block in page.blocks
        if isinstance(block, Table)
        and [column.title for column in block.columns[0:3:2]] == [first, third]
    )


def test_bearings_alike_in_name_and_numbers_share_a_row():
    (row,) = table(page_of(), "Bearing", "Charge, g").rows

    assert row[:4] == ("Top, Bottom", "Brush one; Brush two", "9.0", "9.0")


def test_bearings_of_other_names_or_numbers_have_a_row_of_their_own():
    other = BRUSH | {
        "name": "Brush two",
        "station": 2,
        "points": {"top": BEARING, "shaft": BEARING, "bottom": BEARING | {"bore_mm": 60}},
    }
    rows = table(page_of(machines=MACHINES | {"two": other}), "Bearing", "Bore, mm").rows

    assert [row[:3] for row in rows] == [
        ("Top, Bottom", "Brush one", "50"),
        ("Top, Shaft", "Brush two", "50"),
        ("Bottom", "Brush two", "60"),
    ]


def test_handbook_and_what_is_in_force_stand_below_the_practice():
    page = page_of()
    at = page.blocks.index(Heading(3, "Grease the shafts"))
    _, practice, found, untended, bare = page.blocks[at : at + 5]

    said = ["".join(getattr(span, "text", span) for span in item) for item in practice.items]
    assert said == ["Grease the shafts: 3 strokes (3.0 g) of EP 2 grease, weekly"]
    # K 10 * 0.7 * 0.4 = 2.8; 2.8 * (14e6/(80 √50) - 200) = 69 000 h at 10 h a day.
    assert [row[4:] for row in found.rows] == [("19 years", "7 days (practice: pushes water out)")]
    assert untended == Heading(3, "No task greases these")
    assert [(row[0], *row[4:]) for row in bare.rows] == [
        ("Pivot", "none: it swings, and the formula is for turning bearings", "none")
    ]


def test_every_factor_that_alters_the_interval_is_shown_with_what_sets_it():
    (row,) = table(page_of(), "Bearing", "Bore, mm").rows

    assert row[2:] == (
        "50",
        "80",
        "Fc 0.7 dirt light; Fm 0.4 water spray; Fd 10 ball",
        "2.8",
        "69\N{NO-BREAK SPACE}000\N{NO-BREAK SPACE}h",
        "10.0",
    )


def test_rating_life_is_called_an_upper_bound_and_a_small_swing_frets():
    page = page_of()

    assert Heading(2, "Rating life, an upper bound") in page.blocks
    (turning, swinging) = table(page, "Bearing", "C, kN").rows
    assert turning[2:5] == ("30", "5", "80 r/min")
    assert swinging[4] == "swings 4° in all"
    assert swinging[6].endswith("under 5° fretting ends it sooner")


def test_a_load_above_the_rating_is_doubted_in_the_place_of_a_life():
    heavy = BRUSH | {"points": {"top": BEARING | {"load_kn": 31}}}
    machines = {name: machine | heavy for name, machine in MACHINES.items()}
    row = table(page_of(machines=machines), "Bearing", "C, kN").rows[0]

    assert row[5] == "–"
    assert row[6] == "the load is above the rating: check both, no life can be given"


def test_points_without_a_task_and_without_a_size_are_to_see_to():
    text = text_of()

    assert "No task greases Brush one: Pivot" in text
    assert "2 bearings without a size" in text


def test_under_greased_points_are_named_with_their_numbers():
    text = text_of(record(every=28))

    assert "Under-greased: Brush one: Top, 6 g in 70 days, 20 % of plan" in text


def test_a_gun_that_was_not_weighed_is_said():
    text = text_of(part=UNWEIGHED)

    assert "The stroke of the gun for EP 2 grease is not weighed" in text
    assert "1 to 3 g, not weighed" in text


def test_a_record_in_order_has_nothing_to_see_to():
    sound = {"one": ELECTRIC | {"points": {"top": BEARING}}}
    visits = [v for v in record() if "task" not in v["entries"][0]] + [
        visit(day, {"task": "shafts", "at": "one"}) for day in range(7, 70, 7)
    ]

    assert "Nothing: every bearing got its grease." in text_of(visits, machines=sound)


def test_the_picture_stands_beside_its_table():
    blocks = page_of().blocks

    (at,) = [n for n, block in enumerate(blocks) if isinstance(block, Picture)]
    assert isinstance(blocks[at + 1], Table)
    assert svg.render(blocks[at].plot).startswith("<svg")


def test_the_months_of_use_run_back_from_the_newest():
    (used,) = [
        block
        for block in page_of().blocks
        if isinstance(block, Table) and block.columns[0].title == "Month"
    ]

    assert [column.title for column in used.columns] == ["Month", "EP 2 grease, g"]
    months = [row[0] for row in used.rows]
    assert months == sorted(months, reverse=True)
    assert months[-1] == "2026-01"
    # Nine greasings of four bearings by 3 g; three of them in January.
    assert used.rows[-1] == ("2026-01", "36")


def test_the_picture_s_bars_are_what_an_unweighed_stroke_leaves_open():
    (supply,) = grease_supplies(ledger(part=UNWEIGHED))

    points = grease_plot(supply).samples[0].points

    assert all(point.half_width == point.y / 2 for point in points)


def test_the_page_asks_for_the_lockout_and_calls_nothing_safe():
    page = page_of()

    (caution,) = [block for block in page.blocks if isinstance(block, Caution)]
    assert str(caution.lines[0]).startswith("Lock out")
    assert not re.search(r"\bsafe\b", text_of())


def test_a_site_without_bearings_says_so():
    none = {"one": ELECTRIC | {"points": {"motor": {"kind": "motor"}}}}

    assert "No machine has a bearing among its points." in text_of([], machines=none)


def test_a_site_without_visits_has_a_page():
    assert "Amount and interval" in text_of([])


def test_rows_are_json_in_plain_numbers():
    made = ledger()
    points = json.loads(json.dumps([point_row(point) for point in lubrication(made)]))
    supplies = json.loads(json.dumps([supply_row(supply) for supply in grease_supplies(made)]))

    top, _, pivot = points[:3]
    assert top["charge_g"] == 9.0
    assert top["interval_from"] == "practice"
    assert top["factors"] == {"Ft": 1.0, "Fc": 0.7, "Fm": 0.4, "Fv": 1.0, "Fp": 1.0, "Fd": 10.0}
    assert top["given"]["verdict"] == "as wanted"
    assert pivot["handbook_hours"] is None
    assert "swings" in pivot["handbook_says"]
    assert supplies[0]["cartridges_left"][0] == (800 - 9 * 4 * 3) / 400
    short = point_row(lubrication(ledger([visit(0, LOOK | {"at": "one"})]))[0])
    assert short["given"]["verdict"].startswith("not enough data")
