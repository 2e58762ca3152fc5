"""The days a site is open, for work that is due on open days only."""

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Closure:
    """A run of closed days, first and last included."""

    first: date
    last: date


@dataclass(frozen=True, slots=True, kw_only=True)
class OperatingCalendar:
    """The open weekdays (ISO 8601: Monday 1 to Sunday 7) less the closures.

    Raises ValueError where no weekday is open, a weekday is not 1 to 7, or a closure ends
    before it begins.
    """

    open_weekdays: frozenset[int] = frozenset(range(1, 8))
    closures: tuple[Closure, ...] = ()
    _firsts: tuple[date, ...] = field(init=False, repr=False, compare=False)
    _lasts: tuple[date, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if not self.open_weekdays or not self.open_weekdays <= frozenset(range(1, 8)):
            raise ValueError("open weekdays are one or more of 1 (Monday) to 7 (Sunday)")
        if any(closure.last < closure.first for closure in self.closures):
            raise ValueError("a closure ends before it begins")
        merged = _merged(self.closures)
        object.__setattr__(self, "_firsts", tuple(first for first, _ in merged))
        object.__setattr__(self, "_lasts", tuple(last for _, last in merged))

    def is_open(self, day: date) -> bool:
        return day.isoweekday() in self.open_weekdays and self._closure_of(day) is None

    def last_open_on_or_before(self, day: date) -> date | None:
        """None where no open day is left before the year 1."""
        while True:
            closure = self._closure_of(day)
            if closure is None and day.isoweekday() in self.open_weekdays:
                return day
            before = day if closure is None else closure[0]
            if before == date.min:
                return None
            day = before - _DAY

    def first_open_after(self, day: date) -> date | None:
        """None where no open day is left before the year 10000."""
        while day < date.max:
            day += _DAY
            closure = self._closure_of(day)
            if closure is not None:
                day = closure[1]
            elif day.isoweekday() in self.open_weekdays:
                return day
        return None

    def _closure_of(self, day: date) -> tuple[date, date] | None:
        place = bisect_right(self._firsts, day) - 1
        if place < 0 or self._lasts[place] < day:
            return None
        return self._firsts[place], self._lasts[place]


def _merged(closures: Iterable[Closure]) -> list[tuple[date, date]]:
    merged: list[tuple[date, date]] = []
    for first, last in sorted((closure.first, closure.last) for closure in closures):
        if merged and first <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(last, merged[-1][1]))
        else:
            merged.append((first, last))
    return merged
