from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_site import ledger_of, on, visit

from ledger.model.site import Part
from ledger.upkeep.parts.found import StockLine, stock_lines

GREASE = {
    "name": "Grease",
    "kind": "consumable",
    "unit": "g",
    "pack": 400,
    "pack_name": "cartridge",
    "grams_per_stroke": 1,
    "opening": {"on": on(0).isoformat(), "count": 800},
    "reorder_level": 400,
}
SPARE = {"name": "Nozzle", "kind": "spare", "unit": "piece"}
GREASING = {
    "title": "Grease",
    "on": {"points": "rotating-bearing"},
    "every": "1 week",
    "steps": ".",
    "uses": {"grease": "3 strokes"},
}


def lines(*visits, parts=None, tasks=None) -> dict[str, StockLine]:
    ledger = ledger_of(
        visits, parts=parts or {"grease": GREASE}, tasks=tasks or {"greasing": GREASING}
    )
    return {line.part.ident: line for line in stock_lines(ledger)}


def test_a_task_done_uses_its_amount_at_each_place():
    """Two bearings of three strokes of 1 g."""
    line = lines(visit(1, {"task": "greasing", "at": "brush"}))["grease"]

    assert line.used_by_month == {date(2026, 1, 1): 6.0}
    assert line.on_hand == 794.0


def test_strokes_noted_stand_for_the_task_s_own():
    line = lines(visit(1, {"task": "greasing", "at": "brush/bearing-top", "strokes": 5}))["grease"]

    assert line.used_since_count == 5.0


def test_work_not_done_uses_nothing():
    undone = {"task": "greasing", "at": "brush", "outcome": "not-done", "reason": "Line running."}

    assert lines(visit(1, undone))["grease"].used_by_month == {}


def test_a_void_entry_uses_nothing_and_a_corrected_one_what_it_should_have_said():
    filed = visit(1, {"task": "greasing", "at": "brush/bearing-top", "strokes": 20})
    first = f"{on(1)}T1000-a-holt#1"
    corrected = visit(
        2,
        {
            "corrects": first,
            "reason": "Typed one nought too many.",
            "task": "greasing",
            "at": "brush/bearing-top",
            "strokes": 3,
        },
    )
    void = visit(2, {"corrects": first, "reason": "Never done.", "void": True})

    assert lines(filed, corrected)["grease"].used_since_count == 3.0
    assert lines(filed, void)["grease"].used_since_count == 0.0


def test_a_count_on_the_shelf_begins_anew():
    line = lines(
        visit(1, {"task": "greasing", "at": "brush"}),
        visit(2, {"part": "grease", "received": 400}),
        visit(3, {"part": "grease", "on_hand": 1000}),
        visit(4, {"task": "greasing", "at": "brush"}, {"part": "grease", "received": 400}),
    )["grease"]

    assert (line.counted, line.counted_on, line.used_since_count) == (1400.0, on(3), 6.0)
    assert line.on_hand == 1394.0


def test_what_was_used_before_the_opening_count_is_in_it():
    opening = {"on": on(10).isoformat(), "count": 800}
    line = lines(
        visit(1, {"task": "greasing", "at": "brush"}),
        parts={"grease": GREASE | {"opening": opening}},
    )["grease"]

    assert line.on_hand == 800
    assert line.used_by_month == {date(2026, 1, 1): 6.0}


def test_a_part_never_counted_has_no_stock_and_no_order():
    line = lines(
        visit(1, {"part": "nozzle", "used": 2}), parts={"nozzle": SPARE, "grease": GREASE}
    )["nozzle"]

    assert line.on_hand is None
    assert line.used_by_month == {date(2026, 1, 1): 2.0}
    assert not line.to_order


@pytest.mark.parametrize(
    ("unit", "amount", "grams"),
    [
        pytest.param("g", "12 g", 12.0, id="the part's own unit"),
        pytest.param("g", "1 cartridge", 400.0, id="a pack"),
        pytest.param("g", "2 cartridges", 800.0, id="packs"),
        pytest.param("g", "1 stroke", 1.0, id="a stroke, weighed"),
        pytest.param("g", "3 drops", 0.0, id="a unit that does not meet the part's"),
        pytest.param("L", "1 stroke", 0.0, id="no stroke makes litres"),
    ],
)
def test_an_amount_is_carried_into_the_part_s_unit(unit, amount, grams):
    line = lines(
        visit(1, {"task": "greasing", "at": "brush/bearing-top"}),
        parts={"grease": GREASE | {"unit": unit}},
        tasks={"greasing": GREASING | {"uses": {"grease": amount}}},
    )["grease"]

    assert line.used_since_count == grams


def test_a_stroke_that_was_not_weighed_is_said():
    """2 g is the middle of the 1 to 3 g of machinerylubrication.com 206."""
    unweighed = {key: value for key, value in GREASE.items() if key != "grams_per_stroke"}
    filed = visit(1, {"task": "greasing", "at": "brush/bearing-top"})

    line = lines(filed, parts={"grease": unweighed})["grease"]

    assert line.assumed_stroke
    assert line.used_since_count == 6.0
    by_grams = GREASING | {"uses": {"grease": "4 g"}}
    assert not lines(filed, parts={"grease": unweighed}, tasks={"greasing": by_grams})[
        "grease"
    ].assumed_stroke


def stocked(count, *, level, pack=None) -> StockLine:
    return StockLine(
        part=Part(ident="p", name="P", kind="spare", unit="piece", pack=pack, reorder_level=level),
        used_by_month={},
        counted=count,
        counted_on=on(0),
        on_order=0,
        lead_days=None,
        level_by_use=None,
        used_since_count=0.0,
        assumed_stroke=False,
    )


@pytest.mark.parametrize(
    ("count", "pack", "packs"),
    [
        pytest.param(11, 10, 0, id="above the level"),
        pytest.param(10, 10, 1, id="at the level one pack makes twice the level"),
        pytest.param(0, 10, 2, id="an empty shelf"),
        pytest.param(5, 10, 2, id="a part of a pack is a whole one"),
        pytest.param(10, 1000, 1, id="never less than a pack"),
        pytest.param(3, None, 17, id="bought by the piece"),
        pytest.param(-2, 10, 3, id="more used than counted"),
    ],
)
def test_the_order_lifts_the_stock_to_twice_the_reorder_level(count, pack, packs):
    assert stocked(count, level=10, pack=pack).packs_to_order == packs


@given(count=st.floats(-50, 200), level=st.floats(0.1, 100), pack=st.none() | st.floats(0.1, 100))
def test_after_an_order_nothing_is_to_order(count, level, pack):
    line = stocked(count, level=level, pack=pack)
    after = count + line.packs_to_order * (pack or 1.0)

    assert not line.to_order or after > level
    # No pack more than is needed.
    if line.packs_to_order > 1:
        assert after - (pack or 1.0) < 2 * level + 1e-9


NOZZLES = SPARE | {"opening": {"on": on(0).isoformat(), "count": 9}}


def moved(day, **amount):
    return visit(day, {"part": "nozzle", **amount})


def nozzles(*visits, **keys):
    return lines(*visits, parts={"grease": GREASE, "nozzle": NOZZLES | keys})["nozzle"]


def test_what_is_ordered_is_to_come_until_it_is_received():
    line = nozzles(moved(1, ordered=4), moved(3, ordered=2), moved(9, received=5))

    assert (line.on_hand, line.on_order) == (14, 1)


def test_the_lead_time_is_the_mean_of_the_orders_that_came_in_whole():
    """8 days for the first order, 16 for the second; the third has not come."""
    orders = (moved(1, ordered=4), moved(3, ordered=2), moved(9, received=5))
    line = nozzles(*orders, moved(19, received=1), moved(20, ordered=3), lead_days=40)

    assert line.lead_days == pytest.approx(12)
    assert nozzles(lead_days=40).lead_days == 40
    assert nozzles().lead_days is None


def test_what_is_on_order_is_not_ordered_again():
    used = moved(5, used=8)

    assert nozzles(used, reorder_level=2).to_order
    assert not nozzles(used, moved(6, ordered=2), reorder_level=2).to_order


def test_a_part_without_a_level_takes_the_one_by_use():
    """Eight uses of a pair in 80 days, 10 days to come: three uses last, as scipy's nbinom says."""
    used = [moved(day, used=2) for day in range(10, 90, 10)]

    line = nozzles(*used, lead_days=10)

    assert (line.level, line.level_by_use) == (6, 6)
    assert nozzles(*used).level is None
    assert nozzles(*used, lead_days=10, reorder_level=1).is_level_low


def test_one_is_kept_of_what_stops_the_line():
    seldom = (moved(400, on_hand=3),)

    assert nozzles(*seldom, lead_days=5).level == 0
    assert nozzles(*seldom, lead_days=5, stops_line=True).level == 1
