"""What was done at each machine year by year, so that a visit has only its own year read again."""

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from functools import cached_property
from itertools import chain
from typing import Any

from ledger.book.plain import kept
from ledger.model.build_visit import content_of, head_of_visit
from ledger.model.ledger import Ledger
from ledger.model.references import EntryRef, Place
from ledger.model.site import Site
from ledger.model.tasks import Task
from ledger.model.visits import Entry
from ledger.site.of_machine import OfMachine, in_year
from ledger.site.parts import Parts
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.intime.found import Count, Known, Settled, answered_at, unanswered_at
from ledger.upkeep.parts.found import PartUse, Uses, counts_of
from ledger.values import dataclass

kept(Settled)
kept(PartUse)


@kept
@dataclass(frozen=True, slots=True)
class Served:
    """What was done at a machine up to the end of a year.

    `counting` are the rows of the entries by which work is due there or not, `inspected` that of
    the last inspection of its lockout sheet. `places` counts by task the places at which one was
    done, `settled` the due dates up to the last that work answered, `uses` is what tasks used of
    parts. `using` are the rows of the entries of this year and the one before that used some.
    """

    year: int
    counting: str
    inspected: str
    places: Sequence[tuple[str, int]]
    settled: Sequence[Settled]
    uses: Sequence[PartUse]
    using: str


class Work:
    """The work of all machines, or of some, put together from what each has kept."""

    def __init__(
        self, ledger: Ledger, parts: Parts, as_of: date, machines: Iterable[str] | None = None
    ) -> None:
        self._ledger, self._parts, self._as_of = ledger, parts, as_of
        self._known: Known = {}
        self._at: dict[str, list[tuple[Task, Place]]] = {}
        for task in ledger.tasks.values():
            for place in task.places:
                self._at.setdefault(place.machine, []).append((task, place))
        self._counted = counts_of(ledger)
        every = ledger.machines if machines is None else machines
        self._of = parts.by_year("served", self._step, self._made_of, every)

    def counting(self, machine: str) -> list[Entry]:
        """The entries by which work is due at a machine or not, by time."""
        of = self._of.get(machine)
        return [] if of is None else self._entries(of.counting)

    @cached_property
    def schedule(self) -> Schedule:
        """The cycles and the work of the site."""
        every = {one.ref: one for machine in self._of for one in self.counting(machine)}
        return Schedule(self._ledger, self._as_of, _by_time(every))

    @property
    def inspected(self) -> dict[str, Entry]:
        """The last inspection of each machine's lockout sheet."""
        rows = ((machine, of.inspected) for machine, of in self._of.items())
        return {
            machine: entry for machine, row in rows if row for entry in self._entries(f"[{row}]")
        }

    @property
    def places(self) -> Counter[str]:
        """How many places were served by each task."""
        found = Counter[str]()
        for of in self._of.values():
            found.update(dict(of.places))
        return found

    @property
    def uses(self) -> Iterator[PartUse]:
        """What tasks used of parts at each machine."""
        return chain.from_iterable(of.uses for of in self._of.values())

    def using(self, machine: str) -> list[Entry]:
        """What used parts at a machine in the last two years in which something was done there."""
        of = self._of.get(machine)
        return [] if of is None else self._entries(of.using)

    def settled(self) -> Iterator[Settled]:
        """The due dates that are not open any more."""
        for of in self._of.values():
            yield from of.settled
        for of_machine in self._parts.each("unanswered", self._unanswered, self._rests_on).values():
            yield from of_machine

    def _step(self, found: OfMachine, year: int, before: Served | None) -> Served:
        ident = found.machine.ident
        known = [] if before is None else self._entries(before.counting)
        schedule = Schedule(found.events(found.noted_of_work), self._as_of, known)
        at = self._at.get(ident, ())
        after: dict[tuple[str, Place], date | None] = {}
        if before is not None:
            after = {
                (task.ident, place): max(schedule.days_done(task, place), default=None)
                for task, place in at
            }
        ledger = in_year(found.whole, year)
        entries = [entry for entry in ledger.standing if entry.day.year == year]
        schedule.note(entries)
        of_before = {} if before is None else {one.task: one for one in before.settled}
        counts = {task.ident: Count(task, of_before.get(task.ident)) for task, _ in at}
        for task, place in at:
            last = after.get((task.ident, place))
            counts[task.ident].add_dates(
                answered_at(ledger, schedule, task, place, self._as_of, last, self._known)
            )
        inspecting = {one.ident for one in ledger.tasks.values() if one.inspects_lockout}
        places = Counter({} if before is None else dict(before.places))
        inspected = "" if before is None else before.inspected
        for entry in entries:
            here = sum(place.machine == ident for place in entry.places)
            if not here or not entry.did_work:
                continue
            places[entry.task] += here
            if entry.task in inspecting:
                inspected = json.dumps(_row(entry))
        counted = self._counted_in(0 if before is None else before.year, year)
        uses = Uses(ledger, counted, () if before is None else before.uses)
        # What serves several machines is used at the first.
        uses.add(entry for entry in entries if entry.places[:1] and entry.places[0][0] == ident)
        using = [] if before is None else self._entries(before.using)
        using = [one for one in using if one.day.year == year - 1]
        using += [one for one in entries if one.did_work and ledger.tasks[one.task].uses]
        last_day = max((entry.day for entry in entries), default=date.min)
        return Served(
            year,
            json.dumps([_row(entry) for entry in schedule.entries_that_count(ident)]),
            inspected,
            sorted(places.items()),
            [count.settled(last_day) for count in counts.values()],
            uses.found(),
            json.dumps([*map(_row, using)]),
        )

    def _unanswered(self, found: OfMachine) -> list[Settled]:
        """Those since work was done last."""
        ident = found.machine.ident
        events = found.events(found.noted)
        schedule = Schedule(events, found.day, self.counting(ident))
        counts: dict[str, Count] = {}
        for task, place in self._at.get(ident, ()):
            count = counts.setdefault(task.ident, Count(task))
            count.add_dates(unanswered_at(events, schedule, task, place, found.day))
        return [count.settled(found.day) for count in counts.values()]

    def _made_of(self, machine: str, last: int, year: int) -> object:
        used = {part for task, _ in self._at.get(machine, ()) for part in task.uses}
        counted = [
            (one.when.isoformat(), one.ref)
            for one in self._counted_in(last, year)
            if one.stock is not None and one.stock.part in used
        ]
        return self._absences(machine), counted

    def _counted_in(self, last: int, year: int) -> list[Entry]:
        """The counts of parts in the years after the last one."""
        return [one for one in self._counted if last < one.day.year <= year]

    def _absences(self, machine: str) -> object:
        ties = self._ledger.tie_backs
        return [one.away for one in ties if one.machine == machine and one.first_day <= self._as_of]

    def _rests_on(self, machine: str) -> object:
        of = self._of.get(machine)
        return None if of is None else of.counting, self._absences(machine)

    def _entries(self, rows: str) -> list[Entry]:
        found = (_entry(self._ledger.site, *row) for row in json.loads(rows))
        return _by_time({one.ref: one for one in found})


def _by_time(entries: Mapping[EntryRef, Entry]) -> list[Entry]:
    return sorted(entries.values(), key=lambda one: (one.when, one.ref))


def _row(entry: Entry) -> tuple[object, ...]:
    head = entry.head
    people = head.by, head.helpers, head.filed_by, head.returned_by
    places = [str(place) for place in entry.places]
    return entry.ref, head.when.isoformat(), people, places, entry.raw


def _entry(
    site: Site,
    ref: tuple[str, int, int],
    when: str,
    people: tuple[str, Sequence[str], str, str],
    places: Sequence[str],
    raw: Mapping[str, Any],
) -> Entry:
    visit, number, step = ref
    at = datetime.fromisoformat(when).astimezone(site.zone)
    head = head_of_visit(site, visit, at, *people)
    content = content_of(raw, tuple(map(Place.parse, places)), site)
    return Entry(head=head, number=number, step=step, content=content)
