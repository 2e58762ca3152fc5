"""How the book words amounts, dates and people."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_site import LOOK, ledger_of, visit

from ledger.book import words
from ledger.book.blocks import Link
from ledger.compute.recurrence import Calendar, Hours, Rule, Unit, Vehicles
from ledger.model.references import EntryRef, Place


@pytest.mark.parametrize(
    ("minutes", "said"),
    [(0, "0 min"), (0.2, "1 min"), (1, "1 min"), (59.4, "59 min"), (59.6, "1 h 00 min"), (60, "1 h 00 min"), (125, "2 h 05 min"), (1440, "24 h 00 min")],
)  # fmt: skip
def test_minutes(minutes, said):
    assert words.format_minutes(minutes) == said


@pytest.mark.parametrize(
    ("value", "said"),
    [(44.0, "44"), (44.5, "44.5"), (0.1 + 0.2, "0.3"), (1234567, "1234567"), (0.05, "0.05"), (1e-7, "1e-07")],
)  # fmt: skip
def test_a_number_is_shown_as_it_was_typed(value, said):
    assert words.format_number(value) == said


@given(st.decimals(0, 999999, places=3))
def test_no_digit_of_a_number_that_a_person_types_is_lost(value):
    assert Decimal(words.format_number(float(value))) == value


@pytest.mark.parametrize(("low", "high", "said"), [(74, 86, "74–86"), (72.5, 82.5, "72.5–82.5"), (73.333, 83.333, "73.3–83.3"), (0, 5, "0–5")])  # fmt: skip
def test_a_range(low, high, said):
    assert words.format_range(low, high) == said


@pytest.mark.parametrize(("given", "said"), [([], ""), (["a"], "a"), (["a", "b"], "a and b"), (["a", "b", "c"], "a, b and c")])  # fmt: skip
def test_words_in_a_sentence(given, said):
    assert words.in_words(given) == said


@pytest.mark.parametrize(("count", "said"), [(0, "0 days"), (1, "1 day"), (2, "2 days")])
def test_counts(count, said):
    assert words.format_count(count, "day") == said


def test_the_units_are_those_of_the_site():
    us, si = (ledger_of(site={"units": units}).site for units in ("us", "si"))
    assert words.format_setting(44.5, "Hz", us) == words.format_setting(44.5, "Hz", si) == "44.5 Hz"
    assert words.format_setting(3.785411784, "L/min", us) == "1.00 gpm"
    assert words.format_setting(3.785411784, "L/min", si) == "3.8 L/min"


def test_an_instant_is_told_by_the_clock_of_the_site():
    chicago = ledger_of(site={"time_zone": "America/Chicago"}).site
    assert words.format_time(datetime(2026, 7, 1, 3, 30, tzinfo=UTC), chicago) == "2026-06-30 22:30"


def test_a_day_does_not_follow_the_language_of_the_machine():
    assert words.format_as_of(date(2026, 11, 25)).startswith("As of 2026-11-25 (Wednesday): ")


@pytest.mark.parametrize(
    ("every", "said"),
    [
        ([Calendar(count=1, unit=Unit.DAY)], "daily"),
        ([Calendar(count=1, unit=Unit.WEEK)], "weekly"),
        ([Calendar(count=1, unit=Unit.MONTH)], "monthly"),
        ([Calendar(count=1, unit=Unit.YEAR)], "yearly"),
        ([Calendar(count=2, unit=Unit.WEEK)], "every 2 weeks"),
        ([Hours(count=250)], "every 250 hours"),
        ([Rule(text="FREQ=WEEKLY;BYDAY=FR")], "every Friday"),
        (
            [Calendar(count=1, unit=Unit.WEEK), Hours(count=250), Vehicles(count=8000)],
            "weekly or every 250 hours or 8000 vehicles, whichever comes first",
        ),
        (
            [Calendar(count=6, unit=Unit.MONTH), Hours(count=250)],
            "every 6 months or 250 hours, whichever comes first",
        ),
        (
            [Hours(count=250), Calendar(count=1, unit=Unit.MONTH)],
            "every 250 hours or monthly, whichever comes first",
        ),
    ],
    ids=lambda one: one if isinstance(one, str) else "",
)
def test_an_interval_is_told_as_people_say_it(every, said):
    assert words.format_interval(every) == said


def test_people_who_are_not_listed_keep_their_id():
    site = ledger_of().site
    named = [words.format_person(ident, site) for ident in ("a-holt", "z-gone")]
    assert named == ["A. Holt", "z-gone"]


def test_an_entry_is_linked_to_the_page_that_shows_it():
    ledger = ledger_of([visit(0, LOOK)])
    assert words.entry_link(ledger, EntryRef("2026-01-05T1000-a-holt", 1)) == Link("2026-01-05T1000-a-holt#1", "machines/brush.md")  # fmt: skip
    assert words.entry_link(ledger, EntryRef("2026-01-05T1000-a-holt", 2)) == "2026-01-05T1000-a-holt#2"  # fmt: skip
    assert words.place_link(ledger, Place("brush", "bearing-top")) == Link("Side brush: Bearing top", "machines/brush.md")  # fmt: skip
    assert words.format_point(ledger, Place("brush")) == ""


def test_the_safety_words_send_a_person_to_lock_out_and_promise_nothing():
    text = " ".join(words.SAFETY)
    for needed in ("Lock out, tag out and verify", "stored energy", "maker's manual", "local code", "licensed people"):  # fmt: skip
        assert needed in text
    assert "safe" not in text.lower().replace("safety", "")
