"""Meters: what they have counted, misread and reset faces, rates and dates reached."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.meter import (
    MeterLog,
    MeterReading,
    Rate,
    day_reaching,
    log_until,
    meter_faults,
    meter_log,
    recent_rate,
    total_on,
)

START = date(2026, 1, 1)


def day(n: int) -> date:
    return START + timedelta(days=n)


def read(*pairs: tuple[int, float]) -> MeterLog:
    return meter_log(MeterReading(on=day(n), reading=reading) for n, reading in pairs)


@pytest.mark.parametrize(
    ("readings", "totals", "ignored", "resets"),
    [
        pytest.param([(0, 100), (1, 110), (2, 130)], (0, 10, 30), [], [], id="steady"),
        pytest.param([(2, 130), (0, 100), (1, 110)], (0, 10, 30), [], [], id="any order"),
        pytest.param([(0, 100), (0, 105), (1, 110)], (0, 5), [], [], id="the last of a day stands"),
        pytest.param([(0, 100), (1, 11), (2, 130)], (0, 30), [11], [], id="a digit left out"),
        pytest.param([(0, 100), (1, 11), (2, 100)], (0, 0), [11], [], id="a digit left out at rest"),
        pytest.param([(0, 100), (1, 1100), (2, 130)], (0, 30), [1100], [], id="a digit too many"),
        pytest.param([(0, 100), (1, 1100), (2, 100)], (0, 0), [1100], [], id="a digit too many at rest"),
        pytest.param([(0, 100), (1, 120), (2, 5), (3, 25)], (0, 20, 20, 40), [], [5], id="a new meter"),
        pytest.param([(0, 100), (1, 120), (2, 5)], (0, 20, 20), [], [5], id="back on the last reading"),
    ],
)  # fmt: skip
def test_a_meter_that_goes_back_is_set_aside_or_reset_and_flagged(
    readings, totals, ignored, resets
):
    log = read(*readings)
    assert log.totals == totals
    of_days = sorted(dict(readings).items())
    faults = meter_faults([reading for _, reading in of_days])
    assert [of_days[place][1] for place in sorted(faults.misread)] == ignored
    assert [of_days[place][1] for place in sorted(faults.resets)] == resets


def test_the_recent_rate_looks_back_four_weeks_and_says_how_far():
    log = read((0, 0), (70, 700), (98, 3500))
    assert recent_rate(log) == Rate(per_day=100, span_days=28)


def test_no_rate_from_one_day():
    assert recent_rate(read((0, 5))) is None
    assert recent_rate(MeterLog()) is None
    assert day_reaching(read((0, 5)), 10) is None
    assert day_reaching(MeterLog(), 10) is None
    assert total_on(MeterLog(), day(0)) is None
    assert total_on(read((0, 5)), day(1)) is None


def test_a_meter_at_rest_reaches_nothing():
    assert day_reaching(read((0, 5), (10, 5)), 1) is None
    assert day_reaching(read((0, 0), (10, 1e-6)), 1e6) is None


@pytest.mark.parametrize(
    ("total", "reached"),
    [(0, 0), (1, 1), (100, 1), (101, 2), (1000, 10), (1001, 11), (2000, 20)],
)
def test_a_total_is_reached_on_the_first_day_that_has_it(total, reached):
    assert day_reaching(read((0, 500), (10, 1500)), total) == day(reached)


def test_a_meter_that_hardly_runs_reaches_a_total_all_the_same():
    assert day_reaching(read((0, 0), (100, 0.5)), 1) == day(200)


def test_the_last_day_that_can_be_written_is_reached():
    log = read((0, 0), (10, 10))
    ahead = date.max.toordinal() - day(10).toordinal() - 1

    assert day_reaching(log, 10 + ahead) == date.max - timedelta(days=1)
    assert day_reaching(log, 11 + ahead) is None


def test_totals_run_straight_between_readings_and_on_by_the_rate():
    log = read((0, 500), (10, 1500))
    assert [total_on(log, day(n)) for n in (-5, 0, 5, 10, 12)] == [0, 0, 500, 1000, 1200]


def test_a_log_as_it_was_known_on_a_day():
    log = read((0, 100), (1, 11), (2, 130), (3, 5), (4, 6))
    assert log_until(log, day(2)) == read((0, 100), (1, 11), (2, 130))


READINGS = st.lists(
    st.tuples(st.integers(0, 400), st.integers(0, 10**7).map(lambda tenths: tenths / 10)), min_size=2, max_size=30, unique_by=lambda pair: pair[0]
)  # fmt: skip


@given(READINGS)
def test_totals_never_fall_whatever_was_read(pairs):
    log = read(*pairs)
    assert list(log.totals) == sorted(log.totals)
    assert list(log.days) == sorted(set(log.days))
    misread = meter_faults([reading for _, reading in sorted(pairs)]).misread
    assert len(log.days) + len(misread) == len(pairs)


@given(READINGS, st.integers(0, 500))
def test_the_day_reaching_a_days_total_is_no_later_than_that_day(pairs, n):
    log = read(*pairs)
    total = total_on(log, day(n))
    assert total is not None
    reached = day_reaching(log, total)
    assert reached is None or reached <= max(day(n), log.days[0])
