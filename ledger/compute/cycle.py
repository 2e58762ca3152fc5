"""How a task comes round at a point: its intervals, its window and the days a site is open."""

from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from ledger.compute.meter import MeterLog
from ledger.compute.operating_days import OperatingCalendar
from ledger.compute.recurrence import Interval


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
