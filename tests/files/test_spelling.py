"""The nearest right spelling."""

import pytest

from ledger.files.schema_fault import nearest_id, nearest_key, nearest_moment, nearest_word
from ledger.files.schemas import is_date, is_site_instant

KEYS = {"task", "at", "counted", "seconds", "found_hz", "pressure_psi", "stopped_minutes"}


@pytest.mark.parametrize(
    ("key", "used", "meant"),
    [
        ("secnds", (), "seconds"),
        ("Task", (), "task"),
        ("found hz", (), "found_hz"),
        ("found-hz", (), "found_hz"),
        ("counted_s", ("counted",), "seconds"),
        ("counted_s", (), "counted"),
        ("pressure", (), "pressure_psi"),
        ("secnds", ("seconds",), ""),
        ("zzz", (), ""),
    ],
)
def test_keys(key, used, meant):
    assert nearest_key(key, KEYS, used) == meant


def test_words_whatever_their_case():
    assert nearest_word("SOON", ["now", "soon"]) == "soon"
    assert nearest_word("xyzzy", ["now", "soon"]) == ""


@pytest.mark.parametrize(
    ("text", "check", "meant"),
    [
        ("2026-1-5", is_date, "2026-01-05"),
        ("2026/01/05", is_date, "2026-01-05"),
        ("2026-11-23 6:40", is_site_instant, "2026-11-23T06:40"),
        ("2026-02-30", is_date, ""),
        ("11/12/2026", is_date, ""),
    ],
)
def test_moments(text, check, meant):
    assert nearest_moment(text, check) == meant


def test_ids():
    assert nearest_id("Brush P2", str.islower) == "brush-p2"
    assert nearest_id("brush", str.islower) == ""
