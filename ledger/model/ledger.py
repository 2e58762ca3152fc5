"""The whole record of one site, frozen, with the few indexes that every page needs."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from ledger.model.machines import Machine, Point
from ledger.model.parts import Part
from ledger.model.references import EntryRef, Place
from ledger.model.setpoints import DriveSetpoints
from ledger.model.site import Site
from ledger.model.tasks import Task
from ledger.model.visits import Entry, Visit


@dataclass(frozen=True, kw_only=True)
class Ledger:
    """Machines are in walking order, tasks and parts by id, visits by time.

    Not slotted: the indexes are computed on first use and kept.
    """

    site: Site
    machines: Mapping[str, Machine]
    tasks: Mapping[str, Task]
    setpoints: Mapping[str, DriveSetpoints]
    parts: Mapping[str, Part]
    visits: tuple[Visit, ...]
    corrections: Mapping[EntryRef, Entry] = field(default_factory=dict)

    @cached_property
    def entries(self) -> tuple[Entry, ...]:
        """Every entry as filed, by time."""
        return tuple(entry for visit in self.visits for entry in visit.entries)

    @cached_property
    def entry(self) -> Mapping[EntryRef, Entry]:
        return {entry.ref: entry for entry in self.entries}

    @cached_property
    def path_of_visit(self) -> Mapping[str, str]:
        return {visit.ident: visit.path for visit in self.visits}

    @cached_property
    def standing(self) -> tuple[Entry, ...]:
        """The entries that hold: without those corrected later, each correction in their place.

        A correction counts at the time of what it corrects: the count was taken then, not when
        the slip was noticed. A void correction stands for nothing.
        """
        held = []
        for entry in self.entries:
            if entry.corrects is not None:
                continue
            last = self.last_word(entry)
            if last is entry:
                held.append(entry)
            elif not last.void:
                held.append(replace(last, when=entry.when, day=entry.day))
        return tuple(held)

    def last_word(self, entry: Entry) -> Entry:
        """The entry, or the last of the corrections that follow it."""
        while (later := self.corrections.get(entry.ref)) is not None:
            entry = later
        return entry

    def origin(self, entry: Entry) -> Entry:
        """The first entry of the chain of corrections that this one belongs to."""
        while entry.corrects is not None:
            entry = self.entry[entry.corrects]
        return entry

    def point(self, place: Place) -> Point | None:
        machine = self.machines.get(place.machine)
        return machine.points.get(place.point) if machine else None

    def place_name(self, place: Place) -> str:
        """The name people use: `Lower side brush, passenger: damper`."""
        machine = self.machines[place.machine]
        if not place.point:
            return machine.name
        return f"{machine.name}: {machine.points[place.point].name}"

    def standing_at(self, machine: str) -> Iterator[Entry]:
        """Standing entries that name the machine or a point of it, by time."""
        return iter(self._standing_by_machine.get(machine, ()))

    def filed_at(self, machine: str) -> tuple[Entry, ...]:
        """Entries as filed that name the machine, or that correct or close one which does."""
        return self._filed_by_machine.get(machine, ())

    @cached_property
    def _standing_by_machine(self) -> Mapping[str, tuple[Entry, ...]]:
        return _by_machine((entry, entry.places) for entry in self.standing)

    @cached_property
    def _filed_by_machine(self) -> Mapping[str, tuple[Entry, ...]]:
        return _by_machine(
            (entry, (*entry.places, *self.places_meant(entry))) for entry in self.entries
        )

    def places_meant(self, entry: Entry) -> tuple[Place, ...]:
        """The places of what the entry corrects or closes, which it need not name again."""
        places = () if entry.corrects is None else self.origin(entry).places
        closed = None if entry.closes is None else self.entry.get(entry.closes)
        return places if closed is None else (*places, *closed.places)


def _by_machine(
    found: Iterable[tuple[Entry, tuple[Place, ...]]],
) -> dict[str, tuple[Entry, ...]]:
    by_machine: dict[str, list[Entry]] = {}
    for entry, places in found:
        for machine in dict.fromkeys(place.machine for place in places):
            by_machine.setdefault(machine, []).append(entry)
    return {machine: tuple(entries) for machine, entries in by_machine.items()}
