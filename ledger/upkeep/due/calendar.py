"""Due work as an iCalendar file (RFC 5545) to import or to subscribe to.

One event a task and day, known by an id that stays.
"""

import uuid
from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, time, timedelta

from icalendar import Calendar, Event, vText

from ledger.book import words
from ledger.book.addresses import DUE_PAGE, html_address
from ledger.book.escape import terminal_text, visible
from ledger.book.terminal import plain
from ledger.compute.schedule import State
from ledger.model.ledger import Ledger
from ledger.upkeep.due.found import DueWork
from ledger.upkeep.register.found import FollowUp, FollowUpState
from ledger.upkeep.register.words import format_open_since
from ledger.values import dataclass, grouped


@dataclass(frozen=True, slots=True, kw_only=True)
class DueEvent:
    """`uid` names the site and the work, not the day, so a later export moves the event.

    `url` is where the page of it opens; empty where the site gives no address.
    """

    uid: str
    day: date
    summary: str
    description: str
    url: str = ""


def due_events(
    ledger: Ledger, work: Sequence[DueWork], follow_ups: Sequence[FollowUp], as_of: date
) -> tuple[DueEvent, ...]:
    """One event for each day on which a task is next due somewhere, and for each reading asked.

    By day. What should have been done before `as_of` stands on `as_of`; work that cannot be dated
    or waits for a machine that is tied back has no event. The first day of a task keeps its id
    from one export to the next, and so do its second and its third.
    """
    found = [_follow_up(ledger, one, as_of) for one in follow_ups if one.is_open]
    dated = [one for one in work if one.due.due_on and one.due.state is not State.PAUSED]
    for task, of_task in grouped(dated, lambda one: one.task.ident).items():
        days = grouped(of_task, lambda one: max(one.due.due_on or as_of, as_of))
        for number, (day, same) in enumerate(sorted(days.items()), start=1):
            found.append(
                DueEvent(
                    uid=_uid(ledger, f"task={task}&day={number}"),
                    day=day,
                    summary=f"{same[0].task.title}: {_where(ledger, same)}",
                    description="\n".join(_task_lines(ledger, same)),
                    url=_page(ledger, same[0].place.machine if len(same) == 1 else None),
                )
            )
    return tuple(sorted(found, key=lambda event: (event.day, event.uid)))


def _uid(ledger: Ledger, what: str) -> str:
    """A UUID by name (RFC 9562 5.5), as RFC 7986 5.3 asks of a UID."""
    site = ledger.site.address or ledger.site.name
    return str(uuid.uuid5(uuid.NAMESPACE_URL, f"tunnelbook:{site}?{what}"))


def _page(ledger: Ledger, machine: str | None) -> str:
    """The page of a machine, or that of all due work."""
    page = DUE_PAGE if machine is None else f"machines/{machine}.md"
    return html_address(ledger.site.address, page)


def _where(ledger: Ledger, work: Sequence[DueWork]) -> str:
    """One place by name; of several how many, and on which machine or on how many."""
    if len(work) == 1:
        return ledger.place_name(work[0].place)
    machines = {one.place.machine for one in work}
    places = words.format_count(len(work), "place")
    if len(machines) == 1:
        return f"{ledger.machines[work[0].place.machine].name} ({places})"
    if len(machines) == len(work):
        return words.format_count(len(work), "machine")
    return f"{places} on {len(machines)} machines"


def _task_lines(ledger: Ledger, work: Sequence[DueWork]) -> Iterator[str]:
    task = work[0].task
    yield f"{task.ident}: {words.format_task_cycle(task)}."
    if task.minutes is not None:
        each = f"{words.format_minutes(task.minutes)} each, " if len(work) > 1 else ""
        yield f"Time: {each}{words.format_minutes(task.minutes * len(work))} in all."
    if task.needs:
        yield f"Needs somebody qualified for {', '.join(sorted(task.needs))}."
    if task.lockout:
        yield "Lock out, tag out and verify first."
    yield from (f"Caution: {caution}" for caution in task.cautions)
    machines = [ledger.machines[ident] for ident in {one.place.machine: None for one in work}]
    yield from (f"Caution, {one.name}: {text}" for one in machines for text in one.cautions)
    dates = [_format_date(one) for one in work]
    if len(set(dates)) == 1:
        yield f"{dates[0].capitalize()}."
        dates = ["" for _ in work]
    yield ""
    yield from (_place_line(ledger, one, text) for one, text in zip(work, dates, strict=True))
    yield from ("", "The maker's manual, the local code and licensed people come first.")


def _format_date(one: DueWork) -> str:
    due = one.due
    parts = [f"due {due.due_on}"]
    if due.window_from is not None and due.window_from != due.window_to:
        parts.append(f"window {due.window_from} to {due.window_to}")
    if due.predicted:
        parts.append("predicted from a meter's recent rate")
    if due.state is State.OVERDUE:
        parts.append(words.format_state(due))
    return ", ".join(parts)


def _place_line(ledger: Ledger, one: DueWork, dates: str) -> str:
    put_off = f"put off on {one.put_off.day}: {one.put_off.reason}" if one.put_off else ""
    parts = (f"- {ledger.place_name(one.place)} ({one.place})", dates, put_off)
    return "; ".join(filter(None, parts))


def _follow_up(ledger: Ledger, one: FollowUp, as_of: date) -> DueEvent:
    """The reading that a new setting asks for; at once where the last one spoke against it."""
    machine, change = one.machine, one.change
    at_once = one.state is FollowUpState.DOES_NOT_HOLD
    about = [f"{machine.ident}, change {change.number}", plain(format_open_since(ledger, one))]
    return DueEvent(
        uid=_uid(ledger, f"reading={machine.ident}&change={change.number}"),
        day=as_of if at_once else max(one.due_on, as_of),
        summary=f"Read the speed: {machine.name} at {words.format_change(change, ledger.site)}",
        description="\n".join([*about, "", *words.SAFETY]),
        url=_page(ledger, machine.ident),
    )


def render_calendar(events: Sequence[DueEvent], *, name: str, as_of: date) -> bytes:
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
        if one.url:
            event.add("url", one.url)
        event.add("transp", "TRANSPARENT")
        calendar.add_component(event)
    content: bytes = calendar.to_ical()
    return content
