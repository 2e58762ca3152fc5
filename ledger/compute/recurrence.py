"""How often work comes round: by the calendar, by a meter, or by an RFC 5545 rule."""

import calendar
import math
import re
from bisect import bisect_right
from datetime import MAXYEAR, date, datetime, timedelta
from enum import StrEnum
from functools import lru_cache
from typing import ClassVar

from dateutil.rrule import rrulestr

from ledger.values import dataclass


class Unit(StrEnum):
    """A calendar unit; months and years are those of the proleptic Gregorian calendar."""

    DAY = "day"
    WEEK = "week"
    MONTH = "month"
    YEAR = "year"


@dataclass(frozen=True, slots=True, kw_only=True)
class Calendar:
    """Every `count` units of the calendar."""

    count: int
    unit: Unit

    def __post_init__(self) -> None:
        _need_positive(self.count)

    def __str__(self) -> str:
        return _counted(self.count, self.unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Metered:
    count: float

    noun: ClassVar[str]

    def __post_init__(self) -> None:
        _need_positive(self.count)

    def __str__(self) -> str:
        return _counted(self.count, self.noun)


class Vehicles(_Metered):
    """Every `count` vehicles washed."""

    __slots__ = ()
    noun = "vehicle"


class Hours(_Metered):
    """Every `count` running hours."""

    __slots__ = ()
    noun = "hour"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """On the dates of an RFC 5545 RRULE value whose DTSTART is the anchor; dates only."""

    text: str

    def __str__(self) -> str:
        return f"rule {self.text}"


Interval = Calendar | Vehicles | Hours | Rule


_INTERVAL = re.compile(r"([0-9]{1,5}) (day|week|month|year)s?")

_RULE_PARTS = frozenset(
    "FREQ INTERVAL COUNT UNTIL WKST BYDAY BYMONTH BYMONTHDAY BYYEARDAY BYWEEKNO BYSETPOS".split()
)

_FREQUENCIES = frozenset({"DAILY", "WEEKLY", "MONTHLY", "YEARLY"})

_UNTIL = re.compile(r"([0-9]{8})(T[0-9]{6}Z?)?")

_POSITIVE = re.compile(r"[1-9][0-9]{0,5}")


# In days for the units of days, in months for the others.
_LENGTHS = {Unit.DAY: 1, Unit.WEEK: 7, Unit.MONTH: 1, Unit.YEAR: 12}

_OF_DAYS = frozenset({Unit.DAY, Unit.WEEK})


# A leap day on a given weekday can be 40 years away where a century year is not a leap year.
_LONGEST_GAP_YEARS = 40


def parse_interval(text: str) -> Calendar:
    """A calendar interval from words such as `1 week`, `2 weeks`, `1 month`, `90 days`.

    Raises ValueError, with what was expected, for anything else and for a count of zero.
    """
    found = _INTERVAL.fullmatch(text.strip().lower())
    if found is None:
        raise ValueError(
            f"{text!r} is not an interval: write a whole number and day, week, month or year, "
            "as in `1 week`, `2 weeks`, `90 days`"
        )
    count = int(found[1])
    if count == 0:
        raise ValueError(f"{text!r} is not an interval: the count must be at least 1")
    return Calendar(count=count, unit=Unit(found[2]))


def parse_rule(text: str) -> Rule:
    """An RFC 5545 recurrence rule (section 3.3.10), with or without the leading `RRULE:`.

    The rule is by date: a time in UNTIL is dropped, and frequencies and parts finer than a day
    are refused. The anchor is the DTSTART, so none may be written. Raises ValueError with the
    part at fault, also for a rule that never falls on any day, such as 30 February.
    """
    stripped = text.strip().upper().removeprefix("RRULE:")
    parts: dict[str, str] = {}
    for part in stripped.split(";"):
        name, _, value = part.partition("=")
        if not value:
            raise ValueError(f"{part!r} is not a rule part: expected NAME=value, as in FREQ=WEEKLY")
        if name not in _RULE_PARTS:
            raise ValueError(f"rule part {name!r} is not one of {', '.join(sorted(_RULE_PARTS))}")
        if name in parts:
            raise ValueError(f"rule part {name} is given twice")
        parts[name] = value
    if parts.get("FREQ") not in _FREQUENCIES:
        raise ValueError(f"a rule needs FREQ, one of {', '.join(sorted(_FREQUENCIES))}")
    for name in ("INTERVAL", "COUNT"):
        # dateutil never returns from an interval of zero.
        if name in parts and _POSITIVE.fullmatch(parts[name]) is None:
            raise ValueError(f"{name} must be a whole number from 1, not {parts[name]!r}")
    if "UNTIL" in parts:
        until = _UNTIL.fullmatch(parts["UNTIL"])
        if until is None:
            raise ValueError(f"UNTIL must be a date as in 20261231, not {parts['UNTIL']!r}")
        parts["UNTIL"] = until[1]
    rule = Rule(text=";".join(f"{name}={value}" for name, value in parts.items()))
    endless = ";".join(f"{n}={v}" for n, v in parts.items() if n not in {"COUNT", "UNTIL"})
    try:
        never = not _dates(endless, date(2000, 1, 1), 2000 + _LONGEST_GAP_YEARS)
        _dates(rule.text, date(2000, 1, 1), 2000)
    except (ValueError, TypeError) as wrong:
        raise ValueError(f"{stripped!r} is not an RFC 5545 rule: {wrong}") from wrong
    if never:
        raise ValueError(f"{stripped!r} never falls on any day")
    return rule


def is_daily(interval: Interval) -> bool:
    """Whether the interval is one day, so that its work belongs to the days a site is open."""
    if isinstance(interval, Calendar):
        return interval.count == 1 and interval.unit is Unit.DAY
    if isinstance(interval, Rule):
        parts = dict(part.split("=") for part in interval.text.split(";"))
        return (
            parts["FREQ"] == "DAILY"
            and parts.get("INTERVAL", "1") == "1"
            and not any(name.startswith("BY") for name in parts)
        )
    return False


def nth_date(interval: Calendar, anchor: date, n: int) -> date | None:
    """The anchor plus `n` intervals, counted from the anchor itself; None past the year 9999.

    A month without the anchor's day takes its last day, and the next month returns to the
    anchor's day: 31 January gives 29 February, then 31 March. (An RFC 5545 MONTHLY rule from
    the 31st skips short months instead, section 3.3.10.)
    """
    length = interval.count * _LENGTHS[interval.unit]
    if interval.unit in _OF_DAYS:
        is_held = length * n <= date.max.toordinal() - anchor.toordinal()
        return anchor + timedelta(days=length * n) if is_held else None
    year, month0 = divmod(anchor.year * 12 + anchor.month - 1 + length * n, 12)
    if year > MAXYEAR:
        return None
    last_day = calendar.monthrange(year, month0 + 1)[1]
    return date(year, month0 + 1, min(anchor.day, last_day))


def first_n_after(interval: Calendar, anchor: date, after: date) -> int:
    """The least n >= 0 whose `nth_date` is later than `after`."""
    if after < anchor:
        return 0
    length = interval.count * _LENGTHS[interval.unit]
    if interval.unit in _OF_DAYS:
        return (after - anchor).days // length + 1
    n = ((after.year - anchor.year) * 12 + after.month - anchor.month) // length
    reached = nth_date(interval, anchor, n)
    return n + 1 if reached is not None and reached <= after else n


def rule_neighbours(rule: Rule, anchor: date, after: date) -> tuple[date | None, date | None]:
    """The rule's last date on or before `after` and its first date later than `after`.

    Either is None where the rule has no such date (looked for up to 40 years ahead).
    """
    for years_ahead in (2, _LONGEST_GAP_YEARS):
        dates = _dates(rule.text, anchor, min(after.year + years_ahead, MAXYEAR))
        place = bisect_right(dates, after)
        if place < len(dates):
            return (dates[place - 1] if place else None), dates[place]
    return (dates[-1] if dates else None), None


@lru_cache(maxsize=512)
def _dates(text: str, anchor: date, through_year: int) -> tuple[date, ...]:
    """Every date of a rule up to a year's end; kept, for many points share a rule and anchor."""
    found: list[date] = []
    for instant in rrulestr(text, dtstart=datetime(anchor.year, anchor.month, anchor.day)):  # noqa: DTZ001
        if instant.year > through_year:
            break
        found.append(instant.date())
    return tuple(found)


def _need_positive(count: float) -> None:
    if not 0 < count < math.inf:
        raise ValueError(f"an interval's count must be more than zero, not {count}")


def _counted(count: float, noun: str) -> str:
    return f"{count:g} {noun}" if count == 1 else f"{count:.10g} {noun}s"
