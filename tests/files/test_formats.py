"""Dates and times are checked for real, by the calendar."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.files.schemas import is_date, is_local_time, is_site_instant


@pytest.mark.parametrize(
    ("check", "text", "holds"),
    [
        (is_date, "2024-02-29", True), (is_date, "2024-02-30", False), (is_date, "2023-02-29", False),
        (is_date, "20240229", False), (is_date, "2024-2-9", False), (is_date, "2024-02-29\n", False),
        (is_date, "0000-01-01", False), (is_date, "1899-12-31", False), (is_date, "1900-01-01", True),
        (is_date, "2199-12-31", True), (is_date, "2200-01-01", False), (is_site_instant, "9999-12-31T23:59-12:00", False),
        (is_date, "2024-12-31", True), (is_date, "٢٠٢٤-01-01", False), (is_date, "2024-W01-1", False),
        (is_local_time, "06:40", True), (is_local_time, "06:40:59", True), (is_local_time, "24:00", False),
        (is_local_time, "06:40Z", False), (is_local_time, "6:40", False),
        (is_site_instant, "2026-11-23T06:40", True), (is_site_instant, "2026-11-23T06:40:10", True),
        (is_site_instant, "2026-11-23T06:40Z", True), (is_site_instant, "2026-11-23T06:40+01:00", True),
        (is_site_instant, "2026-11-23T06:40:10-05:00", True), (is_site_instant, "2026-11-23 06:40", False),
        (is_site_instant, "2026-11-23", False), (is_site_instant, "2026-11-31T06:40", False),
        (is_site_instant, "2026-11-23T06:40+25:00", False), (is_site_instant, "2026-11-23T06:40\n", False),
        # RFC 3339 section 5.8.
        (is_site_instant, "1990-12-31T15:59:50-08:00", True), (is_site_instant, "1990-12-31T15:59:50Z", True),
    ],
)  # fmt: skip
def test_formats(check, text, holds):
    assert check(text) is holds


@given(st.dates(dt.date(1900, 1, 1), dt.date(2199, 12, 31)))
def test_every_day_of_the_calendar_is_a_date(day):
    assert is_date(day.isoformat())


@given(
    st.datetimes(
        dt.datetime(1900, 1, 1),  # noqa: DTZ001 - the strategy wants bounds without a zone
        dt.datetime(2199, 12, 31),  # noqa: DTZ001
        timezones=st.just(dt.UTC) | st.just(dt.timezone(-dt.timedelta(hours=5))) | st.none(),
    )
)
def test_every_instant_to_the_second_is_one(moment):
    assert is_site_instant(moment.isoformat(timespec="seconds"))


@given(st.text(max_size=25))
def test_no_text_raises(text):
    for check in (is_date, is_local_time, is_site_instant):
        assert check(text) in (True, False)
