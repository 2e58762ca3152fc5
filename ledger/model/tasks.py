"""Recurring work."""

from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from datetime import date

from ledger.compute.recurrence import Interval
from ledger.compute.schedule import CountsFrom
from ledger.model.readings import KEYS_OF_READING
from ledger.model.references import Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """An amount of a part and its unit as the task states it, such as 2 strokes."""

    quantity: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """`places` is what the task selects, resolved and in walking order.

    `hours_meter` names the site's meter that an interval in hours counts by.
    """

    ident: str
    title: str
    places: tuple[Place, ...]
    every: tuple[Interval, ...]
    hours_meter: str = ""
    counts_from: CountsFrom = CountsFrom.LAST_DONE
    starts: date | None = None
    ends: date | None = None
    window_days: int = 0
    lockout: bool = False
    qualified: frozenset[str] = frozenset()
    minutes: float | None = None
    uses: Mapping[str, Amount] = field(default_factory=dict)
    covers: tuple[str, ...] = ()
    reads: tuple[str, ...] = ()
    basis: str = "practice"
    cautions: tuple[str, ...] = ()
    steps: str = ""

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
