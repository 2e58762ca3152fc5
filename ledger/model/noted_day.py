"""What the whole record says, noting what of it was asked for.

A day notes on which other days all that was asked of it would be answered alike.

What is worked out of a record that ends on a day mostly asks whether the day lies before or after
another. It then holds for as long as each of these answers does, and not for that day alone.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from typing import Any


class Noted:
    """The days, as ordinals from `first` to `last`, on which all answers would be the same.

    `asked_meters` where a meter was asked for.
    """

    def __init__(self) -> None:
        self.asked_meters = False
        self.first = date.min.toordinal()
        self.last = date.max.toordinal()

    def between(self, first: int, last: int) -> None:
        """No day but these gives the answer that was just given."""
        self.first = max(self.first, first)
        self.last = min(self.last, last)


class NotedMeters(Mapping[str, Sequence[tuple[date, float]]]):
    """The readings of the meters, noting that they were asked for."""

    def __init__(self, meters: Mapping[str, Sequence[tuple[date, float]]], noted: Noted) -> None:
        self._meters, self._noted = meters, noted

    def __getitem__(self, meter: str) -> Sequence[tuple[date, float]]:
        self._noted.asked_meters = True
        return self._meters[meter]

    def __iter__(self) -> Iterator[str]:
        self._noted.asked_meters = True
        return iter(self._meters)

    def __len__(self) -> int:
        self._noted.asked_meters = True
        return len(self._meters)


class NotedDay(date):
    """A day like any other, `ahead` days after the one that is noted.

    Comparisons, shifts and its year narrow the days in `noted` as far as they have to; whatever
    else is asked of it holds for this one day.
    """

    __slots__ = ("_ahead", "_noted")
    _noted: Noted
    _ahead: int

    def __new__(cls, day: date, noted: Noted, ahead: int = 0) -> "NotedDay":  # noqa: PYI034
        self = date.__new__(cls, day.year, day.month, day.day)
        self._noted, self._ahead = noted, ahead
        return self

    def _hold(self, first: int | None, last: int | None) -> None:
        self._noted.between(
            self._noted.first if first is None else first - self._ahead,
            self._noted.last if last is None else last - self._ahead,
        )

    def _pinned(self) -> date:
        """The plain day, which from now on is the only one."""
        plain = date.fromordinal(date.toordinal(self))
        self._hold(plain.toordinal(), plain.toordinal())
        return plain

    def _is_before(self, other: date, *, or_same: bool) -> bool:
        """Whether this day lies before the other; either answer holds on one side of it."""
        if isinstance(other, NotedDay):
            # Days of one source lie as far apart on any day.
            if other._noted is not self._noted:  # noqa: SLF001
                self._pinned()
                other._pinned()  # noqa: SLF001
            other = date.fromordinal(date.toordinal(other))
            return date.__lt__(self, other) or (or_same and date.__eq__(self, other))
        edge = other.toordinal() if or_same else other.toordinal() - 1
        is_before = date.toordinal(self) <= edge
        self._hold(*((None, edge) if is_before else (edge + 1, None)))
        return is_before

    def __lt__(self, other: date) -> bool:
        return self._is_before(other, or_same=False)

    def __le__(self, other: date) -> bool:
        return self._is_before(other, or_same=True)

    def __gt__(self, other: date) -> bool:
        return not self._is_before(other, or_same=True)

    def __ge__(self, other: date) -> bool:
        return not self._is_before(other, or_same=False)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, date):
            return NotImplemented
        return self <= other and self >= other

    def __ne__(self, other: object) -> bool:
        return not self == other

    def __hash__(self) -> int:
        return hash(self._pinned())

    def __add__(self, other: timedelta) -> "NotedDay":
        shifted = date.fromordinal(date.toordinal(self) + other.days)
        return NotedDay(shifted, self._noted, self._ahead + other.days)

    __radd__ = __add__

    def __sub__(self, other: Any) -> Any:
        if isinstance(other, timedelta):
            return self + -timedelta(days=other.days)
        return self._pinned() - other

    def __rsub__(self, other: date) -> timedelta:
        return other - self._pinned()

    @property
    def year(self) -> int:
        year = date.fromordinal(date.toordinal(self)).year
        self._hold(date(year, 1, 1).toordinal(), date(year, 12, 31).toordinal())
        return year

    def __reduce__(self) -> Any:
        return self._pinned().__reduce__()


def _of_the_day(name: str) -> property:
    """A part or a method of the day, which holds for this day alone."""
    return property(lambda self: getattr(self._pinned(), name))


for _name in (
    *("month", "day", "replace", "isoformat", "strftime", "toordinal", "weekday", "isoweekday"),
    *("isocalendar", "timetuple", "ctime", "__format__", "__str__", "__repr__"),
):
    setattr(NotedDay, _name, _of_the_day(_name))
