"""The whole record of one site, frozen, with its indexes, and as it was known on an earlier day."""

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from datetime import UTC, date, datetime
from functools import cached_property
from itertools import chain
from operator import attrgetter
from typing import Any, TypeVar

from ledger.model.machines import Machine, Point
from ledger.model.references import EntryRef, Place
from ledger.model.setpoints import Change, DriveSetpoints
from ledger.model.site import Instrument, Part, Site
from ledger.model.tasks import Task
from ledger.model.visits import Entry, EntryContent, TieBack, Visit, tie_backs_of
from ledger.values import dataclass, field, fields, replace

_T = TypeVar("_T")

ALL_YEARS = ""

DETAILED = "detailed"
"""Names the digest of the entries that say more than that work was done or not."""

EVENTS = "*"
"""Stands for a machine where events of all machines are found together."""

_NEVER = datetime.min.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class Overall:
    """What all visits of a site say together.

    `first_day` and `last_day` are those of the first and the newest visit, None without one;
    `last_when` is the instant of the newest. All is known from the day `known_from` on. `meters`
    are the readings of each meter by time, each with its day; `permits` the visits under a permit,
    without their entries.
    """

    first_day: date | None = None
    last_day: date | None = None
    last_when: datetime = _NEVER
    known_from: date = date.min
    visit_count: int = 0
    meters: Mapping[str, Sequence[tuple[date, float]]] = field(default_factory=dict)
    permits: tuple[Visit, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Extract:
    """What a ledger of one machine holds in place of visits, by time.

    `filed_detailed` are the entries that say more than that work was done or not, and all that are
    linked with others; `work` by year the rest, which is most. `corrections` are those of
    `filed_detailed`. Not slotted: `entries` is kept.
    """

    machine: str
    overall: Overall
    filed_detailed: tuple[Entry, ...]
    work: Mapping[int, tuple[Entry, ...]]
    corrections: Mapping[EntryRef, Entry]

    @cached_property
    def entries(self) -> tuple[Entry, ...]:
        return in_order(self.filed_detailed, *self.work.values())

    def entries_of(self, year: int) -> tuple[Entry, ...]:
        return in_order(
            (e for e in self.filed_detailed if e.day.year == year), self.work.get(year, ())
        )


@dataclass(frozen=True, kw_only=True)
class Ledger:
    """Machines are in walking order, tasks and parts by id, visits by time.

    `surroundings` stands for the files of the site that are no visits: their paths and bytes. Not
    slotted: the indexes are computed on first use and kept.
    """

    site: Site
    machines: Mapping[str, Machine]
    tasks: Mapping[str, Task]
    setpoints: Mapping[str, DriveSetpoints]
    parts: Mapping[str, Part]
    visits: Sequence[Visit]
    instruments: Mapping[str, Instrument] = field(default_factory=dict)
    corrections: Mapping[EntryRef, Entry] = field(default_factory=dict)
    surroundings: str = ""
    extract: Extract | None = None

    @cached_property
    def overall(self) -> Overall:
        """That of the whole site, also in the ledger of a machine."""
        if self.extract is not None:
            return self.extract.overall
        visits = self.visits
        if not visits:
            return Overall()
        meters: dict[str, list[tuple[date, float]]] = {}
        for visit in visits:
            for meter, reading in visit.meters.items():
                meters.setdefault(meter, []).append((visit.day, reading))
        return Overall(
            first_day=visits[0].day,
            last_day=visits[-1].day,
            last_when=visits[-1].when,
            known_from=max(known_from(visit, self.site) for visit in visits),
            visit_count=len(visits),
            meters=meters,
            permits=tuple(replace(one, entries=()) for one in visits if one.permit),
        )

    @cached_property
    def entries(self) -> tuple[Entry, ...]:
        """Every entry as filed, by time."""
        if self.extract is not None:
            return self.extract.entries
        return tuple(entry for visit in self.visits for entry in visit.entries)

    @cached_property
    def entry(self) -> Mapping[EntryRef, Entry]:
        if self.extract is not None:
            return FewFirst(lambda: self.filed_detailed, lambda: self.entries)
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
        return self._held(self.entries)

    def _held(self, entries: Iterable[Entry]) -> tuple[Entry, ...]:
        held = []
        visits = {ref.visit for ref in self.corrections}
        for entry in entries:
            if entry.content.corrects is not None:
                continue
            if entry.head.ident not in visits or entry.ref not in self.corrections:
                held.append(entry)
            elif not (last := self.last_word(entry)).void:
                head = replace(last.head, when=entry.when, day=entry.day)
                held.append(replace(last, head=head))
        # Mostly nothing is put right: then there is no need of a second list of all.
        if isinstance(entries, tuple) and not visits and len(held) == len(entries):
            return entries
        return tuple(held)

    @cached_property
    def detailed(self) -> tuple[Entry, ...]:
        """The standing entries that say more than that a task was done or not: one in many."""
        return tuple(one for one in self._held(self.filed_detailed) if not one.content.is_bare_work)

    def standing_of(self, tasks: AbstractSet[str]) -> tuple[Entry, ...]:
        """The standing entries of some tasks, and those that say more than that one was done."""
        filed = self.filed_of(tasks)
        return tuple(
            one for one in self._held(filed) if one.task in tasks or not one.content.is_bare_work
        )

    def filed_of(self, tasks: AbstractSet[str]) -> Iterable[Entry]:
        """Entries as filed, at least those of the tasks and `filed_detailed`."""
        return self.entries if tasks else self.filed_detailed

    @cached_property
    def filed_detailed(self) -> tuple[Entry, ...]:
        """The entries as filed that say more than that, and all that others are linked with."""
        if self.extract is not None:
            return self.extract.filed_detailed
        more = [entry for entry in self.entries if not entry.content.is_bare_work]
        linked = {
            ref
            for entry in more
            if entry.content.is_linking
            for ref in (entry.corrects, entry.closes)
        }
        linked.update(*(drive.evidence for drive in self.setpoints.values()))
        visits = {ref.visit for ref in linked if ref is not None}
        return tuple(
            entry
            for entry in (self.entries if visits else more)
            if not entry.content.is_bare_work
            or (entry.head.ident in visits and entry.ref in linked)
        )

    @cached_property
    def filed_events(self) -> tuple[Entry, ...]:
        """Of `filed_detailed` those of an event, and all that they are linked with."""
        chains = self.chains
        return tuple(
            one
            for one in self.filed_detailed
            if one.content.is_event or (chains and one.ref in chains)
        )

    @cached_property
    def events(self) -> tuple[Entry, ...]:
        """The standing entries that say more than what was done and what was read."""
        return tuple(one for one in self._held(self.filed_events) if one.content.is_event)

    @cached_property
    def closed_by(self) -> Mapping[EntryRef, Entry]:
        """What put right each finding and tie-back that is closed, by its entry as first filed.

        Either may be closed by the reference of the entry as first filed or of any correction.
        """
        closed: dict[EntryRef, Entry] = {}
        for entry in self.events:
            if entry.closes is not None and entry.closes in self.entry:
                closed.setdefault(self.origin(self.entry[entry.closes]).ref, entry)
        return closed

    @cached_property
    def tie_backs(self) -> tuple[TieBack, ...]:
        """Every time that a machine was tied back, by time."""
        tied = ((self.origin(entry).ref, entry) for entry in self.events if entry.tied_back)
        return tie_backs_of(tied, self.closed_by, self.site)

    def tied_back(self, as_of: date) -> Mapping[str, TieBack]:
        """What is out of action at the end of a day, by machine; of several the first."""
        return {one.machine: one for one in reversed(self.tie_backs) if one.is_open(as_of)}

    def once(self, key: Hashable, work_out: Callable[[], _T]) -> _T:
        """What is worked out of this ledger, kept under a key for whoever asks for it again."""
        if key not in self._kept:
            self._kept[key] = work_out()
        found: _T = self._kept[key]
        return found

    @cached_property
    def _kept(self) -> dict[Hashable, Any]:
        return {}

    def last_word(self, entry: Entry) -> Entry:
        """The entry, or the last of the corrections that follow it."""
        while self.corrections and (later := self.corrections.get(entry.ref)) is not None:
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
        return iter(self.of_machine(machine).standing_here)

    def detailed_at(self, machine: str) -> Iterator[Entry]:
        """Those that also say more than that a task was done or not."""
        return iter(self.of_machine(machine).detailed_here)

    def events_at(self, machine: str) -> Sequence[Entry]:
        """The events that name the machine or a point of it."""
        return self._events_at.get(machine, ())

    @cached_property
    def _events_at(self) -> Mapping[str, Sequence[Entry]]:
        found: dict[str, list[Entry]] = {}
        for entry in self.events:
            for machine in dict.fromkeys(place.machine for place in entry.places):
                found.setdefault(machine, []).append(entry)
        return found

    def of_machine(self, machine: str) -> "Ledger":
        """The ledger of the entries that concern one machine.

        They are those that name it or a point of it, those linked with one by `corrects` or
        `closes`, whole chains of them, and the evidence of its settings. What is worked out of it
        depends on nothing but `digest`, `surroundings` and `overall`.
        """
        if self._machine == machine:
            return self
        return self.once((Ledger, machine), lambda: self._of_machine(self.extract_of(machine)))

    def _of_machine(self, extract: Extract) -> "Ledger":
        own = {"visits": (), "corrections": extract.corrections, "extract": extract}
        return Ledger(**({one.name: getattr(self, one.name) for one in fields(Ledger)} | own))

    @property
    def named(self) -> Iterable[str]:
        """The machines that entries concern, "" where some concern none, and `EVENTS`."""
        return self._concerning

    def extract_of(self, machine: str) -> Extract:
        detailed, work = self._concerning.get(machine, ([], {}))
        refs = {entry.ref for entry in detailed if entry.content.is_linking}
        return Extract(
            machine=machine,
            overall=self.overall,
            filed_detailed=tuple(detailed),
            work={year: tuple(entries) for year, entries in work.items()},
            corrections={r: one for r, one in self.corrections.items() if one.ref in refs},
        )

    def years_of(self, machine: str) -> tuple[int, ...]:
        """The years in which something was filed by `filed_in`."""
        here = self.of_machine(machine)
        work = here.extract.work if here.extract is not None else {}
        return tuple(
            sorted({*work, *(entry.day.year for entry in here.those_here(here.filed_detailed))})
        )

    def digest(self, machine: str, part: object = ALL_YEARS) -> str:
        """What stands for the entries that concern a machine, by `of_machine`.

        A `part` of them are those of a year, or `DETAILED`.

        It is the same wherever the files of the visits that hold them, and all that is linked with
        them, have the same paths and bytes. It does not cover the other files, meters and days.
        """
        return f"{self.digests(machine).get(str(part), 0):032x}"

    def digests(self, machine: str) -> Mapping[str, int]:
        """The digests of a machine as numbers, of each part and of all: sums over visits."""
        return self.once((DIGESTS, machine), lambda: self._digests(machine))

    def _digests(self, machine: str) -> Mapping[str, int]:
        detailed, work = self._concerning.get(machine, ([], {}))
        visits = {str(year): {one.head.ident for one in of} for year, of in work.items()}
        visits[DETAILED] = set()
        chains = self.of_machine(machine).chains
        for entry in detailed:
            linked = {entry.head.ident, *(ref.visit for ref in chains.get(entry.ref, ()))}
            visits.setdefault(str(entry.day.year), set()).update(linked)
            visits[DETAILED].update(linked)
        visits[ALL_YEARS] = set().union(*visits.values())
        return {
            year: sum(map(self._digest_of_visit.__getitem__, idents)) % DIGESTS
            for year, idents in visits.items()
        }

    @cached_property
    def chains(self) -> Mapping[EntryRef, Sequence[EntryRef]]:
        """The entries that are linked by `corrects` or `closes`, each with its whole chain."""
        chains: dict[EntryRef, list[EntryRef]] = {}
        for entry in self.filed_detailed:
            if not entry.content.is_linking:
                continue
            for other in (entry.corrects, entry.closes):
                if other is None or other not in self.entry:
                    continue
                own, others = (chains.setdefault(ref, [ref]) for ref in (entry.ref, other))
                if own is not others:
                    own.extend(others)
                    chains.update(dict.fromkeys(others, own))
        return chains

    @property
    def _machine(self) -> str | None:
        return None if self.extract is None else self.extract.machine

    @cached_property
    def _digest_of_visit(self) -> Mapping[str, int]:
        return {visit.ident: int(visit.digest or "0", 16) for visit in self.visits}

    @cached_property
    def standing_here(self) -> tuple[Entry, ...]:
        return tuple(entry for entry in self.standing if self._is_here(entry.content.places))

    @cached_property
    def detailed_here(self) -> tuple[Entry, ...]:
        return tuple(entry for entry in self.detailed if self._is_here(entry.content.places))

    def filed_in(self, machine: str, year: int) -> tuple[Entry, ...]:
        """Entries as filed of a year that name a machine, or correct or close one which does."""
        here = self.of_machine(machine)
        return here.those_here(here.extract.entries_of(year) if here.extract is not None else ())

    def those_here(self, entries: Iterable[Entry]) -> tuple[Entry, ...]:
        """Those that name the machine of this ledger, or correct or close one which does."""
        return tuple(
            entry
            for entry in entries
            if self._is_here(entry.content.places)
            or (entry.content.is_linking and self._is_here(self.places_meant(entry)))
        )

    def _is_here(self, places: Sequence[Place]) -> bool:
        if len(places) == 1:
            return places[0].machine == self._machine
        return any(place.machine == self._machine for place in places)

    @cached_property
    def _concerning(self) -> Mapping[str, tuple[list[Entry], dict[int, list[Entry]]]]:
        """The detailed entries of each machine, and its other work by year; of no machine under "".

        Events are also found together.
        """
        reach = self._reach
        found: defaultdict[str, tuple[list[Entry], dict[int, list[Entry]]]]
        found = defaultdict(lambda: ([], {}))
        found[EVENTS] = [*self.filed_events], {}
        for entry in self.filed_detailed:
            for machine in reach.get(entry.ref) or _machines_of(entry.content):
                found[machine][0].append(entry)
        detailed = {id(entry) for entry in self.filed_detailed if entry.content.is_bare_work}
        # What is alike goes into the same lists all year long.
        of_year: dict[int, list[list[Entry]]] = {}
        year = 0
        for entry in self.entries:
            content = entry.content
            if not content.is_bare_work or id(entry) in detailed:
                continue
            if entry.head.day.year != year:
                year = entry.head.day.year
                of_year = {}
            lists = of_year.get(id(content))
            if lists is None:
                lists = of_year[id(content)] = [
                    found[machine][1].setdefault(year, []) for machine in _machines_of(content)
                ]
            for entries in lists:
                entries.append(entry)
        return found

    @cached_property
    def _reach(self) -> Mapping[EntryRef, AbstractSet[str]]:
        """The machines that linked entries and evidence concern, with all of their chain."""
        reach = {
            ref: {place.machine for one in linked for place in self.entry[one].places}
            for ref, linked in self.chains.items()
        }
        for machine, drive in self.setpoints.items():
            for ref in drive.evidence & self.entry.keys():
                for one in self.chains.get(ref, (ref,)):
                    own = {place.machine for place in self.entry[one].places}
                    reach.setdefault(one, own).add(machine)
        return {ref: machines or {""} for ref, machines in reach.items()}

    def places_meant(self, entry: Entry) -> tuple[Place, ...]:
        """The places of what the entry corrects or closes, which it need not name again."""
        places = () if entry.corrects is None else self.origin(entry).places
        closed = None if entry.closes is None else self.entry.get(entry.closes)
        return places if closed is None else (*places, *closed.places)


def _machines_of(content: EntryContent) -> Iterable[str]:
    """The machines that it names, or "" where it names none."""
    return dict.fromkeys(place.machine for place in content.places) or ("",)


class _EntryByRef(Mapping[EntryRef, Entry]):
    """Entries as filed, found by their visit: a site has too many to list each once more."""

    def __init__(self, visits: Iterable[Visit]) -> None:
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


DIGESTS = 1 << 128
"""So many digests there are; they are added up modulo this."""


class FewFirst(Mapping[EntryRef, Entry]):
    """Entries as filed, looked for among the few that are mostly asked for before more are read."""

    def __init__(self, *more_and_more: Callable[[], Iterable[Entry]]) -> None:
        self._ask = more_and_more
        self._asked: list[Mapping[EntryRef, Entry]] = []

    def _at(self, number: int) -> Mapping[EntryRef, Entry]:
        while len(self._asked) <= number:
            entries = self._ask[len(self._asked)]()
            self._asked.append({entry.ref: entry for entry in entries})
        return self._asked[number]

    def __getitem__(self, ref: EntryRef) -> Entry:
        for number in range(len(self._ask)):
            found = self._at(number).get(ref)
            if found is not None:
                return found
        raise KeyError(ref)

    def __iter__(self) -> Iterator[EntryRef]:
        return iter(self._at(len(self._ask) - 1))

    def __len__(self) -> int:
        return len(self._at(len(self._ask) - 1))


def in_order(*entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """Entries as filed, by the time of their visits."""
    return tuple(sorted(chain.from_iterable(entries), key=_ORDER))


_ORDER = attrgetter("head.when", "head.ident", "number")


def known_on(ledger: Ledger, day: date) -> Ledger:
    """Without what was filed, corrected, proposed or approved only after the day.

    A visit is known from its day on, or from the day of `entered_at` where that is later. A change
    proposed later is left out, one approved later is a proposal still. What carries no date stays
    as it is today: machines, tasks, people, site, parts, and the withdrawal of a change; for those
    there are the commits. The ledger itself where nothing is later.
    """
    if is_known_on(ledger, day):
        return ledger
    drives = {machine: _drive_on(drive, day) for machine, drive in ledger.setpoints.items()}
    visits = [visit for visit in ledger.visits if known_from(visit, ledger.site) <= day]
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


def is_known_on(ledger: Ledger, day: date) -> bool:
    """Whether nothing was filed, corrected, proposed or approved later."""
    return ledger.overall.known_from <= day and all(
        _drive_on(drive, day) == drive for drive in ledger.setpoints.values()
    )


def known_from(visit: Visit, site: Site) -> date:
    """The day of a visit, or that on which it was written down where that is later."""
    if visit.entered_at is None:
        return visit.day
    return max(visit.day, visit.entered_at.astimezone(site.zone).date())


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
    return ledger.overall.last_day or date.min
