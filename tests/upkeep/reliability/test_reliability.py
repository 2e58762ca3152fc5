import pytest
from campaign import examples
from hypothesis import given, settings
from hypothesis import strategies as st
from small_site import ELECTRIC, LOOK, ledger_of, on, visit

from ledger.compute.numbers import NoAnswer, NotEnoughData
from ledger.compute.reliability import (
    FailureTrend,
    GrowthModel,
    InspectionPlan,
    MeanTimeBetweenFailures,
    TrendTest,
)
from ledger.compute.weibull import AgeAdvice, WeibullFit
from ledger.model.meters import OPENING_HOURS, Watches
from ledger.model.references import Place
from ledger.upkeep.reliability.found import lives_of_point, reliability

BRUSH = {"brush": ELECTRIC}
BOTTOM, TOP = "brush/bearing-bottom", "brush/bearing-top"


def failure(day, at=BOTTOM, **rest):
    return visit(day, {"finding": "Seized.", "at": at, "failed": True, **rest}, time="15:00")


def renewal(day, at=BOTTOM, changed="bearing"):
    return visit(day, {"at": at, "changed": changed}, time="20:00")


def meter(day, hours):
    return visit(day, LOOK, time="06:00", meters={"conveyor_hours": hours})


def watched(*visits, days=1000, hours=10_000):
    """A record of so many days and hours, run evenly."""
    return ledger_of([meter(0, 500), meter(days, 500 + hours), *visits], machines=BRUSH)


def only(ledger):
    (machine,) = reliability(ledger).failed
    return machine


def test_limits_of_the_mtbf_are_the_published_ones():
    """5 failures in 10 000 h, time-terminated, 90 % two-sided: 951.2 to 5075.8 h (NIST 8.4.5.1)."""
    ledger = watched(*(failure(day) for day in (100, 300, 450, 700, 900)), days=999)

    machine = only(ledger)

    # The last day is run to its end, by the rate of the days before it.
    assert machine.watch.hours == pytest.approx(10_000 * 1000 / 999)
    mtbf = machine.mtbf
    assert isinstance(mtbf, MeanTimeBetweenFailures)
    scale = machine.watch.hours / 10_000
    assert mtbf.lower_h / scale == pytest.approx(951.2, abs=0.1)
    assert mtbf.upper_h / scale == pytest.approx(5075.8, abs=0.1)
    assert machine.watch.basis == "Conveyor hours"


def closing(found_on, day, time="20:00", **rest):
    closed = {"closes": f"{on(found_on)}T1500-a-holt#1", "at": BOTTOM}
    return visit(day, closed | rest, time=time)


# Open Monday to Friday from 08:00 to 18:00; day 0 is a Monday, 1001 days hold 1430 h.
def test_the_machine_is_down_from_finding_to_closing_in_opening_hours():
    """Found on a Friday at 15:00 and closed on Monday at 09:00: 3 h and 1 h."""
    ledger = watched(failure(4), closing(4, 7, "09:00"), failure(500), closing(500, 500, "16:30"))

    available = only(ledger).available
    assert available.stops == 2
    assert available.down_h == pytest.approx(4 + 1.5)
    assert available.up_h + available.down_h == pytest.approx(7150)
    assert available.lower < available.estimate < available.upper


def test_failures_found_together_are_one_time_down():
    ledger = watched(
        failure(4), failure(5), closing(4, 7, "12:00"), closing(5, 7, "12:30"), days=1000
    )

    assert only(ledger).available.stops == 1
    assert only(ledger).available.down_h == pytest.approx(3 + 4.5)


def test_a_failure_that_nobody_closed_gives_no_share():
    available = only(watched(failure(4), closing(4, 7), failure(500))).available

    assert isinstance(available, NotEnoughData)
    assert (available.have, available.need) == (1, 2)


def test_the_line_stops_for_as_long_as_was_noted():
    stops = [failure(200 * n + 50, stopped_minutes=240) for n in range(5)]
    extra = visit(77, {"finding": "Loose.", "at": TOP, "stopped_minutes": 30})

    line = only(watched(*stops, extra)).line_available

    assert line.stops == 6
    assert line.down_h == pytest.approx(20.5)
    assert line.estimate == pytest.approx(1 - 20.5 / 7150)


def test_a_failure_that_stopped_nothing_leaves_the_line_up():
    line = only(watched(failure(50, stopped_minutes=0))).line_available

    assert (line.stops, line.estimate) == (0, None)


def test_failures_that_come_faster_have_no_mtbf_but_a_growth_model():
    machine = only(watched(*(failure(day) for day in (500, 700, 800, 850, 900, 930, 960, 980))))

    assert isinstance(machine.trend, TrendTest)
    assert machine.trend.trend is FailureTrend.SHORTENING
    assert machine.mtbf is None
    assert isinstance(machine.life, GrowthModel)
    assert machine.life.shape > 1
    assert machine.replacement is None


def test_a_part_that_wears_has_a_best_age():
    """Gaps of 90 to 110 days are wear; the age lies below them."""
    machine = only(
        watched(*(failure(day) for day in (100, 195, 300, 400, 510, 605, 700, 805, 900)))
    )

    assert isinstance(machine.life, WeibullFit)
    # It was new when the watch began, and the last part still runs.
    assert (machine.life.lives, machine.life.failures) == (10, 9)
    found = machine.replacement
    assert isinstance(found, AgeAdvice)
    assert 0 < found.age.age_h < 950
    assert found.saves > 0.95
    assert found.age.cost_per_h < found.age.run_to_failure_cost_per_h


def test_what_a_machine_began_with_is_a_life_where_it_was_new():
    days = (100, 195, 300, 400, 510, 605, 700, 805, 900)
    visits = [meter(20, 0), meter(1000, 10_000), *(failure(day) for day in days)]
    new = ELECTRIC | {"in_service": on(20).isoformat()}

    of_old, of_new = (
        only(ledger_of(visits, machines={"brush": machine})).life for machine in (ELECTRIC, new)
    )
    assert (of_old.lives, of_old.failures) == (9, 8)
    assert (of_new.lives, of_new.failures) == (10, 9)


def test_gaps_of_any_length_name_no_age():
    days = (30, 250, 290, 300, 620, 650, 940)

    machine = only(watched(*(failure(day) for day in days)))

    assert machine.life.shape_lower <= 1 < machine.life.shape_upper
    if isinstance(machine.replacement, NoAnswer):
        assert "too few failures to say" in machine.replacement.reason


def test_what_a_failure_costs_by_the_record_serves_where_the_file_states_nothing():
    days = (100, 195, 300, 400, 510, 605, 700, 805, 900)
    bare = ELECTRIC | {"costs": {"planned": 200}}
    visits = [
        meter(0, 0),
        meter(1000, 10_000),
        *(failure(day, stopped_minutes=120) for day in days),
    ]
    ledger = ledger_of(
        visits,
        machines={"brush": bare},
        site={"costs": {"currency": "EUR", "down_per_h": 480}},
    )

    found = only(ledger)
    assert found.costs.total[1] == pytest.approx(9 * 960)
    assert isinstance(found.replacement, AgeAdvice)


def test_failures_of_several_parts_name_no_age():
    days = (100, 195, 300, 400, 510, 605, 700, 805, 900)

    machine = only(watched(*(failure(day, TOP if day % 2 else BOTTOM) for day in days)))

    assert machine.replacement == NoAnswer("the failures lie at 2 different points")


def test_costs_are_needed_for_an_age():
    bare = {key: value for key, value in ELECTRIC.items() if key != "costs"}
    days = (100, 195, 300, 400, 510, 605, 700, 805, 900)
    visits = [meter(0, 0), meter(1000, 10_000), *(failure(day) for day in days)]

    assert only(ledger_of(visits, machines={"brush": bare})).replacement is None


def test_one_failure_is_not_enough_for_anything_but_a_wide_mtbf():
    machine = only(watched(failure(300)))

    assert isinstance(machine.trend, NotEnoughData)
    assert isinstance(machine.life, NotEnoughData)
    assert machine.mtbf.upper_h / machine.mtbf.lower_h > 50
    assert machine.replacement is None


def test_no_failure_bounds_the_mtbf_from_below():
    found = reliability(watched())

    assert found.failed == ()
    (machine,) = found.unfailed
    assert machine.mtbf.estimate_h is None
    # -ln(0.1) = 2.302585: exactly that many hours over the limit, at one-sided 90 %.
    assert machine.watch.hours / machine.mtbf.lower_h == pytest.approx(2.302585, abs=1e-6)


def test_a_finding_that_is_not_a_loss_of_function_is_no_failure():
    ledger = watched(visit(5, {"finding": "Rusty.", "at": BOTTOM}))

    assert reliability(ledger).failed == ()


def test_failures_before_the_first_meter_reading_are_named_and_left_out():
    ledger = ledger_of([failure(1), meter(10, 0), meter(1000, 9000)], machines=BRUSH)

    found = reliability(ledger)

    assert (found.failed, found.outside) == ((), 1)


def test_without_an_hour_meter_the_opening_hours_count():
    """Monday to Friday 08:00 to 18:00, less a closed Monday, over two weeks: 9 days of 10 h."""
    ledger = ledger_of(
        [visit(0, LOOK), visit(13, LOOK)],
        machines=BRUSH,
        site={"meters": {}, "closures": [{"from": on(7).isoformat(), "why": "Flood."}]},
    )

    watch = Watches(ledger).of(ledger.machines["brush"])

    assert watch is not None
    assert (watch.basis, watch.hours) == (OPENING_HOURS, 90)
    # By the middle of the second day, ten hours and half of ten.
    assert watch.hours_at(on(1)) == 15


def test_a_meter_named_after_a_machine_is_its_own():
    site = {
        "meters": {
            "pump_hours": {"name": "Pump hours", "counts": "hours"},
            "conveyor_hours": {"name": "Conveyor hours", "counts": "hours"},
        }
    }
    both = [
        visit(
            day,
            LOOK,
            meters={"pump_hours": day, "conveyor_hours": 2 * day},
        )
        for day in (0, 99)
    ]
    machines = {
        "brush": ELECTRIC,
        "pump": {"name": "Pump", "kind": "pump-stand", "station": 90},
        "conveyor": {"name": "Conveyor", "kind": "conveyor", "station": 5},
    }
    ledger = ledger_of(both, site=site, machines=machines)
    watches = Watches(ledger)

    assert watches.of(ledger.machines["pump"]).hours == pytest.approx(100)
    assert watches.of(ledger.machines["brush"]).hours == pytest.approx(200)
    assert watches.of(ledger.machines["conveyor"]).hours == pytest.approx(200)


def test_a_machine_out_of_service_is_watched_to_the_day_before():
    gone = ELECTRIC | {"out_of_service": on(100).isoformat()}
    ledger = ledger_of([meter(0, 0), meter(1000, 10_000)], machines={"brush": gone})

    watch = Watches(ledger).of(ledger.machines["brush"])

    assert watch is not None
    assert watch.last == on(99)
    assert watch.hours == pytest.approx(1000)


def lives(*visits):
    ledger = watched(*visits)
    watch = Watches(ledger).of(ledger.machines["brush"])
    return [
        (round(life.hours), life.failed)
        for life in lives_of_point(ledger, Place("brush", "bearing-bottom"), watch)
    ]


LIVES = [
    pytest.param([], [], id="what was there before has no known age"),
    pytest.param([failure(100)], [], id="nor has it when it fails"),
    pytest.param(
        [failure(100), renewal(100), failure(150), renewal(150)],
        [(500, True), (8505, False)],
        id="a life from its renewal to its failure, and one that still runs",
    ),
    pytest.param(
        [renewal(100), renewal(300)],
        [(2000, False), (7005, False)],
        id="a renewal before the failure leaves a survivor",
    ),
    pytest.param(
        [renewal(100), failure(300)], [(2000, True)], id="no life without a noted renewal"
    ),
    pytest.param([renewal(100, TOP)], [], id="another point's renewal is another's"),
]


@pytest.mark.parametrize(("visits", "expected"), LIVES)
def test_lives_begin_at_a_renewal(visits, expected):
    assert lives(*visits) == expected


def test_a_part_renewed_before_the_watch_has_an_age_at_its_start():
    """Renewed 50 days before the first reading of the meter, at 10 h a day."""
    ledger = ledger_of(
        [renewal(0), meter(50, 0), meter(1050, 10_000), failure(150)], machines=BRUSH
    )
    watch = Watches(ledger).of(ledger.machines["brush"])

    (life,) = lives_of_point(ledger, Place("brush", "bearing-bottom"), watch)

    assert life.failed
    assert life.entered_h == pytest.approx(500, rel=0.002)
    assert life.hours == pytest.approx(1505, rel=0.002)


def test_a_part_that_failed_before_the_watch_has_none():
    ledger = ledger_of(
        [renewal(0), failure(20), meter(50, 0), meter(1050, 10_000), failure(150)], machines=BRUSH
    )
    watch = Watches(ledger).of(ledger.machines["brush"])

    assert lives_of_point(ledger, Place("brush", "bearing-bottom"), watch) == ()


def test_a_point_new_within_the_watch_begins_its_life_then():
    points = ELECTRIC["points"] | {
        "bearing-bottom": {"kind": "rotating-bearing", "in_service": on(200).isoformat()}
    }
    ledger = ledger_of(
        [meter(0, 0), meter(1000, 10_000), failure(500)],
        machines={"brush": ELECTRIC | {"points": points}},
    )
    watch = Watches(ledger).of(ledger.machines["brush"])

    (life,) = lives_of_point(ledger, Place("brush", "bearing-bottom"), watch)

    assert life.failed
    assert life.hours == pytest.approx(3000)


def test_kinds_of_point_add_up_their_hours_and_name_the_worst():
    found = reliability(watched(failure(100), failure(300), failure(500, TOP)))

    (kind,) = found.kinds
    (machine,) = found.failed
    assert (kind.kind, kind.points) == ("rotating-bearing", 2)
    assert kind.hours == pytest.approx(2 * machine.watch.hours)
    assert kind.worst == (Place("brush", "bearing-bottom"), 2)
    assert isinstance(kind.looks, NotEnoughData)


def test_findings_that_announced_a_failure_set_how_often_to_look():
    """The shortest of three warnings is 20 days; θ 0.9 and P 0.01 want two looks in it (domain 7)."""
    told = []
    for day, warning in ((100, 20), (300, 40), (500, 30)):
        told += [
            visit(day - warning, {"finding": "Howls.", "at": BOTTOM}, time="15:00"),
            failure(day),
        ]
    closing = [
        visit(
            day + 1,
            {"closes": f"{on(day - warning)}T1500-a-holt#1", "at": BOTTOM},
        )
        for day, warning in ((100, 20), (300, 40), (500, 30))
    ]

    (kind,) = reliability(watched(*told, *closing)).kinds

    assert [sign.days for sign in kind.signs] == [20, 40, 30]
    assert isinstance(kind.looks, InspectionPlan)
    assert (kind.looks.looks, kind.looks.interval_days) == (2, 10)


def test_a_finding_put_right_before_announced_nothing():
    told = [
        visit(50, {"finding": "Howls.", "at": BOTTOM}),
        visit(60, {"closes": f"{on(50)}T1000-a-holt#1", "at": BOTTOM}),
        failure(100),
    ]

    (kind,) = reliability(watched(*told)).kinds

    assert kind.signs == ()


@settings(max_examples=examples(25))
@given(st.sets(st.integers(1, 998), min_size=1, max_size=8))
def test_hours_of_failures_rise_with_their_days_and_stay_in_the_watch(days):
    machine = only(watched(*(failure(day) for day in days)))

    hours = [found.hours for found in machine.failures]
    assert hours == sorted(hours)
    assert hours[0] > 0
    assert hours[-1] < machine.watch.hours
