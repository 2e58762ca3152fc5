"""The whole record of one site, frozen, with its indexes, and as it was known on an earlier day."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from typing import Any

from ledger.model.instruments import Instrument
from ledger.model.machines import Machine, Point
from ledger.model.references import EntryRef, Place
from ledger.model.setpoints import Change, DriveSetpoints
from ledger.model.site import Part, Site
from ledger.model.tasks import Task
from ledger.model.tie_backs import TieBack, tie_backs_of
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
    instruments: Mapping[str, Instrument] = field(default_factory=dict)
    corrections: Mapping[EntryRef, Entry] = field(default_factory=dict)

    @cached_property
    def entries(self) -> tuple[Entry, ...]:
        """Every entry as filed, by time."""
        return tuple(entry for visit in self.visits for entry in visit.entries)

    @cached_property
    def entry(self) -> Mapping[EntryRef, Entry]:
        return _EntryByRef(self.visits)

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
            if entry.ref not in self.corrections:
                held.append(entry)
            elif not (last := self.last_word(entry)).void:
                head = replace(last.head, when=entry.when, day=entry.day)
                held.append(replace(last, head=head))
        return tuple(held)

    @cached_property
    def telling(self) -> tuple[Entry, ...]:
        """The standing entries that say more than that a task was done or not: one in many."""
        return tuple(entry for entry in self.standing if not entry.content.is_bare_work)

    @cached_property
    def closed_by(self) -> Mapping[EntryRef, Entry]:
        """What put right each finding and tie-back that is closed, by its entry as first filed.

        Either may be closed by the reference of the entry as first filed or of any correction.
        """
        closed: dict[EntryRef, Entry] = {}
        for entry in self.telling:
            if entry.closes is not None and entry.closes in self.entry:
                closed.setdefault(self.origin(self.entry[entry.closes]).ref, entry)
        return closed

    @cached_property
    def tie_backs(self) -> tuple[TieBack, ...]:
        """Every time that a machine was tied back, by time."""
        tied = ((self.origin(entry).ref, entry) for entry in self.telling if entry.tied_back)
        return tie_backs_of(tied, self.closed_by, self.site)

    def tied_back(self, as_of: date) -> Mapping[str, TieBack]:
        """What is out of action at the end of a day, by machine; of several the first."""
        return {one.machine: one for one in reversed(self.tie_backs) if one.is_open(as_of)}

    @cached_property
    def worked_out(self) -> dict[Any, Any]:
        """For whoever works something out of this ledger and is asked for it again and again."""
        return {}

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

    def missing_readings(self, task: Task, entry: Entry) -> tuple[str, ...]:
        """What the task asks for and the entry does not hold, in the task's order."""
        if not task.reads:
            return ()
        can_be_set = any(self.machines[place.machine].has_setpoint for place in entry.places)
        return task.missing_readings(entry.raw.keys(), can_be_set=can_be_set)

    def standing_at(self, machine: str) -> Iterator[Entry]:
        """Standing entries that name the machine or a point of it, by time."""
        return iter(self._standing_by_machine.get(machine, ()))

    def telling_at(self, machine: str) -> Iterator[Entry]:
        """Those that also say more than that a task was done or not."""
        return iter(self._telling_by_machine.get(machine, ()))

    def filed_at(self, machine: str) -> tuple[Entry, ...]:
        """Entries as filed that name the machine, or that correct or close one which does."""
        return self._filed_by_machine.get(machine, ())

    @cached_property
    def _standing_by_machine(self) -> Mapping[str, tuple[Entry, ...]]:
        return _by_machine((entry, entry.places) for entry in self.standing)

    @cached_property
    def _telling_by_machine(self) -> Mapping[str, tuple[Entry, ...]]:
        return _by_machine((entry, entry.places) for entry in self.telling)

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


class _EntryByRef(Mapping[EntryRef, Entry]):
    """Entries as filed, found by their visit: a site has too many to list each once more."""

    def __init__(self, visits: tuple[Visit, ...]) -> None:
        self._entries = {visit.ident: visit.entries for visit in visits}

    def __getitem__(self, ref: EntryRef) -> Entry:
        for entry in self._entries[ref.visit]:
            if (entry.number, entry.step) == ref[1:]:
                return entry
        raise KeyError(ref)

    def __iter__(self) -> Iterator[EntryRef]:
        return (entry.ref for entries in self._entries.values() for entry in entries)

    def __len__(self) -> int:
        return sum(map(len, self._entries.values()))


def _by_machine(
    found: Iterable[tuple[Entry, tuple[Place, ...]]],
) -> dict[str, tuple[Entry, ...]]:
    by_machine: dict[str, list[Entry]] = {}
    for entry, places in found:
        if len(places) == 1:
            by_machine.setdefault(places[0].machine, []).append(entry)
            continue
        for machine in dict.fromkeys(place.machine for place in places):
            by_machine.setdefault(machine, []).append(entry)
    return {machine: tuple(entries) for machine, entries in by_machine.items()}


def known_on(ledger: Ledger, day: date) -> Ledger:
    """Without what was filed, corrected, proposed or approved only after the day.

    A visit is known from its day on, or from the day of `entered_at` where that is later. A change
    proposed later is left out, one approved later is a proposal still. What carries no date stays
    as it is today: machines, tasks, people, site, parts, and the withdrawal of a change; for those
    there are the commits. The ledger itself where nothing is later.
    """
    visits = [visit for visit in ledger.visits if known_from(ledger, visit) <= day]
    drives = {machine: _drive_on(drive, day) for machine, drive in ledger.setpoints.items()}
    if len(visits) == len(ledger.visits) and drives == ledger.setpoints:
        return ledger
    known = _entries_on(visits)
    return replace(
        ledger,
        visits=tuple(
            replace(visit, entries=tuple(known[e.ref] for e in visit.entries if e.ref in known))
            for visit in visits
        ),
        setpoints={machine: drive for machine, drive in drives.items() if drive.changes},
        corrections={
            original: known[later.ref]
            for original, later in ledger.corrections.items()
            if later.ref in known
        },
    )


def known_from(ledger: Ledger, visit: Visit) -> date:
    """The day of a visit, or that on which it was written down where that is later."""
    if visit.entered_at is None:
        return visit.day
    return max(visit.day, visit.entered_at.astimezone(ledger.site.zone).date())


def _entries_on(visits: Iterable[Visit]) -> dict[EntryRef, Entry]:
    """The entries of the visits, as far as what they refer to is known.

    A visit may be written down days after one that corrects or closes an entry of it.
    """
    known: dict[EntryRef, Entry] = {}
    for visit in visits:
        for entry in visit.entries:
            if entry.corrects is None or entry.corrects in known:
                known[entry.ref] = entry
    return {
        ref: entry
        if entry.closes is None or entry.closes in known
        else replace(entry, content=replace(entry.content, closes=None))
        for ref, entry in known.items()
    }


def _drive_on(drive: DriveSetpoints, day: date) -> DriveSetpoints:
    changes = tuple(
        _change_on(change, day)
        for change in drive.changes
        if change.proposed_on is None or change.proposed_on <= day
    )
    return replace(drive, changes=changes)


def _change_on(change: Change, day: date) -> Change:
    if change.approved_on is None or change.approved_on <= day:
        return change
    return replace(change, approved_by="", approved_on=None, flaws=())


def last_day_filed(ledger: Ledger) -> date:
    """The day of the newest visit, the only day that a page from the sources alone knows."""
    return ledger.visits[-1].day if ledger.visits else date.min
