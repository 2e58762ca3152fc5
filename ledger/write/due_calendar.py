"""Due work as an iCalendar file (RFC 5545) to import or to subscribe to."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta

from icalendar import Calendar, Event, vText

from ledger.report.due_events import DueEvent
from ledger.write.escape import terminal_text, visible


def render(events: Sequence[DueEvent], *, name: str, as_of: date) -> bytes:
    """The calendar of a day; all-day events that take no one's time.

    The stamp and the sequence number come from the day (RFC 5545 3.8.7.2, 3.8.7.4), so the same
    record and day give the same bytes and a later day's events take the place of earlier ones.
    Controls, which a text may not hold (3.1), become visible signs; icalendar folds and escapes.
    """
    stamp = datetime.combine(as_of, time(), tzinfo=UTC)
    calendar = Calendar()
    calendar.add("prodid", "-//tunnelbook//due work//EN")
    calendar.add("version", "2.0")
    # As a text by its type: icalendar knows neither name, and would not escape it.
    title = vText(terminal_text(name))
    calendar.add("name", title)
    # The older name for the same thing, which more programs read.
    calendar.add("x-wr-calname", title)
    calendar.add("refresh-interval", timedelta(days=1), parameters={"VALUE": "DURATION"})
    for one in events:
        event = Event()
        event.add("uid", one.uid)
        event.add("dtstamp", stamp)
        event.add("last-modified", stamp)
        event.add("sequence", as_of.toordinal())
        event.add("dtstart", one.day)
        event.add("dtend", one.day + timedelta(days=1))
        event.add("summary", terminal_text(one.summary))
        event.add("description", visible(one.description))
        event.add("transp", "TRANSPARENT")
        calendar.add_component(event)
    content: bytes = calendar.to_ical()
    return content
