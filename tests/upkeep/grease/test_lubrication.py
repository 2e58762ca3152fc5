import math

import pytest
from small_site import ELECTRIC, LOOK, ledger_of, on, visit

from ledger.compute.grease import Bounds, GreaseVerdict, IntervalSource
from ledger.compute.numbers import NoAnswer, NotEnoughData
from ledger.upkeep.grease.found import GreasePoint, SpeedBasis, lubrication
from ledger.upkeep.grease.given import GreaseGiven, grease_supplies

# 6210, 50 x 90 x 20 mm: 9.0 g (machinerylubrication.com 31524).
BEARING = {
    "kind": "rotating-bearing",
    "bore_mm": 50,
    "outer_mm": 90,
    "width_mm": 20,
    "mounting": "horizontal",
    "water": "dry",
    "dirt": "clean",
}
GREASE = {
    "name": "Grease",
    "kind": "consumable",
    "unit": "g",
    "pack": 400,
    "pack_name": "cartridge",
    "grams_per_stroke": 1,
    "opening": {"on": on(0).isoformat(), "count": 800},
}
UNWEIGHED = {key: value for key, value in GREASE.items() if key != "grams_per_stroke"}
WEEKLY = {
    "title": "Grease",
    "on": {"points": "rotating-bearing"},
    "every": "1 week",
    "steps": ".",
    "uses": {"grease": "3 strokes"},
}


def machine(**bearing):
    return ELECTRIC | {"points": {"bearing": BEARING | bearing}}


def record(*, days=70, every=7, strokes=3, hours_per_day=10, at="brush/bearing"):
    """A record of so many days, greased each so many days; the conveyor's hours are read."""
    visits = [
        visit(day, LOOK, time="06:00", meters={"conveyor_hours": hours_per_day * day})
        for day in (0, days - 1)
    ]
    visits += [
        visit(day, {"task": "grease", "at": at, "strokes": strokes})
        for day in range(every, days, every)
    ]
    return visits


def points(visits=None, *, bearing=None, task=None, part=None, machines=None):
    ledger = ledger_of(
        record() if visits is None else visits,
        machines=machines or {"brush": machine(**(bearing or {}))},
        tasks={"grease": task or WEEKLY},
        parts={"grease": part or GREASE},
    )
    return lubrication(ledger)


def only(*args, **rest) -> GreasePoint:
    (point,) = points(*args, **rest)
    return point


def test_the_charge_and_its_strokes_follow_from_the_size():
    point = only()

    assert point.charge_g == pytest.approx(9.0)
    assert point.charge_strokes.low == pytest.approx(9.0)
    assert point.charge_strokes == Bounds(
        low=point.charge_strokes.low, high=point.charge_strokes.low
    )


def test_a_gun_that_was_not_weighed_gives_1_to_3_g_a_stroke():
    point = only(part=UNWEIGHED)

    assert (point.charge_strokes.low, point.charge_strokes.high) == pytest.approx((3.0, 9.0))
    assert point.tasks[0].each_g == Bounds(low=3.0, high=9.0)


def test_the_handbook_is_asked_at_the_band_s_target():
    """K 10 for a clean dry ball bearing; the band's target at 110 vehicles an hour is 80 r/min."""
    point = only()

    assert (point.speed_rpm, point.speed_basis) == (80, SpeedBasis.BAND)
    assert point.factor == pytest.approx(10)
    assert point.handbook_h == pytest.approx(10 * (14e6 / (80 * math.sqrt(50)) - 200))


def test_without_a_band_the_nameplate_tells_the_speed():
    conveyor = {
        "name": "Conveyor",
        "kind": "conveyor",
        "station": 5,
        "drive": {"type": "electric", "rated_rpm": 1740, "base_hz": 60, "reduction": 58},
        "points": {"bearing": BEARING},
    }

    point = only(
        [visit(0, {"at": "conveyor", "temperature_c": 20})], machines={"conveyor": conveyor}
    )

    assert (point.speed_rpm, point.speed_basis) == (30, SpeedBasis.NAMEPLATE)


@pytest.mark.parametrize(
    ("words", "symbol", "value"),
    [
        pytest.param({"surface_c": 70}, "Ft", 0.5, id="65 to 80 °C"),
        pytest.param({"surface_c": 90}, "Ft", 0.2, id="80 to 93 °C"),
        pytest.param({"dirt": "light"}, "Fc", 0.7, id="second of four"),
        pytest.param({"dirt": "heavy"}, "Fc", 0.4, id="third of four"),
        pytest.param({"dirt": "severe"}, "Fc", 0.2, id="last of four"),
        pytest.param({"water": "damp"}, "Fm", 0.7, id="damp"),
        pytest.param({"water": "spray"}, "Fm", 0.4, id="spray"),
        pytest.param({"water": "wash-down"}, "Fm", 0.1, id="wash-down"),
        pytest.param({"vibration": "some"}, "Fv", 0.6, id="over 0.2 in/s"),
        pytest.param({"vibration": "much"}, "Fv", 0.3, id="over 0.4 in/s"),
        pytest.param({"mounting": "inclined"}, "Fp", 0.5, id="45 degrees"),
        pytest.param({"mounting": "vertical"}, "Fp", 0.3, id="vertical"),
        pytest.param({"rolling": "cylindrical"}, "Fd", 5, id="cylindrical"),
        pytest.param({"rolling": "tapered"}, "Fd", 1, id="tapered"),
    ],
)
def test_each_factor_is_the_handbook_s_for_the_words_of_the_file(words, symbol, value):
    """Source of the values: machinerylubrication.com 31524."""
    point = only(bearing=words)

    shown = {factor.symbol: factor.value for factor in point.factors}

    assert shown[symbol] == value
    assert math.prod(shown.values()) == pytest.approx(point.factor)
    assert point.handbook_h == pytest.approx(point.factor * (14e6 / (80 * math.sqrt(50)) - 200))


def test_practice_is_in_force_where_it_is_the_shorter():
    point = only()

    assert point.interval.source is IntervalSource.PRACTICE
    assert point.interval.days == 7
    assert point.interval.handbook_days == pytest.approx(point.handbook_h / 10)


def test_the_handbook_is_in_force_where_the_grease_ages_sooner():
    """Tapered rollers in severe dirt and wash-down, hot and shaking, greased once a year."""
    harsh = {
        "rolling": "tapered",
        "dirt": "severe",
        "water": "wash-down",
        "mounting": "vertical",
        "vibration": "much",
        "surface_c": 70,
    }
    point = only(bearing=harsh, task=WEEKLY | {"every": "1 year"})

    assert point.interval.source is IntervalSource.HANDBOOK
    assert point.interval.days == pytest.approx(point.handbook_h / 10)
    assert point.interval.days < 365


@pytest.mark.parametrize(
    ("every", "days"),
    [
        pytest.param("2 weeks", 14, id="calendar"),
        pytest.param("1 month", 365.2425 / 12, id="mean month"),
        pytest.param({"hours": 80, "meter": "conveyor_hours"}, 8, id="10 hours a day"),
        pytest.param(["1 month", {"hours": 80, "meter": "conveyor_hours"}], 8, id="first to come"),
        pytest.param({"rule": "FREQ=WEEKLY;BYDAY=MO,TH"}, 3.5, id="a rule, twice a week"),
        pytest.param([{"vehicles": 9000}, "1 week"], 7, id="vehicles never read"),
    ],
)
def test_the_site_s_practice_is_told_in_days(every, days):
    point = only(task=WEEKLY | {"every": every})

    assert point.tasks[0].interval_days == pytest.approx(days, rel=0.01)


def test_a_pivot_has_no_handbook_interval_but_swings_a_life():
    """C/P = 10, ball: 1000 Mrev. 110 vehicles an hour, 40 degrees from end to end:
    10^6 * 1000/110 * 180/40 h."""
    pivot = {
        "kind": "pivot-bearing",
        "sweep_deg": 40,
        "dynamic_load_kn": 10,
        "load_kn": 1,
        "outer_mm": 62,
        "width_mm": 16,
    }
    task = WEEKLY | {"on": {"points": "pivot-bearing"}}

    point = only(machines={"brush": ELECTRIC | {"points": {"bearing": pivot}}}, task=task)

    assert isinstance(point.handbook_h, NoAnswer)
    assert (point.interval.days, point.interval.handbook_days) == (7, None)
    assert point.life.hours == pytest.approx(1e6 * 1000 / 110 * 4.5)
    assert not point.life.fretting


def test_small_swings_are_flagged_for_fretting():
    """Drive maker's manual 1021387: fretting corrosion may occur below 5 degrees."""
    pivot = {"kind": "pivot-bearing", "dynamic_load_kn": 10, "load_kn": 1}
    swings = {
        sweep_deg: only(
            [visit(0, LOOK)],
            machines={
                "brush": ELECTRIC | {"points": {"bearing": pivot | {"sweep_deg": sweep_deg}}},
            },
            task=WEEKLY | {"on": {"points": "pivot-bearing"}},
        ).life.fretting
        for sweep_deg in (4.9, 5)
    }
    assert swings == {4.9: True, 5: False}


def test_a_turning_bearing_s_rating_life_is_at_the_band_s_speed():
    """30 kN over 5 kN is 216 Mrev (domain check), here at 80 r/min."""
    point = only(bearing={"dynamic_load_kn": 30, "load_kn": 5})

    assert point.life.hours == pytest.approx(216e6 / (60 * 80))


def test_a_load_above_the_rating_gives_no_life():
    assert only(bearing={"dynamic_load_kn": 5, "load_kn": 5.1}).life.overloaded
    assert not only(bearing={"dynamic_load_kn": 5, "load_kn": 5}).life.overloaded


def test_a_size_that_is_not_stated_leaves_its_numbers_out():
    bare = {"kind": "rotating-bearing"}

    point = only(machines={"brush": ELECTRIC | {"points": {"bearing": bare}}})

    assert (point.charge_g, point.charge_strokes, point.life) == (None, None, None)
    assert isinstance(point.handbook_h, NoAnswer)
    assert point.interval.days == 7


def test_a_bearing_that_no_task_greases_says_so():
    point = only(
        task=WEEKLY | {"on": {"points": "motor"}},
        visits=[visit(0, LOOK)],
        machines={"brush": ELECTRIC | {"points": {"bearing": BEARING, "motor": {"kind": "motor"}}}},
    )

    assert (point.tasks, point.interval, point.given) == ((), None, None)


def test_a_task_that_uses_no_grease_greases_nothing():
    oil = GREASE | {"unit": "L", "pack": 20}

    assert only(visits=[visit(0, LOOK)], part=oil).tasks == ()


def test_a_machine_out_of_service_is_left_out():
    gone = machine() | {"out_of_service": on(30).isoformat()}

    assert (
        points(
            [visit(40, {"at": "other", "temperature_c": 20})],
            machines={
                "brush": gone,
                "other": ELECTRIC | {"station": 11, "points": {"bearing": BEARING}},
            },
        )[0].place.machine
        == "other"
    )


def given(*args, **rest) -> GreaseGiven:
    found = only(*args, **rest).given
    assert isinstance(found, GreaseGiven), found
    return found


def test_a_point_greased_as_planned_is_as_wanted():
    found = given(record())

    assert found.verdict is GreaseVerdict.WITHIN
    assert found.greasings == 9
    assert found.given_g == Bounds(low=27, high=27)
    assert found.of_plan.share.low == pytest.approx(9 / 10)


@pytest.mark.parametrize(
    ("every", "strokes", "verdict"),
    [
        pytest.param(28, 3, GreaseVerdict.UNDER, id="once in four weeks"),
        pytest.param(7, 0.75, GreaseVerdict.UNDER, id="a quarter of the strokes"),
        pytest.param(7, 9, GreaseVerdict.OVER, id="three times the strokes"),
        pytest.param(2, 3, GreaseVerdict.OVER, id="three times as often"),
        pytest.param(10, 3, GreaseVerdict.WITHIN, id="a little late each time"),
    ],
)
def test_less_than_half_or_more_than_twice_the_plan_is_named(every, strokes, verdict):
    assert given(record(every=every, strokes=strokes)).verdict is verdict


def test_the_plan_is_judged_in_strokes_though_the_gun_was_not_weighed():
    found = given(record(every=28), part=UNWEIGHED)

    assert found.of_plan.share.low == found.of_plan.share.high == pytest.approx(2 / 10)
    assert found.verdict is GreaseVerdict.UNDER


def test_a_plan_of_full_charges_over_and_over_is_too_much_for_the_bearing():
    """23 strokes of 1 g are 2.6 charges of 9 g, each week."""
    found = given(record(strokes=23), task=WEEKLY | {"uses": {"grease": "23 strokes"}})

    assert found.of_plan.verdict is GreaseVerdict.WITHIN
    assert found.of_most.share.low == pytest.approx(23 / 9 * 9 / 10)
    assert found.verdict is GreaseVerdict.OVER


def test_an_unweighed_gun_leaves_open_what_only_its_weight_could_tell():
    """10 strokes are 10 to 30 g where 9 g is a charge: up to three charges a week."""
    found = given(
        record(strokes=10), task=WEEKLY | {"uses": {"grease": "10 strokes"}}, part=UNWEIGHED
    )

    assert found.verdict is GreaseVerdict.CANNOT_TELL


def test_a_plan_below_the_handbook_starves_the_bearing():
    """A tenth of a stroke of 1 g a month, where 9 g are wanted in each short grease life."""
    harsh = {"rolling": "tapered", "dirt": "severe", "water": "wash-down", "mounting": "vertical"}
    monthly = WEEKLY | {"every": "1 month", "uses": {"grease": "0.1 strokes"}}

    found = given(record(days=300, every=30, strokes=0.1), bearing=harsh, task=monthly)

    assert found.of_plan.verdict is GreaseVerdict.WITHIN
    assert found.of_least.share.high < 0.5
    assert found.verdict is GreaseVerdict.UNDER


def test_a_short_record_says_not_enough_data():
    found = only(record(days=20)).given

    assert isinstance(found, NotEnoughData)
    assert (found.have, found.need) == (2, 3)


def test_only_the_last_year_of_the_record_counts():
    visits = record(days=800, every=7)

    found = given(visits)

    assert found.first == on(800 - 365)
    assert found.last == on(799)
    assert found.greasings == 52


def test_two_tasks_on_one_point_make_one_plan():
    """Weekly three strokes and a charge of 18 g each 70 days: 30 g + 18 g in 70 days."""
    renewal = {
        **WEEKLY,
        "title": "Renew the grease",
        "every": "70 days",
        "uses": {"grease": "18 g"},
    }
    visits = [*record(), visit(35, {"task": "renew", "at": "brush/bearing"}, time="12:00")]
    ledger = ledger_of(
        visits,
        machines={"brush": machine()},
        tasks={"grease": WEEKLY, "renew": renewal},
        parts={"grease": GREASE},
    )

    (point,) = lubrication(ledger)

    assert [one.task.ident for one in point.tasks] == ["grease", "renew"]
    assert point.interval.days == 7
    assert point.given.of_plan.wanted_g == pytest.approx(48)
    assert point.given.given_g.low == pytest.approx(27 + 18)


def supply(visits, part=GREASE):
    ledger = ledger_of(
        visits,
        machines={"brush": machine()},
        tasks={"grease": WEEKLY},
        parts={"grease": part, "rag": {"name": "Rag", "kind": "consumable", "unit": "piece"}},
    )
    (found,) = grease_supplies(ledger)
    return found


def test_cartridges_left_are_those_counted_less_what_was_used():
    found = supply(record())

    assert found.cartridges.low == found.cartridges.high == pytest.approx((800 - 27) / 400)
    assert found.used_a_week_g.low == pytest.approx(2.7)
    assert found.weeks_left.low == pytest.approx((800 - 27) / 2.7)


def test_an_unweighed_gun_leaves_the_cartridges_between_bounds():
    found = supply(record(), UNWEIGHED)

    assert (found.cartridges.low, found.cartridges.high) == pytest.approx(
        ((800 - 81) / 400, (800 - 27) / 400)
    )
    assert found.weeks_left.low < found.weeks_left.high


def test_the_weekly_use_is_of_the_last_twelve_months():
    """On 24 February 2028 the twelve months begin with 1 March 2027."""
    found = supply(record(days=781))

    assert found.used_a_week_g.low == pytest.approx(3.0, rel=0.03)


def test_grease_never_counted_or_without_a_pack_has_no_cartridges():
    no_count = {key: value for key, value in GREASE.items() if key != "opening"}
    no_pack = {key: value for key, value in GREASE.items() if key != "pack"}

    for part in (no_count, no_pack):
        found = supply(record(), part)
        assert (found.cartridges, found.weeks_left) == (None, None)


def test_a_site_without_visits_or_grease_says_nothing():
    assert points([]) != ()
    assert grease_supplies(ledger_of()) == ()
    assert only([]).given is None


def test_a_meter_that_counts_more_hours_than_days_have_tells_no_running_hours():
    (point,) = points(record(hours_per_day=25.5))
    assert point.hours_per_day is None
