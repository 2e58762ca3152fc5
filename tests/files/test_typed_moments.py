"""Days and times as people write them, and what a date may mean."""

import pytest

from ledger.files.schemas import is_date, is_site_instant
from ledger.files.typed_moments import moment_readings, moments, sign_of_date


@pytest.mark.parametrize(
    ("text", "check", "meant"),
    [
        ("2026-1-5", is_date, ["2026-01-05"]),
        ("2026/01/05", is_date, ["2026-01-05"]),
        ("20260105", is_date, ["2026-01-05"]),
        ("2026-11-23 6:40", is_site_instant, ["2026-11-23T06:40"]),
        ("26.11.2026 16:50", is_site_instant, ["2026-11-26T16:50"]),
        ("16:50 26.11.2026", is_site_instant, ["2026-11-26T16:50"]),
        ("11/26/26 4:50pm", is_site_instant, ["2026-11-26T16:50"]),
        ("26 Nov 2026, 12:05 am", is_site_instant, ["2026-11-26T00:05"]),
        ("Thursday, November 26th, 2026 at 4 pm", is_site_instant, ["2026-11-26T16:00"]),
        ("2O26-11-24T07:1O", is_site_instant, ["2026-11-24T07:10"]),
        ("2026-11-24T07:10 Z", is_site_instant, ["2026-11-24T07:10Z"]),
        ("2026-12-31T24:00", is_site_instant, ["2027-01-01T00:00"]),
        ("11/12/2026", is_date, ["2026-11-12", "2026-12-11"]),
        ("11.12.2026", is_date, ["2026-12-11", "2026-11-12"]),
        ("5/5/2026", is_date, ["2026-05-05"]),
        ("2026-02-30", is_date, []),
        ("31.02.2026", is_date, []),
        ("2026-11-24T13:10 pm", is_site_instant, []),
        ("2026-11-24T07:75", is_site_instant, []),
        ("2026-11-24", is_site_instant, []),
        ("07:10", is_site_instant, []),
        ("yesterday", is_date, []),
    ],
)
def test_moments(text, check, meant):
    assert moment_readings(text, check) == meant


@pytest.mark.parametrize(
    ("text", "sign", "meant"),
    [
        ("2026-11-02", "", {"ymd": "2026-11-02"}),
        ("2 Nov 2026", "", {"dmy": "2026-11-02"}),
        ("2-Nov-26 6:40", "", {"dmy": "2026-11-02T06:40"}),
        ("Nov 2 '26, 6.40 am", "", {"mdy": "2026-11-02T06:40"}),
        ("Nov 2 10.30", "dot", {}),
        ("Nov 2 10 am", "", {}),
        ("11/02/2026", "slash", {"mdy": "2026-11-02", "dmy": "2026-02-11"}),
        ("11/25/26 6:40", "slash", {"mdy": "2026-11-25T06:40"}),
        ("25.11.26", "dot", {"dmy": "2026-11-25"}),
        ("5-5-2026", "dash", {"mdy": "2026-05-05", "dmy": "2026-05-05"}),
        ("45.3.26", "dot", {}),
        # The hour is no month.
        ("25.11.2026 6.12", "dot", {"dmy": "2026-11-25T06:12"}),
        ("11.12.2026 10.11", "dot", {"mdy": "2026-11-12T10:11", "dmy": "2026-12-11T10:11"}),
        # All of it has to be read.
        ("2026-11-02 or so", "", {}),
        ("38", "", {}),
    ],
)
def test_what_the_whole_of_a_text_may_mean(text, sign, meant):
    assert moments(text, lambda one: is_date(one) or is_site_instant(one)) == meant
    assert sign_of_date(text) == sign
