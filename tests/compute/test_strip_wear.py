"""Strip wear by vehicles and the date it reaches its limit."""

import math
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.meter import MeterLog, MeterReading, meter_log
from ledger.compute.numbers import NotEnoughData
from ledger.compute.trend import (
    STRIP_U_MM,
    NoTrend,
    StripForecast,
    TimedReading,
    limit_crossing,
    strip_forecast,
)

START = date(2026, 1, 1)


def day(n: int) -> date:
    return START + timedelta(days=n)


def metered(per_day: int, days: int = 140) -> MeterLog:
    return meter_log(
        MeterReading(on=day(n), reading=5000 + per_day * n) for n in range(0, days + 1, 7)
    )


def lengths(*mm: float) -> list[TimedReading]:
    return [
        TimedReading(day=day(14 * n).toordinal(), value=length, standard_uncertainty=STRIP_U_MM)
        for n, length in enumerate(mm)
    ]


def test_strips_that_lose_a_millimetre_a_thousand_vehicles():
    # 500 a day: 7 mm a fortnight from 600 mm, so 500 mm after 100 000 vehicles, on day 200.
    found = strip_forecast(
        lengths(*(600 - 7 * n for n in range(11))), limit_mm=500, vehicles=metered(500)
    )
    assert isinstance(found, StripForecast)
    assert found.line.slope == pytest.approx(-1)
    assert found.on == day(200)
    # A strip is read to 5 mm: common practice, no source.
    assert found.line.u_value == pytest.approx(5 / 11**0.5)
    assert found.earliest is not None
    assert found.latest is not None
    assert day(100) < found.earliest <= found.on <= found.latest < day(600)
    # Two days to a thousand vehicles.
    over_thousands = [
        TimedReading(day=7 * n, value=600 - 7 * n, standard_uncertainty=STRIP_U_MM)
        for n in range(11)
    ]
    crossing = limit_crossing(over_thousands, lower=500)
    assert found.earliest == day(math.ceil(2 * crossing.earliest_day))
    assert found.latest == day(math.ceil(2 * crossing.latest_day))


def test_the_slope_is_that_of_scipy_over_vehicles():
    stats = pytest.importorskip("scipy.stats")
    mm = [600, 594, 585, 581, 570, 569, 556, 551, 546, 536]
    found = strip_forecast(lengths(*mm), limit_mm=400, vehicles=metered(500))
    assert isinstance(found, StripForecast)
    reference = stats.linregress([7.0 * n for n in range(len(mm))], mm)
    assert found.line.slope == pytest.approx(reference.slope)


def test_a_quiet_season_is_not_better_cloth():
    busy_then_quiet = meter_log(
        [MeterReading(on=day(0), reading=0), MeterReading(on=day(70), reading=70_000), MeterReading(on=day(140), reading=77_000)]
    )  # fmt: skip
    by_vehicle = [
        600 - 0.001 * (1000 * min(14 * n, 70) + 100 * max(0, 14 * n - 70)) for n in range(11)
    ]
    found = strip_forecast(lengths(*by_vehicle), limit_mm=500, vehicles=busy_then_quiet)
    assert isinstance(found, StripForecast)
    assert found.line.slope == pytest.approx(-1)
    # 23 000 vehicles are left, at the recent 100 a day.
    assert found.on == day(140 + 230)


def test_steady_strips_have_no_trend_and_few_readings_no_answer():
    steady = strip_forecast(
        lengths(600, 601, 599, 600, 601, 599, 600, 600), limit_mm=500, vehicles=metered(500)
    )
    assert isinstance(steady, NoTrend)
    few = strip_forecast(lengths(600, 590), limit_mm=500, vehicles=metered(500))
    assert isinstance(few, NotEnoughData)
    unmetered = strip_forecast(lengths(600, 590), limit_mm=500, vehicles=MeterLog())
    assert isinstance(unmetered, NotEnoughData)
    assert "vehicle meter has no readings" in unmetered.text
    assert (unmetered.have, unmetered.need) == (0, 1)


@given(st.integers(50, 2000), st.floats(2, 5))
def test_twice_the_wear_reaches_the_limit_no_later(per_day, fortnight_mm):
    def after(loss_mm):
        found = strip_forecast(
            lengths(*(600 - loss_mm * n for n in range(11))),
            limit_mm=450,
            vehicles=metered(per_day),
        )
        assert isinstance(found, StripForecast)
        assert found.on is not None
        return found.on

    assert after(2 * fortnight_mm) <= after(fortnight_mm)
