"""A figure worked out of readings: its value and uncertainty, or what the record lacks for it."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from datetime import date
from enum import StrEnum
from functools import cached_property
from typing import Any

from ledger.compute.band import Band, Verdict, verdict
from ledger.compute.meter import MeterLog
from ledger.compute.numbers import Estimate
from ledger.model.ledger import Ledger
from ledger.model.machines import InjectorRating, Machine, Rating
from ledger.model.meters import vehicle_log
from ledger.model.readings import ReadingKind
from ledger.model.references import EntryRef, Place
from ledger.model.visits import Entry
from ledger.values import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One number, or in `lacking` why it cannot be said; `unit` as the SI writes it.

    `day` is that of its last reading, or the first of the month it is about. Where there is a
    `band`, the verdict says whether the true value lies in it.
    """

    group: StrEnum
    name: str
    unit: str
    place: Place | None = None
    found: Estimate | None = None
    lacking: str = ""
    band: Band | None = None
    day: date | None = None
    evidence: tuple[EntryRef, ...] = ()

    @property
    def verdict(self) -> Verdict | None:
        if self.found is None or self.band is None:
            return None
        return verdict(self.found.value, self.found.u, self.band)


class LackingError(ValueError):
    """What is not on record, in the words of a person."""


@dataclass(slots=True)
class Lookup:
    """The record as one figure asks it, on `day` if stated; `used` are the entries that answer."""

    record: "Record"
    day: date | None = None
    used: list[Entry] = field(default_factory=list)

    def all_of(self, place: Place, kind: ReadingKind[Any]) -> list[Entry]:
        found = self.record.read(place, kind)
        return [one for one in found if self.day is None or one.day == self.day]

    def entry(self, place: Place | None, kind: ReadingKind[Any], where: str) -> Entry:
        found = self.all_of(place, kind) if place else []
        if not found:
            on = f" on {self.day}" if self.day else ""
            raise LackingError(f"no {kind.title.lower()} of {where}{on}")
        self.used.append(found[-1])
        return found[-1]

    def last(self, place: Place | None, kind: ReadingKind[float], where: str) -> Estimate:
        return estimate_of(self.entry(place, kind, where), kind)


def estimate_of(entry: Entry, kind: ReadingKind[float]) -> Estimate:
    value = entry.readings[kind]
    if value is None or kind.read_to is None:
        raise LackingError(f"no {kind.title.lower()}")
    least, share = kind.read_to
    return Estimate(value=value, u=max(least, share * abs(value)))


class Record:
    """The readings of a ledger by place and kind, in order of time.

    `at` gives the ledger of each machine that is read.
    """

    def __init__(self, ledger: Ledger, at: Callable[[str], Ledger] | None = None) -> None:
        self.ledger = ledger
        self.at = at or ledger.of_machine
        self._read: dict[str, dict[tuple[Place, str], list[Entry]]] = {}

    @cached_property
    def vehicles(self) -> MeterLog:
        return vehicle_log(self.ledger)

    def read(self, place: Place, kind: ReadingKind[Any]) -> list[Entry]:
        """The readings of a kind at a place."""
        if place.machine not in self._read:
            found: dict[tuple[Place, str], list[Entry]] = defaultdict(list)
            for entry in self.at(place.machine).detailed_here:
                for word in entry.readings.by_word if entry.place else ():
                    if entry.place is not None:
                        found[entry.place, word].append(entry)
            self._read[place.machine] = found
        return self._read[place.machine].get((place, kind.word), [])

    def figure(
        self,
        group: StrEnum,
        name: str,
        unit: str,
        work: Callable[[Lookup], Estimate],
        *,
        place: Place | None = None,
        band: Band | None = None,
        day: date | None = None,
    ) -> Figure:
        """The figure that some work on the record gives, or what it lacks."""
        lookup = Lookup(self, day)
        found, lacking = None, ""
        try:
            found = work(lookup)
        except LackingError as why:
            lacking = str(why)
        except ValueError:
            lacking = "the readings give no answer"
        days = [entry.day for entry in lookup.used]
        return Figure(
            group=group,
            name=name,
            unit=unit,
            place=place,
            found=found,
            lacking=lacking,
            band=band,
            day=max(days, default=day),
            evidence=tuple(dict.fromkeys(entry.ref for entry in lookup.used)),
        )


def by_group(groups: type[StrEnum], figures: Iterable[Figure]) -> tuple[Figure, ...]:
    """In the order of the groups, and within one as they come."""
    rank = {group: number for number, group in enumerate(groups)}
    return tuple(sorted(figures, key=lambda figure: rank[figure.group]))


def rated(machine: Machine, rating: type[Rating]) -> Iterator[tuple[Place, Any]]:
    """The points of a machine that have numbers of a kind."""
    for point in machine.points.values():
        if isinstance(point.rating, rating):
            yield Place(machine.ident, point.ident), point.rating


def leans_on(ledger: Ledger, machine: Machine) -> tuple[str, ...]:
    """The other machines that its figures are worked out from: drums, and what it feeds."""
    drums = [of.drum.machine for _, of in rated(machine, InjectorRating) if of.drum is not None]
    fed = [one.ident for one in ledger.machines.values() if one.fed_by == machine.ident]
    return tuple(dict.fromkeys(one for one in (*drums, *fed) if one != machine.ident))
