"""The example site, whose generator knows the true state of every machine."""

from datetime import timedelta

import pytest
from example import example_ledger
from sitegen import condition

from ledger.compute.trend import NoTrend, StripForecast
from ledger.model.ledger import Ledger
from ledger.upkeep.drift.found import NOW_READINGS, Drift, DriftResult, drift
from ledger.upkeep.drift.outlook import BeyondAlready, Crossing, NoLimit
from ledger.upkeep.reliability.found import reliability
from ledger.upkeep.speeds.found import speed_results

INCH_MM = 25.4


@pytest.fixture(scope="module")
def ledger() -> Ledger:
    return example_ledger()


@pytest.fixture(scope="module")
def found(ledger: Ledger) -> Drift:
    return drift(ledger, speed_results(ledger))


def of(found: Drift, ident: str) -> DriftResult:
    return next(result for result in found.results if result.series.ident == ident)


def test_the_wearing_hydraulic_brush_signals_before_it_leaves_its_band(ledger, found):
    result = of(found, f"speed-{condition.HYDRAULIC}")
    setting_gpm = ledger.setpoints[condition.HYDRAULIC].in_force.value / 3.785411784
    day = condition.FIRST_DAY
    while condition.speed_rpm(condition.HYDRAULIC, day, setting_gpm) > result.series.lower:
        day += timedelta(days=1)

    assert result.signals[0].day < day - timedelta(days=90)
    assert isinstance(result.outlook, Crossing)
    assert result.outlook.earliest <= day <= result.outlook.latest


def test_its_efficiency_has_fallen_as_the_generator_says(found):
    result = of(found, f"speed-{condition.HYDRAULIC}")
    fall = result.efficiency

    assert fall is not None
    assert fall.worn
    days = [reading.entry.day for reading in result.trend_readings[-NOW_READINGS:]]
    highest, lowest = (condition.volumetric_efficiency(day) for day in (min(days), max(days)))
    doubt = 3 * fall.now.u_fraction
    assert lowest - doubt < fall.now.fraction < highest + doubt


@pytest.mark.parametrize("machine", sorted({*condition.BRUSHES} - {condition.HYDRAULIC}))
def test_steady_brushes_show_no_wear(found, machine):
    outlook = of(found, f"speed-{machine}").outlook

    assert isinstance(outlook, NoTrend | BeyondAlready)


def test_strips_wear_at_their_true_pace(found):
    for machine in condition.BRUSHES:
        result = of(found, f"strip-length-{machine}-cloth")
        outlook = result.outlook
        assert isinstance(outlook, StripForecast | BeyondAlready), machine
        if isinstance(outlook, BeyondAlready) or outlook.on is None:
            continue
        true_mm = INCH_MM * condition.strip_in(machine, outlook.on)
        # A day of wear is a hundredth of an inch or less; the date is good to some weeks.
        assert true_mm == pytest.approx(outlook.limit, abs=8), machine


def test_the_chain_reaches_its_limit_when_it_truly_will(found):
    """0.3 % on the first day and 0.11 % a month of 30 days: 3 % after 736 days."""
    outlook = of(found, "chain-conveyor-chain").outlook

    assert isinstance(outlook, Crossing)
    true = condition.FIRST_DAY + timedelta(days=round(30 * (3 - 0.3) / 0.11))
    assert abs(outlook.on - true) < timedelta(days=40)


def test_the_hydraulic_motor_grows_warmer(found):
    outlook = of(found, f"temperature-{condition.HYDRAULIC}-hydraulic-motor").outlook

    assert isinstance(outlook, NoLimit)
    # 1.3 °F in 30 days.
    assert outlook.line.lower <= 1.3 / 1.8 / 30 <= outlook.line.upper


def test_the_bearing_that_keeps_failing_is_named(ledger):
    (kind,) = (kind for kind in reliability(ledger).kinds if kind.kind == "rotating-bearing")

    place, count = kind.worst
    assert (str(place), count) == ("low-brush-d/shaft-bearing-bottom", 6)
