"""Recurring work."""

import re
from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from datetime import date, timedelta
from enum import StrEnum
from typing import Self

from ledger.compute.recurrence import Interval
from ledger.compute.schedule import CountsFrom
from ledger.model.readings import KEYS_OF_READING
from ledger.model.references import Place
from ledger.values import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """An amount of a part and its unit as the task states it, such as 3 strokes."""

    quantity: float
    unit: str

    @classmethod
    def parse(cls, text: str) -> Self:
        quantity, _, unit = text.partition(" ")
        return cls(quantity=float(quantity), unit=unit)


BY_LAW = frozenset({"law", "code"})

NEVER, NOT_KNOWN = "never", "not-known"

_WEEK = re.compile(r"\d{4}-W\d\d")


@dataclass(frozen=True, slots=True, kw_only=True)
class Remembered:
    """When work was last done before the record began, as somebody remembers it.

    On one day from `first` to `last`; both are None where it was never done or nobody knows, and
    `text` tells which.
    """

    text: str
    first: date | None = None
    last: date | None = None


def remembered(text: str) -> Remembered:
    """The meaning of a day, week, month or year by ISO 8601, of `never` and of `not-known`.

    Raises ValueError for a day or week that the calendar does not have.
    """
    if text in {NEVER, NOT_KNOWN}:
        return Remembered(text=text)
    if _WEEK.fullmatch(text):
        first = date.fromisoformat(text)
        return Remembered(text=text, first=first, last=first + timedelta(days=6))
    year, *rest = (int(part) for part in text.split("-"))
    first = date(year, *rest, *(1, 1)[len(rest) :])
    day_after = {0: date(year + 1, 1, 1), 1: (first + timedelta(days=31)).replace(day=1)}
    last = day_after[len(rest)] - timedelta(days=1) if len(rest) in day_after else first
    return Remembered(text=text, first=first, last=last)


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What is asked at a place drawn by lot; an answer of `wrong` is a finding."""

    question: str
    fine: tuple[str, ...]
    wrong: tuple[str, ...]


class When(StrEnum):
    """The pass of the day to which work belongs, in the order of the day."""

    BEFORE_OPENING = "before-opening"
    RUNNING = "running"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """`places` is what the task selects, resolved and in walking order.

    `last_done` is what is remembered from before the record began, by place.

    By `like` it is matched with tasks of other sites.

    `hours_meter` names the site's meter that an interval in hours counts by.
    """

    ident: str
    title: str
    places: tuple[Place, ...]
    every: tuple[Interval, ...]
    short: str = ""
    like: str = ""
    when: When = When.RUNNING
    hours_meter: str = ""
    counts_from: CountsFrom = CountsFrom.LAST_DONE
    starts: date | None = None
    ends: date | None = None
    window_days: int = 0
    lockout: bool = False
    inspects_lockout: bool = False
    qualified: frozenset[str] = frozenset()
    minutes: float | None = None
    uses: Mapping[str, Amount] = field(default_factory=dict)
    covers: tuple[str, ...] = ()
    reads: tuple[str, ...] = ()
    basis: str = "own"
    state_basis: str = ""
    cite: str = ""
    where: str = ""
    cite_read: date | None = None
    safety: bool = False
    cautions: tuple[str, ...] = ()
    asks: Question | None = None
    steps: str = ""
    formerly: tuple[str, ...] = ()
    last_done: Mapping[Place, Remembered] = field(default_factory=dict)

    @property
    def brief(self) -> str:
        """The task in a word or two where its file has them."""
        return self.short or self.title

    @property
    def names_law(self) -> bool:
        """Whether its file says that law or code asks for the state or sets the interval."""
        return not BY_LAW.isdisjoint({self.basis, self.state_basis})

    @property
    def is_by_law(self) -> bool:
        """Whether the law or code that its file names is cited too."""
        return self.names_law and bool(self.cite)

    @property
    def needs(self) -> frozenset[str]:
        """Every qualification that a person needs to do the work."""
        return self.qualified | {"lockout"} if self.lockout else self.qualified

    def in_use(self, day: date) -> bool:
        return (self.starts is None or self.starts <= day) and (
            self.ends is None or day <= self.ends
        )

    def missing_readings(self, keys: AbstractSet[str], *, can_be_set: bool) -> tuple[str, ...]:
        """What the task asks for and an entry with such keys does not hold, in the task's order.

        A setting is asked for only where the drive can be set.
        """
        return tuple(
            reads
            for reads in self.reads
            if keys.isdisjoint(KEYS_OF_READING[reads]) and (reads != "setting" or can_be_set)
        )
