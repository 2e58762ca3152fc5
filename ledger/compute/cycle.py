"""How a task comes round at a point: its intervals, its window and the days a site is open."""

import re
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from ledger.compute.meter import MeterLog
from ledger.compute.operating_days import OperatingCalendar
from ledger.compute.recurrence import Interval, parse_interval


class CountsFrom(StrEnum):
    """Whether calendar intervals roll from the last time done or stand on the calendar."""

    LAST_DONE = "last-done"
    CALENDAR = "calendar"


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Days a task may be done before and after its due date."""

    early_days: int = 0
    late_days: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """How one task comes round at one point.

    `in_service` is the day from which an undone task counts; `anchor` starts the fixed dates,
    which count it as their first, and is a rule's DTSTART.
    """

    intervals: tuple[Interval, ...]
    in_service: date
    anchor: date
    counts_from: CountsFrom = CountsFrom.LAST_DONE
    window: Window = Window()
    operating: OperatingCalendar = field(default_factory=OperatingCalendar)


@dataclass(frozen=True, slots=True, kw_only=True)
class Meters:
    """The logs that meter intervals count by; read only up to the as-of day."""

    vehicles: MeterLog = field(default_factory=MeterLog)
    hours: MeterLog = field(default_factory=MeterLog)


def parse_window(text: str) -> Window:
    """A window of so many days or weeks on both sides of the due date, from `2 days`.

    `0 days` is the due date alone. Raises ValueError for other units and other words.
    """
    if re.fullmatch(r"0 days?", text.strip().lower()):
        return Window()
    try:
        width = parse_interval(text)
    except ValueError:
        width = None
    if width is None or width.unit not in {"day", "week"}:
        raise ValueError(f"{text!r} is not a window: write days or weeks, as in `2 days`, `1 week`")
    days = width.count * (7 if width.unit == "week" else 1)
    return Window(early_days=days, late_days=days)
