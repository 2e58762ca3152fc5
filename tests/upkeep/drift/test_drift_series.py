import math
from dataclasses import replace
from random import Random

import pytest
import small_site
from sitegen import draws
from small_site import ELECTRIC, LOOK, ledger_of, setpoint, visit

from ledger.compute.shared import Shared
from ledger.compute.trend import fit_line
from ledger.model.references import Place
from ledger.upkeep.drift.found import AlarmPrice, charted_stretches, speed_series
from ledger.upkeep.drift.outlook import level_now
from ledger.upkeep.drift.series import (
    KINDS,
    Measured,
    Series,
    SeriesReading,
    lasting_errors,
    measured_series,
)
from ledger.upkeep.speeds.found import speed_results


def speeds_of(ledger) -> Series:
    (series,) = speed_series(ledger, speed_results(ledger))
    return series


def turned(rpm: float, hz: float | None = None):
    entry = {"at": "brush", "tachometer_rpm": rpm, "accuracy_percent": 0.5}
    return entry if hz is None else entry | {"found_hz": hz}


def test_a_speed_is_that_at_the_setting_in_force():
    """1.8 r/min per Hz at 40 Hz and at 45 Hz is one speed at 45 Hz."""
    ledger = ledger_of(
        [visit(0, turned(72, 40)), visit(7, turned(81, 45))],
        setpoints=[setpoint(0, 40), setpoint(5, 45)],
    )

    series = speeds_of(ledger)

    assert [r.measured.value for r in series.readings] == pytest.approx([81, 81])
    # 0.5 % of reading and half a digit are half-widths of rectangles (GUM 4.3.7).
    assert series.readings[1].measured.u == pytest.approx(
        math.hypot(81 * 0.005 / 3**0.5, 0.05 / 3**0.5, 81 * 0.002)
    )


def test_a_setting_that_begins_after_the_last_reading_changes_no_speed_yet():
    readings = [visit(0, turned(72, 40)), visit(7, turned(81, 45))]

    waits = speeds_of(ledger_of(readings[:1], setpoints=[setpoint(0, 40), setpoint(5, 45)]))
    begun = speeds_of(ledger_of(readings, setpoints=[setpoint(0, 40), setpoint(7, 45)]))

    assert [r.measured.value for r in waits.readings] == [72]
    assert [r.measured.value for r in begun.readings] == pytest.approx([81, 81])


def test_slip_that_may_stay_constant_widens_a_reading_at_another_setting():
    """Slip at the shaft (1800 - 1740)/16 = 3.75 r/min; bracket 3.75 (1 - 45/40)/√3 (GUM 4.3.7)."""
    ledger = ledger_of([visit(0, turned(72, 40))], setpoints=[setpoint(0, 45)])

    (reading,) = speeds_of(ledger).readings

    scaled, digit = 81 * 0.005 / 3**0.5, 0.05 * 45 / 40 / 3**0.5
    bracket = 3.75 * 0.125 / 3**0.5
    assert reading.measured.u == pytest.approx(math.hypot(scaled, digit, 81 * 0.002, bracket))


def test_a_drive_that_can_be_set_needs_its_setting_beside_the_reading():
    ledger = ledger_of(
        [visit(0, turned(80)), visit(7, turned(81, 45))], setpoints=[setpoint(0, 45)]
    )

    assert [r.measured.value for r in speeds_of(ledger).readings] == [81]


def test_a_drive_that_cannot_be_set_is_followed_as_read():
    blower = {"name": "Blower", "kind": "blower", "station": 30}
    ledger = ledger_of(
        [visit(0, {"at": "blower", "tachometer_rpm": 3500, "accuracy_rpm": 5})],
        machines={"blower": blower},
    )

    series = speeds_of(ledger)

    assert [r.measured.value for r in series.readings] == [3500]
    assert (series.lower, series.upper) == (None, None)


def test_the_limits_are_the_band_at_the_line_rate_of_the_setting_in_force():
    ledger = ledger_of([visit(0, turned(75, 45))], setpoints=[setpoint(0, 45, line_rate_per_h=90)])

    series = speeds_of(ledger)

    assert (series.lower, series.upper) == (70, 80)


def test_changes_of_the_mechanics_and_of_the_setting_rebase():
    ledger = ledger_of(
        [
            visit(0, turned(80, 45)),
            visit(3, {"at": "brush", "changed": "belt"}),
            visit(4, {"at": "brush/bearing-top", "changed": "bearing"}),
        ],
        setpoints=[setpoint(0, 45), setpoint(9, 44)],
    )

    rebases = speeds_of(ledger).rebases

    # A bearing leaves the ratio of speed to setting as it was.
    assert [(r.day, r.what, r.ends_trend) for r in rebases] == [
        (small_site.on(0), "new setting", False),
        (small_site.on(3), "new belt", True),
        (small_site.on(9), "new setting", False),
    ]


READINGS = [
    pytest.param(
        {"at": "brush/chain", "pitches": 24, "length_mm": 2424},
        "chain",
        Measured(value=1.0, u=100 * 6**-0.5 / 2400),
        (None, 1.5),
        id="24 pitches of 100 mm, 24 mm longer: 1 %; 1.5 % at fixed centres (domain 6)",
    ),
    pytest.param(
        {"at": "brush/motor", "current_a": 4.0},
        "current",
        Measured(value=4.0, u=0.04),
        (None, 4.8),
        id="current against the full load of the plate",
    ),
    pytest.param(
        {"at": "brush/cloth", "strip_length_mm": 480},
        "strip-length",
        Measured(value=480, u=5.0),
        (400, None),
        id="strips against the worn length",
    ),
    pytest.param(
        {"at": "brush/gauge", "pressure_kpa": 600},
        "pressure",
        Measured(value=600, u=6.0),
        (None, None),
        id="pressure has no limit of its own",
    ),
    pytest.param(
        {"at": "brush/motor", "temperature_c": 55},
        "temperature",
        Measured(value=55, u=0.5),
        (None, None),
        id="temperature",
    ),
]


@pytest.mark.parametrize(("entry", "kind", "measured", "limits"), READINGS)
def test_readings_become_series(entry, kind, measured, limits):
    (series,) = measured_series(ledger_of([visit(0, entry)]))

    assert series.kind.ident == kind
    (reading,) = series.readings
    assert reading.measured.value == pytest.approx(measured.value)
    assert reading.measured.u == pytest.approx(measured.u)
    assert (series.lower, series.upper) == limits


def test_a_catch_is_corrected_to_the_rated_pressure_and_is_no_reading_of_a_pump():
    """Q2 = Q1 √(p2/p1): 800 mL in 12 s at 1200 kPa is 4 L/min, at 300 kPa 2 L/min, 100 % of new."""
    ledger = ledger_of(
        [visit(0, {"at": "brush/nozzle", "caught_ml": 800, "seconds": 12, "pressure_kpa": 1200})]
    )

    (series,) = measured_series(ledger)

    assert series.kind.ident == "nozzle"
    assert series.readings[0].measured.value == pytest.approx(100)
    assert (series.lower, series.upper) == pytest.approx((90, 110))


def test_readings_without_the_numbers_of_the_part_are_no_series():
    """A chain's length says nothing where the pitch is not known."""
    bare = {**ELECTRIC, "points": {"chain": {"kind": "other", "name": "Chain"}}}
    ledger = ledger_of(
        [visit(0, {"at": "brush/chain", "pitches": 24, "length_mm": 2424})],
        machines={"brush": bare},
    )

    assert measured_series(ledger) == ()


def test_what_was_corrected_counts_no_longer():
    first = {"at": "brush/motor", "current_a": 40.0}
    right = {
        "at": "brush/motor",
        "current_a": 4.0,
        "corrects": f"{small_site.on(0)}T1000-a-holt#1",
        "reason": "Comma forgotten.",
    }

    (series,) = measured_series(ledger_of([visit(0, first), visit(1, right)]))

    assert [r.measured.value for r in series.readings] == [4.0]


def test_what_one_hand_shares_stays_in_the_level_and_leaves_the_pace():
    """The lateness of one person's presses does not average out, and cancels in a slope."""
    rng = Random(3)
    visits = [
        visit(7 * week, {"at": "brush", **draws.timed_turns(rng, 80, 40), "found_hz": 45})
        for week in range(20)
    ]
    record = ledger_of(visits)
    (series,) = speed_series(record, speed_results(record))
    measured = [reading.measured for reading in series.readings]

    assert len({one.key for each in measured for one in each.shared}) == 1
    assert all(each.own_u < each.u for each in measured)
    common = measured[-1].shared[0].u
    assert level_now(series.readings).u > common
    line = fit_line([reading.timed for reading in series.readings])
    bare = fit_line([replace(reading.timed, shared=()) for reading in series.readings])
    assert line.u_slope == pytest.approx(bare.u_slope, rel=1e-3)
    assert line.u_value > common > bare.u_value
    assert series.readings[0].charted({}).standard_uncertainty == measured[0].u


@pytest.mark.parametrize(
    ("baseline", "later", "u"),
    [
        pytest.param(
            [{"a": 3}, {"a": 3}], {"a": 3}, 4, id="an error of all moves level and reading"
        ),
        pytest.param([{"a": 3}, {"a": 3}], {}, 5, id="one that the level alone has counts"),
        pytest.param([{}, {}], {"a": 3}, 5, id="one that the reading alone has counts"),
        pytest.param([{"a": 3}, {}], {"a": 3}, 5, id="one of some of the first is no level's"),
        pytest.param([{"a": 3}, {"a": 3}], {"b": 12}, 13, id="another person: 4, 3 and 12"),
    ],
)
def test_a_chart_knows_what_a_reading_and_its_level_share(baseline, later, u):
    (entry, *_) = ledger_of([visit(0, LOOK)]).entries

    def reading(parts):
        shared = tuple(Shared(key=key, u=size) for key, size in parts.items())
        whole = math.hypot(4, *parts.values())
        return SeriesReading(entry=entry, measured=Measured(value=80, u=whole, shared=shared))

    lasting = lasting_errors([reading(parts) for parts in baseline])
    assert reading(later).charted(lasting).standard_uncertainty == pytest.approx(u)


TAPS = {
    "softener": {
        "name": "Softener",
        "kind": "softener",
        "station": 30,
        "points": {
            "raw": {"kind": "tap", "stream": "raw"},
            "feed": {"kind": "tap", "stream": "feed", "bands": {"temperature_c": [2, 25]}},
            "tap": {"kind": "tap"},
        },
    }
}


def test_what_is_read_is_followed_with_a_band_or_without():
    """But for what goes with the season in a stream of water, and what runs down by nature."""
    read = {"hardness_mg_l": 240, "temperature_c": 12, "flow_lpm": 5, "ph": 7, "run_l": 900}
    places = [f"softener/{point}" for point in TAPS["softener"]["points"]]
    visits = [visit(0, *({"at": place, **read} for place in places))]
    followed = {
        (series.place.point, series.kind.ident)
        for series in measured_series(ledger_of(visits, machines=TAPS))
    }
    assert followed == {
        *((point, kind) for point in ("raw", "feed", "tap") for kind in ("hardness", "ph")),
        ("feed", "temperature"),
        ("tap", "temperature"),
        ("tap", "flow"),
    }


@pytest.mark.parametrize(
    ("scatter", "most"),
    [(0.2, 1), (0.5, 2.5), (1, 1), (4, 1)],
    ids=lambda told: f"{told}",
)
def test_a_steady_reading_off_a_scale_alarms_no_more_often_than_is_stated(scatter, most):
    """A year of weekly readings rounded to 1, of a steady quantity with a scatter of its own.

    The chance stated is 4 %. Where the scatter is half the graduation it is up to twice that.
    """
    ledger = ledger_of([visit(7 * week, LOOK) for week in range(62)])
    (hardness,) = (kind for kind in KINDS if kind.ident == "hardness")
    price = AlarmPrice(false_alarms_per_year=1, series=25)
    rng, alarms, years = Random(7), 0, 250
    for _ in range(years):
        level = rng.uniform(200, 201)
        readings = tuple(
            SeriesReading(entry=entry, measured=Measured(value=value, u=1 / math.sqrt(12), step=1))
            for entry in ledger.entries
            for value in [round(rng.gauss(level, scatter))]
        )
        series = Series(
            kind=hardness,
            place=Place("brush"),
            readings=readings,
            lower=None,
            upper=None,
            rebases=(),
        )
        alarms += any(stretch.signals for stretch in charted_stretches(series, price))
    assert alarms / years < most * price.chance
