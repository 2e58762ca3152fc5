from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sitegen import draws
from small_site import HYDRAULIC, ledger_of, on, setpoint, visit

from ledger.compute.drift import DriftBaseline, Rule
from ledger.compute.numbers import NotEnoughData
from ledger.compute.trend import NoTrend, StripForecast
from ledger.upkeep.drift.found import Drift, DriftResult, drift, drift_of
from ledger.upkeep.drift.outlook import BeyondAlready, Crossing, NoLimit, even_readings, level_now
from ledger.upkeep.drift.series import Measured, SeriesReading
from ledger.upkeep.speeds.found import speed_results


def judged(ledger) -> Drift:
    return drift(ledger, speed_results(ledger))


def only(ledger) -> DriftResult:
    (result,) = judged(ledger).results
    return result


def counts(ratio, *, weeks, hz=lambda week: 45.0, seed=1):
    """A minute's count each week by hand, of a brush that turns `ratio(week)` r/min per Hz."""
    rng = Random(seed)
    return [
        visit(
            7 * week,
            {
                "at": "brush",
                **draws.timed_turns(rng, ratio(week) * hz(week), 40),
                "found_hz": hz(week),
            },
        )
        for week in range(weeks)
    ]


def test_a_steady_brush_raises_nothing_and_shows_no_trend():
    result = only(ledger_of(counts(lambda _: 1.78, weeks=40), setpoints=[setpoint(0, 45)]))

    assert result.signals == ()
    assert isinstance(result.outlook, NoTrend)
    assert not result.has_bent


def test_a_changed_setting_is_no_drift_but_rebases():
    def hz(week):
        return 45.0 if week < 20 else 44.0

    result = only(
        ledger_of(
            counts(lambda _: 1.78, weeks=40, hz=hz),
            setpoints=[setpoint(0, 45), setpoint(140, 44)],
        )
    )

    assert result.signals == ()
    assert [len(s.baseline_readings) + len(s.watched) for s in result.stretches] == [20, 20]
    # Wear goes on through a changed setting, so the trend looks at all of it.
    assert len(result.trend_readings) == 40
    assert isinstance(result.outlook, NoTrend)


def wearing(week):
    """From 80 r/min at 45 Hz a tenth less each week: 74 r/min is passed in week 60."""
    return (80 - 0.1 * week) / 45


def test_a_wearing_brush_signals_and_its_date_holds_the_truth():
    result = only(ledger_of(counts(wearing, weeks=40), setpoints=[setpoint(0, 45)]))

    assert {signal.rule for signal in result.signals} == set(Rule)
    assert result.signals[0].day < on(7 * 30)
    outlook = result.outlook
    assert isinstance(outlook, Crossing)
    assert outlook.limit == 74
    assert outlook.earliest <= on(420) <= outlook.latest
    assert outlook.earliest <= outlook.on <= outlook.latest
    assert outlook.line.lower <= -0.1 / 7 <= outlook.line.upper


def test_each_signal_names_the_entries_it_rests_on():
    result = only(ledger_of(counts(wearing, weeks=40), setpoints=[setpoint(0, 45)]))

    by_ref = {reading.entry.ref: reading for reading in result.series.readings}
    baseline = result.stretches[-1].baseline
    assert isinstance(baseline, DriftBaseline)
    for signal in result.signals:
        rested = [by_ref[ref] for ref in signal.evidence]
        match signal.rule:
            case Rule.BEYOND_LIMIT:
                assert len(rested) == signal.count
                assert rested[0].entry.day == signal.day
            case Rule.EWMA_BEYOND_LIMIT:
                assert 1 <= len(rested) <= 5
                assert rested[-1].entry.day == signal.day


def test_a_recorded_repair_answers_the_signals():
    mended = visit(7 * 30, {"at": "brush", "changed": "belt"}, time="06:00")

    def ratio(week):
        return wearing(week) if week < 30 else 80 / 45

    result = only(ledger_of([*counts(ratio, weeks=48), mended], setpoints=[setpoint(0, 45)]))

    assert result.answered > 0
    assert result.signals == ()
    assert result.stretches[-1].since.what == "new belt"
    assert result.trend_readings[0].entry.day == on(7 * 30)
    assert isinstance(result.outlook, NoTrend)


def test_wear_that_gains_pace_is_dated_by_its_new_pace():
    """Flat for 30 weeks, then 0.2 r/min a week: 74 is passed in week 60, a line through all of
    it would say some twenty weeks later."""

    def ratio(week):
        return (80 - 0.2 * max(0, week - 30)) / 45

    result = only(ledger_of(counts(ratio, weeks=52), setpoints=[setpoint(0, 45)]))

    assert result.has_bent
    assert len(result.trend_readings) < 30
    assert isinstance(result.outlook, Crossing)
    assert result.outlook.earliest <= on(7 * 60) <= result.outlook.latest


def test_a_level_beyond_its_limit_is_said_whatever_the_slope():
    result = only(ledger_of(counts(lambda _: 1.95, weeks=12), setpoints=[setpoint(0, 45)]))

    assert isinstance(result.outlook, BeyondAlready)
    assert result.outlook.limit == 86
    assert result.outlook.level.value == pytest.approx(1.95 * 45, abs=3 * result.outlook.level.u)


def test_wear_too_slow_for_ten_years_has_no_date():
    """0.01 r/min a week from 84.9: after 300 weeks 75 r/min lies another 690 weeks off."""

    def ratio(week):
        return (84.9 - 0.01 * week) / 45

    visits = counts(ratio, weeks=300)
    result = only(ledger_of(visits, setpoints=[setpoint(0, 45)]))

    outlook = result.outlook
    assert isinstance(outlook, Crossing)
    assert outlook.on is None


@pytest.mark.parametrize("weeks", [8, 9])
def test_a_short_series_says_not_enough_data_of_what_it_cannot_say(weeks):
    result = only(ledger_of(counts(lambda _: 1.78, weeks=weeks), setpoints=[setpoint(0, 45)]))

    (stretch,) = result.stretches
    assert isinstance(stretch.baseline, DriftBaseline)
    assert (len(stretch.baseline_readings), stretch.watched, result.signals) == (weeks, (), ())


def test_a_series_too_short_for_a_baseline_is_named_and_not_judged():
    found = judged(ledger_of(counts(lambda _: 1.78, weeks=7), setpoints=[setpoint(0, 45)]))

    assert found.results == ()
    assert [series.ident for series in found.too_short] == ["speed-brush"]


def test_nothing_read_is_nothing_judged():
    assert judged(ledger_of()) == Drift(results=(), too_short=())


def test_a_stretch_without_enough_readings_says_so():
    mended = visit(7 * 20, {"at": "brush", "changed": "motor"}, time="06:00")
    visits = [*counts(lambda _: 1.78, weeks=23), mended]

    result = only(ledger_of(visits, setpoints=[setpoint(0, 45)]))

    assert isinstance(result.stretches[-1].baseline, NotEnoughData)
    assert isinstance(result.outlook, NotEnoughData)


def test_efficiency_of_a_hydraulic_motor_falls_with_its_wear():
    """n = 1000 Q η/V: 14.4 L/min and 160 cm³ at η 0.95 are 85.5 r/min; it ends at 0.89."""
    rng = Random(3)

    def efficiency(week):
        return 0.95 - 0.06 * week / 39

    visits = [
        visit(
            7 * week,
            {
                "at": "low",
                **draws.timed_turns(rng, 90 * efficiency(week), 40),
                "found_flow_lpm": 14.4,
            },
        )
        for week in range(40)
    ]

    result = only(ledger_of(visits, machines={"low": HYDRAULIC}))

    fall = result.efficiency
    assert fall is not None
    assert fall.worn
    first_ten = sum(efficiency(week) for week in range(10)) / 10
    last_five = sum(efficiency(week) for week in range(35, 40)) / 5
    assert fall.first.fraction == pytest.approx(first_ten, abs=2 * fall.first.u_fraction)
    assert fall.now.fraction == pytest.approx(last_five, abs=2 * fall.now.u_fraction)


def test_strips_wear_by_the_vehicles_washed():
    """2 mm each thousand vehicles, 1000 a week: from 480 the worn 400 mm come after 40 weeks."""
    rng = Random(4)
    visits = [
        visit(
            14 * n,
            {"at": "brush/cloth", "strip_length_mm": round(480 - 4 * n + rng.gauss(0, 2), 0)},
            meters={"vehicles": 50_000 + 2000 * n},
        )
        for n in range(12)
    ]

    result = only(ledger_of(visits))

    outlook = result.outlook
    assert isinstance(outlook, StripForecast)
    assert outlook.line.lower <= -2 <= outlook.line.upper
    assert outlook.earliest <= on(280) <= outlook.latest
    assert result.stretches == ()


def test_strips_without_a_vehicle_meter_are_dated_by_the_days():
    visits = [
        visit(14 * n, {"at": "brush/cloth", "strip_length_mm": 480 - 4 * n}) for n in range(12)
    ]

    outlook = only(ledger_of(visits)).outlook

    assert isinstance(outlook, Crossing)
    assert outlook.earliest <= on(280) <= outlook.latest


def test_a_series_without_a_limit_has_a_slope_and_no_date():
    visits = [visit(7 * n, {"at": "brush/motor", "temperature_c": 50 + 0.5 * n}) for n in range(12)]

    outlook = only(ledger_of(visits)).outlook

    assert isinstance(outlook, NoLimit)
    assert outlook.line.slope == pytest.approx(0.5 / 7)


def test_a_dial_that_repeats_its_graduation_is_no_run():
    """Nine readings of 600 above a baseline whose mean is a hair below say nothing."""
    shown = [600, 600, 590, 600, 600, 600, 600, 600, 600, 600, *([600] * 30)]
    visits = [visit(n, {"at": "brush/gauge", "pressure_kpa": kpa}) for n, kpa in enumerate(shown)]

    assert only(ledger_of(visits)).signals == ()


def test_whole_passes_that_repeat_themselves_are_no_run():
    """A steady 80.7 r/min counts 81 in most minutes, 80 in the others: above its mean all along."""
    passes = [81, 81, 80, 81, 81, 80, 81, 81, 80, 81, *([81] * 20)]
    visits = [
        visit(7 * n, {"at": "brush", "counted": counted, "seconds": 60, "found_hz": 45})
        for n, counted in enumerate(passes)
    ]

    assert only(ledger_of(visits, setpoints=[setpoint(0, 45)])).signals == ()


def test_the_series_of_one_machine_can_be_picked():
    visits = [
        visit(n, {"at": "brush/motor", "current_a": 4}, {"at": "low", "pressure_kpa": 9000})
        for n in range(8)
    ]
    found = judged(ledger_of(visits))

    assert {r.series.place.machine for r in found.results} == {"brush", "low"}
    assert {r.series.place.machine for r in drift_of(found, "low").results} == {"low"}


def readings_of(values, u=1.0):
    """Readings of a week apart that hold just these numbers."""
    entries = ledger_of(
        [visit(7 * n, {"at": "brush/motor", "current_a": 1}) for n in range(len(values))]
    ).entries
    return tuple(
        SeriesReading(entry=entry, measured=Measured(value=value, u=u))
        for entry, value in zip(entries, values, strict=True)
    )


def test_readings_of_one_pace_are_all_kept():
    straight = readings_of([80 - 0.1 * n for n in range(40)])

    assert even_readings(straight) == straight


def test_a_bend_leaves_the_newer_half():
    bent = readings_of([80 - 0.5 * max(0, n - 20) for n in range(40)])

    assert even_readings(bent) == bent[20:]


@given(st.lists(st.floats(60, 100), min_size=1, max_size=8), st.floats(-50, 50))
def test_the_level_moves_with_its_readings_and_lies_among_the_last_five(values, shift):
    readings, moved = readings_of(values), readings_of([value + shift for value in values])

    level, other = level_now(readings), level_now(moved)

    assert other.value == pytest.approx(level.value + shift)
    assert other.u == pytest.approx(level.u, rel=1e-6)
    assert min(values[-5:]) - 1e-9 <= level.value <= max(values[-5:]) + 1e-9
    # Five readings of u = 1 cannot be surer than 1/√5, and scatter only adds.
    assert level.u >= 1 / len(values[-5:]) ** 0.5 - 1e-9


def test_the_order_of_the_files_does_not_matter():
    visits = counts(wearing, weeks=30)
    settings = [setpoint(0, 45)]

    def told(order) -> list[object]:
        result = only(ledger_of(order, setpoints=settings))
        return [result.outlook, *result.signals]

    assert told(visits) == told(visits[::-1])
