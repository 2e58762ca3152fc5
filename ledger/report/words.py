"""How the book words dates, amounts, places and people; one place, so pages speak alike."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime

from ledger.compute.recurrence import Calendar, Interval, Rule, Unit
from ledger.compute.rounding import GPM_PLACES, LPM_PLACES, fixed, shown, significant
from ledger.compute.schedule import Due, State
from ledger.compute.speed import Speed
from ledger.compute.units import convert
from ledger.model.ledger import Ledger
from ledger.model.machines import Absence, Machine
from ledger.model.references import EntryRef, Place
from ledger.model.setpoints import Change
from ledger.model.site import Closure, Person, Site, Units
from ledger.model.tasks import Task
from ledger.report import plain
from ledger.report.blocks import Link
from ledger.report.rule_words import rule_words

NONE = plain.NONE
count_words = plain.count_words
person_words = plain.person_words

RPM_PLACES = 2
"""Decimals of a shaft's speed at most: more are of no use to anybody at the machine."""

_EVERY_ONE = {
    Unit.DAY: "daily",
    Unit.WEEK: "weekly",
    Unit.MONTH: "monthly",
    Unit.YEAR: "yearly",
}

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


def day_words(day: date) -> str:
    return day.isoformat()


def long_day(day: date) -> str:
    return f"{day.isoformat()} ({day:%A})"


def as_of_words(day: date) -> str:
    """The first line of a page that depends on the day: from when it looks, and what it knows."""
    return f"As of {long_day(day)}: what was filed and approved by the end of that day."


def time_words(when: datetime, site: Site) -> str:
    """Local date and time of an instant."""
    return f"{when.astimezone(site.zone):%Y-%m-%d %H:%M}"


def closure_words(closure: Closure) -> str:
    """`on 2026-11-26`, or `from 2026-02-09 to 2026-02-11`."""
    first = day_words(closure.first)
    if closure.last == closure.first:
        return f"on {first}"
    return f"from {first} to {day_words(closure.last)}"


def absence_words(absence: Absence) -> str:
    """`from 2026-08-01`, or `from 2026-08-01 to 2026-08-14`."""
    until = "" if absence.last is None else f" to {day_words(absence.last)}"
    return f"from {day_words(absence.first)}{until}"


def month_words(month: date) -> str:
    return f"{month:%Y-%m}"


def minutes_words(minutes: float) -> str:
    """`45 min`, `2 h 05 min`; a minute at least, for work that takes seconds."""
    whole = max(1, round(minutes)) if minutes > 0 else 0
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60:02d} min"


def speed_words(speed: Speed) -> str:
    """`76.0 ± 2.2`, in r/min: the digits its uncertainty supports, two decimals at most."""
    return shown(speed.rpm, speed.expanded(), most_places=RPM_PLACES)


def range_words(low: float, high: float) -> str:
    """`75–85`; limits between stated ones keep three digits."""
    return f"{float(significant(low, 3)):g}–{float(significant(high, 3)):g}"


def number_words(value: float) -> str:
    """A recorded number as typed, without a trailing `.0`."""
    return f"{value:.10g}"


def flow_words(flow_lpm: float, site: Site) -> str:
    if site.units is Units.US:
        return f"{fixed(convert(flow_lpm, 'l_min', 'gpm'), GPM_PLACES)} gpm"
    return f"{fixed(flow_lpm, LPM_PLACES)} L/min"


def setting_words(value: float, unit: str, site: Site) -> str:
    """A drive's setting in the site's units: `44.5 Hz`, `4.20 gpm`."""
    return f"{number_words(value)} Hz" if unit == "Hz" else flow_words(value, site)


def change_words(change: Change, site: Site) -> str:
    return setting_words(change.value, change.unit, site)


def interval_words(every: Iterable[Interval]) -> str:
    """`weekly`, `every 2 weeks`, or `monthly or every 250 hours, the first to come`."""
    said: list[str] = []
    for one in every:
        word = _one_interval(one)
        # One `every` is enough for those that follow it.
        repeated = bool(said) and said[-1].startswith("every ")
        said.append(word.removeprefix("every ") if repeated else word)
    joined = " or ".join(said)
    return f"{joined}, the first to come" if len(said) > 1 else joined


def _one_interval(one: Interval) -> str:
    if isinstance(one, Rule):
        return f"every {rule_words(one)}"
    if isinstance(one, Calendar) and one.count == 1:
        return _EVERY_ONE[one.unit]
    return f"every {one}"


def task_cycle_words(task: Task) -> str:
    counted = "" if task.counts_from == "last-done" else ", on the calendar"
    return f"{interval_words(task.every)}{counted}"


def state_words(due: Due) -> str:
    match due.state:
        case State.OVERDUE:
            return f"overdue by {count_words(due.overdue_days, 'day')}"
        case State.UNKNOWN:
            return "no meter reading to count from"
        case _:
            return str(due.state)


def person_and_roles(person: Person) -> str:
    """`P. Dunmarsh (technician, electrician)`."""
    return f"{person.name} ({', '.join(person.roles)})" if person.roles else person.name


def people_words(idents: Sequence[str], site: Site) -> str:
    return ", ".join(person_words(ident, site) for ident in idents)


def machine_page(machine: str) -> str:
    return f"machines/{machine}.md"


def machine_link(machine: Machine) -> Link:
    return Link(machine.name, machine_page(machine.ident))


def place_link(ledger: Ledger, place: Place) -> Link:
    return Link(ledger.place_name(place), machine_page(place.machine))


def point_words(ledger: Ledger, place: Place) -> str:
    """The point's own name, without its machine's; nothing for a machine as a whole."""
    point = ledger.point(place)
    return point.name if point else ""


def task_link(task: Task) -> Link:
    return Link(task.title, f"tasks/{task.ident}.md")


def entry_link(ledger: Ledger, ref: EntryRef) -> Link | str:
    """A link to the page of the machine in whose history the entry stands; plain where none."""
    entry = ledger.entry.get(ref)
    if entry is None or entry.place is None:
        return str(ref)
    return Link(str(ref), machine_page(entry.place.machine))


def in_words(words: Sequence[str]) -> str:
    """`a, b and c`."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"
