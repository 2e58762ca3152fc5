"""The calendar against RFC 5545, by its own rules for lines and by a reader that is not ours."""

import re
from datetime import UTC, date, datetime, timedelta

import icalendar
from hypothesis import given
from hypothesis import strategies as st

from ledger.upkeep.due.calendar import DueEvent, render_calendar

DAY = date(2026, 11, 25)

events = st.builds(
    DueEvent,
    uid=st.uuids().map(str),
    day=st.dates(date(2026, 1, 1), date(2036, 1, 1)),
    summary=st.text(),
    description=st.text(),
)


def rendered(*found):
    return render_calendar(found, name="Small Wash: due work", as_of=DAY)


def lines_of(content):
    """RFC 5545 3.1: content lines end in CRLF, the last one too."""
    assert content.endswith(b"\r\n")
    return content.removesuffix(b"\r\n").split(b"\r\n")


@given(st.lists(events, max_size=3, unique_by=lambda event: event.uid))
def test_every_line_keeps_to_the_rules_of_the_standard(found):
    for line in lines_of(rendered(*found)):
        assert len(line) <= 75  # RFC 5545 3.1: no longer than 75 octets, the line end left out
        line.decode("utf-8")  # a fold parts no character
        # 3.1: CONTROL stands nowhere but HTAB; a bare CR or LF would be a line of its own.
        assert not re.search(rb"[\x00-\x08\x0a-\x1f\x7f]", line)


@given(st.lists(events, max_size=3, unique_by=lambda event: event.uid))
def test_another_reader_finds_every_event_again(found):
    calendar = icalendar.Calendar.from_ical(rendered(*found))
    read = list(calendar.walk("VEVENT"))
    assert [(str(e["UID"]), e.decoded("DTSTART")) for e in read] == [(e.uid, e.day) for e in found]
    assert all(e.decoded("DTEND") - e.decoded("DTSTART") == timedelta(days=1) for e in read)


def test_words_come_back_as_they_were():
    said = "Grease, oil; wipe \\ look\n- Kran für Bürste „P2“: 44 Hz → 45 Hz\n" + "long " * 40
    one = DueEvent(uid="a", day=DAY, summary="Brush: P2, driver", description=said)
    (read,) = icalendar.Calendar.from_ical(rendered(one)).walk("VEVENT")
    assert (str(read["SUMMARY"]), str(read["DESCRIPTION"])) == ("Brush: P2, driver", said)


def test_a_name_is_a_text_whose_marks_are_escaped():
    """RFC 7986 5.1: NAME is a TEXT; RFC 5545 3.3.11: `;`, `,` and a backslash are escaped in one."""
    written = lines_of(render_calendar([], name="North; Wash, old \\next", as_of=DAY))
    assert rb"NAME:North\; Wash\, old \\next" in written
    assert rb"X-WR-CALNAME:North\; Wash\, old \\next" in written


def test_control_characters_are_shown_and_not_sent():
    one = DueEvent(uid="a", day=DAY, summary="be\x07ll", description="one\x1b[31m\r\ntwo")
    (read,) = icalendar.Calendar.from_ical(rendered(one)).walk("VEVENT")
    assert "\x07" not in str(read["SUMMARY"])
    assert str(read["SUMMARY"]).startswith("be")
    assert "\x1b" not in str(read["DESCRIPTION"])


def test_the_required_properties_and_those_that_make_a_later_export_newer():
    """RFC 5545 3.6 (PRODID, VERSION), 3.6.1 (UID, DTSTAMP), 3.8.7.4 (SEQUENCE)."""
    one = DueEvent(uid="a", day=DAY, summary="Grease", description="Grease")
    calendar = icalendar.Calendar.from_ical(rendered(one))
    assert (str(calendar["VERSION"]), str(calendar["PRODID"])) == (
        "2.0",
        "-//tunnelbook//due work//EN",
    )
    (read,) = calendar.walk("VEVENT")
    assert read.decoded("DTSTAMP") == datetime(2026, 11, 25, tzinfo=UTC)
    later = render_calendar([one], name="Small Wash: due work", as_of=DAY + timedelta(days=1))
    (newer,) = icalendar.Calendar.from_ical(later).walk("VEVENT")
    assert newer["SEQUENCE"] > read["SEQUENCE"]
