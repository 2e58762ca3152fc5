"""How the book words dates, amounts, places and people; one place, so pages speak alike."""

import calendar
from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime
from typing import TypeVar

from ledger.book import short_words
from ledger.book.addresses import METHODS_PAGE, METHODS_TITLE
from ledger.book.blocks import Link, Paragraph, Strong, anchor_of
from ledger.compute.band import Band, Verdict
from ledger.compute.numbers import GPM_PLACES, LPM_PLACES, convert, fixed, shown, significant
from ledger.compute.recurrence import Calendar, Interval, Rule, Unit
from ledger.compute.schedule import Due, State
from ledger.compute.speed import Speed
from ledger.files.diagnostics import Diagnostic, count_of
from ledger.model.ledger import Ledger, last_day_filed
from ledger.model.machines import Absence, Machine
from ledger.model.references import EntryRef, Place
from ledger.model.setpoints import Change
from ledger.model.site import Closure, Person, Site, Units
from ledger.model.tasks import Amount, Remembered, Task
from ledger.model.visits import Entry, Visit

_T = TypeVar("_T")

NONE = short_words.NONE

format_count = short_words.format_count

format_person = short_words.format_person

RPM_PLACES = 2
"""Decimals of a shaft's speed at most: more are of no use to anybody at the machine."""

_EVERY_ONE = {Unit.DAY: "daily", Unit.WEEK: "weekly", Unit.MONTH: "monthly", Unit.YEAR: "yearly"}

_DAYS = {"MO": 0, "TU": 1, "WE": 2, "TH": 3, "FR": 4, "SA": 5, "SU": 6}

_ORDINALS = {1: "first", 2: "second", 3: "third", 4: "fourth", 5: "fifth", -1: "last"}

SAFETY = (
    (
        "Lock out, tag out and verify every source of energy before hands go in, and wait for "
        "stored energy to be gone: springs, air, hydraulic pressure, raised arms, charged drives."
    ),
    "A drive keeps its charge after the power is off: wait as its label says, then measure.",
    (
        "Turns are timed from outside the guards. The maker's manual, the local code and licensed "
        "people come before anything written here."
    ),
)


def or_dash(value: _T | None, wording: Callable[[_T], str]) -> str:
    """The words of a value; a dash where there is none."""
    return NONE if value is None else wording(value)


def count_faults(found: Iterable[Diagnostic], noun: str) -> str:
    """`3 errors`, or `at least 3 errors` where some of them were not listed one by one."""
    faults = list(found)
    at_least = "at least " if any(one.more for one in faults) else ""
    return at_least + format_count(count_of(faults), noun)


def format_person_and_roles(person: Person) -> str:
    """`P. Dunmarsh (technician, electrician)`."""
    return f"{person.name} ({', '.join(person.roles)})" if person.roles else person.name


def format_crew(of: Entry | Visit, site: Site) -> str:
    """Who did the work of a visit, who filed it for them, and who put it back into service."""
    people = ", ".join(format_person(ident, site) for ident in (of.by, *of.helpers))
    for word, person in (("filed", of.filed_by), ("returned to service", of.returned_by)):
        people += f", {word} by {format_person(person, site)}" if person else ""
    return people


def format_day(day: date) -> str:
    return day.isoformat()


def format_remembered(remembered: Remembered) -> str:
    """`2026-11-20`, or the span that a week, month or year leaves open."""
    if remembered.first is None or remembered.last is None:
        return remembered.text.replace("-", " ")
    if remembered.first == remembered.last:
        return format_day(remembered.first)
    return f"between {format_day(remembered.first)} and {format_day(remembered.last)}"


def format_as_of(day: date) -> str:
    """The first line of a page that depends on the day: from when it looks, and what it knows."""
    return f"As of {day} ({day:%A}): what was filed and approved by the end of that day."


def format_time(when: datetime, site: Site) -> str:
    """Local date and time of an instant."""
    return f"{when.astimezone(site.zone):%Y-%m-%d %H:%M}"


def format_closure(closure: Closure) -> str:
    """`on 2026-11-26`, or `from 2026-02-09 to 2026-02-11`."""
    first = format_day(closure.first)
    if closure.last == closure.first:
        return f"on {first}"
    return f"from {first} to {format_day(closure.last)}"


def format_absence(absence: Absence) -> str:
    """`from 2026-08-01`, or `from 2026-08-01 to 2026-08-14`."""
    until = "" if absence.last is None else f" to {format_day(absence.last)}"
    return f"from {format_day(absence.first)}{until}"


def format_month(month: date) -> str:
    return f"{month:%Y-%m}"


def format_minutes(minutes: float) -> str:
    """`45 min`, `2 h 05 min`; a minute at least, for work that takes seconds."""
    whole = max(1, round(minutes)) if minutes > 0 else 0
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60:02d} min"


def format_speed(speed: Speed) -> str:
    """`76.0 ± 2.2`, in r/min: the digits its uncertainty supports, two decimals at most."""
    return shown(speed.rpm, speed.expanded(), most_places=RPM_PLACES)


def format_range(low: float, high: float) -> str:
    """`85–97`; limits between stated ones keep three digits."""
    return f"{float(significant(low, 3)):g}–{float(significant(high, 3)):g}"


def format_band(band: Band | None) -> str:
    """`85–97`; a dash where none is stated."""
    return NONE if band is None else format_range(band.low, band.high)


def format_verdict(verdict: Verdict | None) -> str | Strong:
    """With its shape, and in bold where something is out of its band; a dash without one."""
    text = or_dash(verdict, marked)
    return Strong(text) if verdict is Verdict.OUT_OF_BAND else text


def format_number(value: float) -> str:
    """A recorded number as typed, without a trailing `.0`."""
    return f"{value:.10g}"


def format_flow(flow_lpm: float, site: Site) -> str:
    if site.units is Units.US:
        return f"{fixed(convert(flow_lpm, 'l_min', 'gpm'), GPM_PLACES)} gpm"
    return f"{fixed(flow_lpm, LPM_PLACES)} L/min"


_SHOWN_IN = {
    "kw": (("kw", "kW"), ("hp", "hp")),
    "cm3": (("cm3", "cm³"), ("in3", "in³")),
    "nm": (("nm", "N·m"), ("lbf_ft", "lbf·ft")),
    "m": (("m", "m"), ("ft", "ft")),
    "m_s": (("m_min", "m/min"), ("ft_min", "ft/min")),
}
"""By the unit that is kept the SI and the US unit that a site reads, and how each is written."""


def in_site_units(value: float, kept: str, site: Site) -> tuple[float, str]:
    unit, name = _SHOWN_IN[kept][site.units is Units.US]
    return convert(value, kept, unit), name


def format_quantity(kept: str, value: float, site: Site) -> str:
    """`38.5 ft/min`, `11.7 m/min`: three digits of what is kept in a unit."""
    shown_value, unit = in_site_units(value, kept, site)
    return f"{significant(shown_value, 3)} {unit}"


def format_setting(value: float, unit: str, site: Site) -> str:
    """A drive's setting in the site's units: `44.5 Hz`, `4.20 gpm`."""
    return f"{format_number(value)} Hz" if unit == "Hz" else format_flow(value, site)


def format_unit(unit: str, site: Site) -> str:
    """The unit that settings are shown in: `Hz`, `gpm`, `L/min`."""
    return "gpm" if unit != "Hz" and site.units is Units.US else unit


def in_shown_unit(value: float, unit: str, site: Site) -> float:
    """A setting's value, kept in Hz or L/min, in the unit that it is shown in."""
    return convert(value, "l_min", "gpm") if format_unit(unit, site) == "gpm" else value


def format_change(change: Change, site: Site) -> str:
    return format_setting(change.value, change.unit, site)


def format_change_from(change: Change, site: Site) -> str:
    """`44 Hz from 2026-01-05`."""
    return f"{format_change(change, site)} from {format_day(change.first_day)}"


def format_interval(every: Iterable[Interval]) -> str:
    """`weekly`, `every 2 weeks`, or `monthly or every 250 hours, whichever comes first`."""
    parts: list[str] = []
    for one in every:
        word = _one_interval(one)
        # One `every` is enough for those that follow it.
        repeated = bool(parts) and parts[-1].startswith("every ")
        parts.append(word.removeprefix("every ") if repeated else word)
    joined = " or ".join(parts)
    return f"{joined}, whichever comes first" if len(parts) > 1 else joined


def _one_interval(one: Interval) -> str:
    if isinstance(one, Rule):
        return f"every {format_rule(one)}"
    if isinstance(one, Calendar) and one.count == 1:
        return _EVERY_ONE[one.unit]
    return f"every {one}"


def format_rule(rule: Rule) -> str:
    """What comes after `every`; a rule of a rarer shape is shown as its own text.

    Covers what plans are made of: a weekday of the week, a numbered weekday or day of the month,
    a month of the year, each with an interval (RFC 5545, 3.3.10).
    """
    parts = dict(part.split("=") for part in rule.text.split(";"))
    step = int(parts.pop("INTERVAL", "1"))
    parts.pop("WKST", None)
    shape = (parts.pop("FREQ"), tuple(sorted(parts)))
    match shape:
        case ("WEEKLY", ("BYDAY",)) if all(day in _DAYS for day in parts["BYDAY"].split(",")):
            days = " and ".join(calendar.day_name[_DAYS[d]] for d in parts["BYDAY"].split(","))
            return days if step == 1 else f"{step} weeks on {days}"
        case ("MONTHLY", ("BYDAY",)) if day_text := _numbered(parts["BYDAY"]):
            return f"{day_text} of the month" if step == 1 else f"{step} months on the {day_text}"
        case ("MONTHLY", ("BYMONTHDAY",)) if parts["BYMONTHDAY"].isdigit():
            day_text = f"day {parts['BYMONTHDAY']}"
            return f"{day_text} of the month" if step == 1 else f"{step} months on {day_text}"
        case ("YEARLY", ("BYDAY", "BYMONTH")) if (
            (day_text := _numbered(parts["BYDAY"])) and parts["BYMONTH"].isdigit() and step == 1
        ):
            return f"{day_text} of {calendar.month_name[int(parts['BYMONTH'])]}"
        case _:
            return str(rule)


def _numbered(by_day: str) -> str:
    """`2MO` as `second Monday`; nothing for other shapes."""
    number, day = by_day[:-2], by_day[-2:]
    try:
        ordinal = _ORDINALS.get(int(number), "")
    except ValueError:
        return ""
    return f"{ordinal} {calendar.day_name[_DAYS[day]]}" if ordinal and day in _DAYS else ""


def format_task_cycle(task: Task) -> str:
    counted = "" if task.counts_from == "last-done" else ", on the calendar"
    return f"{format_interval(task.every)}{counted}"


def format_machine_kind(kind: str, units: Units) -> str:
    """`tire dresser`, `tyre dresser`: in the English that goes with the units."""
    words = kind.replace("-", " ")
    return words.replace("tyre", "tire") if units is Units.US else words


def format_use(ledger: Ledger, part: str, amount: Amount) -> str:
    """`5 strokes of Grease`: what a task uses at each place."""
    name = ledger.parts[part].name if part in ledger.parts else part
    return f"{format_number(amount.quantity)} {amount.unit} of {name}"


def format_state(due: Due) -> str:
    match due.state:
        case State.OVERDUE:
            return f"overdue by {format_count(due.overdue_days, 'day')}"
        case State.UNKNOWN:
            return "no meter reading to count from"
        case _:
            return str(due.state)


def machine_page(machine: str) -> str:
    return f"machines/{machine}.md"


def lockout_sheet_page(machine: str) -> str:
    return f"lockout/{machine}.md"


def machine_year_page(machine: str, year: int) -> str:
    """Where a closed year of a machine's history stands."""
    return f"machines/{machine}/{year}.md"


def year_links(years: Sequence[int], page_of: Callable[[int], str]) -> Sequence[str | Link]:
    """`2025, 2024`, each a link to its page."""
    links = [Link(str(year), page_of(year)) for year in years]
    return [part for link in links for part in (", ", link)][1:]


def machine_link(machine: Machine) -> Link:
    return Link(machine.name, machine_page(machine.ident))


def photo_links(photos: Sequence[str]) -> tuple[str | Link, ...]:
    """` [photo]`, ` [photo 2]`: links to the pictures, which lie beside the book."""
    return tuple(
        part
        for number, path in enumerate(photos, start=1)
        for part in (" ", Link(f"photo {number}" if number > 1 else "photo", f"../{path}"))
    )


def place_link(ledger: Ledger, place: Place) -> Link:
    return Link(ledger.place_name(place), machine_page(place.machine))


def format_point(ledger: Ledger, place: Place) -> str:
    """The point's own name, without its machine's; nothing for a machine as a whole."""
    point = ledger.point(place)
    return point.name if point else ""


def task_link(task: Task) -> Link:
    return Link(task.title, f"tasks/{task.ident}.md")


def entry_link(ledger: Ledger, ref: EntryRef) -> Link | str:
    """A link to the page of the machine in whose history the entry stands; plain where none."""
    entry = ledger.entry.get(ref.whole)
    if entry is None or entry.place is None:
        return str(ref)
    machine, year = entry.place.machine, entry.day.year
    is_closed = year < last_day_filed(ledger).year
    return Link(str(ref), machine_year_page(machine, year) if is_closed else machine_page(machine))


def in_words(words: Sequence[str]) -> str:
    """`a, b and c`."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def pointer(group: str) -> Paragraph:
    """The line of a page that leads to its group of methods."""
    to = f"{METHODS_PAGE}#{anchor_of(group)}"
    return Paragraph(("Formulas and sources: ", Link(METHODS_TITLE.lower(), to), "."))


_STATES = {
    "●": (
        "in band; good; tension good; returns without bouncing; sound; within its limit; as wanted"
    ),
    "◆": "out of band; water out of band; beyond its duty",
    "○": "cannot tell",
    "■": "overdue; instrument overdue; training due",
    "□": "not done",
    "≠": "set otherwise; not as approved; does not hold",
    "✱": "finding; now",
    "↻": "fails again and again",
    "…": "to approve or refuse; to approve properly or put back",
    "?": "to confirm; readings in doubt",
    "+": "to order",
    "⊂": "tied back",
}
"""By the shape of the states; what is worn, slack or near its limit has the shape below."""

_SHAPES = {state: shape for shape, states in _STATES.items() for state in states.split("; ")}

_WEARS = "↘"


def marked(state: str, text: str = "") -> str:
    """`◆ out of band`; with `text` the shape of the state before other words, as `■ 3 overdue`.

    What follows a colon in a state says what to do, and has no part in its shape.
    """
    shape = _SHAPES.get(state.partition(":")[0].lower(), _WEARS)
    return f"{shape}\N{NO-BREAK SPACE}{text or state}"
