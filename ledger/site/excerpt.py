"""What due work needs of a long record: an excerpt of what is kept of it.

Of each task at each place it holds the last time that it was done or put off, and every time that
a machine was tied back. The readings of drives whose setting in force no reading has confirmed are
taken from the record. With a visit that the excerpt cannot speak for, the record has to be asked.
"""

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime, tzinfo
from functools import cached_property
from typing import Any, TypeAlias

from ledger.files.tree import FileTree
from ledger.model.build_visit import content_of, head_of_visit, local_instant
from ledger.model.ledger import Ledger
from ledger.model.references import EntryRef, Place
from ledger.model.site import Site
from ledger.model.visits import Entry, TieBack, Visit, tie_backs_of
from ledger.site.kept_ledger import KeptLedger, kept_ledger, typed
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.register.found import FollowUp, follow_ups
from ledger.upkeep.speeds.found import speed_results
from ledger.values import dataclass, fields

EXCERPT = "due"

Row: TypeAlias = tuple[
    EntryRef, EntryRef, str, str, Sequence[str], Sequence[str], Mapping[str, Any]
]
"""A standing entry: its reference and that of what was filed first, when that began as typed, who,
where, what it says."""


@dataclass(frozen=True, kw_only=True)
class LedgerExcerpt(KeptLedger):
    """A ledger whose standing entries are those alone that due work needs.

    `confirmed` are the machines whose setting in force needs no reading, by the change's number.
    """

    counting: tuple[Entry, ...]
    kept_tie_backs: tuple[TieBack, ...]
    confirmed: frozenset[tuple[str, int]]

    @cached_property
    def standing(self) -> tuple[Entry, ...]:
        return self.counting

    @cached_property
    def detailed(self) -> tuple[Entry, ...]:
        return tuple(entry for entry in self.counting if not entry.content.is_bare_work)

    def standing_at(self, machine: str) -> Iterator[Entry]:
        return (one for one in self.counting if any(at.machine == machine for at in one.places))

    def detailed_at(self, machine: str) -> Iterator[Entry]:
        return (one for one in self.detailed if any(at.machine == machine for at in one.places))

    @cached_property
    def tie_backs(self) -> tuple[TieBack, ...]:
        return self.kept_tie_backs


def excerpt_of(ledger: Ledger, schedule: Schedule, follow_ups: Iterable[FollowUp]) -> str:
    """The excerpt of a whole ledger as text.

    `schedule` and `follow_ups` are of a day by which all of the record is known.
    """

    def row(entry: Entry) -> Row:
        first = ledger.origin(ledger.entry[entry.ref]).ref
        places = [str(place) for place in entry.places]
        at = typed(entry.when, ledger.site)
        return (entry.ref, first, at, entry.by, entry.helpers, places, entry.raw)

    found = {
        "confirmed": [
            (one.machine.ident, one.change.number) for one in follow_ups if not one.is_open
        ],
        "entries": [row(entry) for entry in schedule.entries_that_count()],
        "tied_back": [
            (row(one.entry), None if one.closed_by is None else row(one.closed_by))
            for one in ledger.tie_backs
        ],
    }
    return json.dumps(found)


def ledger_of(
    read: Callable[[str], str | None],
    tree: FileTree,
    added: Sequence[str],
    day: Callable[[tzinfo], date],
) -> LedgerExcerpt | None:
    """The ledger of the excerpt and the visits added since; None where the record is to be asked.

    The arguments are those of `kept_ledger`.
    """
    text = read(EXCERPT)
    ledger = None if text is None else kept_ledger(read, tree, added, day)
    if text is None or ledger is None:
        return None
    site, new = ledger.site, ledger.added.visits
    last = local_instant(ledger.kept.main["last_when"], site)
    if any(_may_upset(visit, last) for visit in new):
        return None
    main = json.loads(text)
    confirmed = frozenset((machine, number) for machine, number in main["confirmed"])
    # A correction stands in the place of what it corrects.
    counting = {(one.when, first): one for first, one in (_entry(site, r) for r in main["entries"])}
    counting |= {(one.when, one.ref): one for visit in new for one in visit.entries}
    for ident, drive in ledger.setpoints.items():
        change = drive.on(day(site.zone))
        if change is not None and (ident, change.number) not in confirmed:
            here = ledger.of_machine(ident)
            counting |= {
                (one.when, here.origin(here.entry[one.ref]).ref): one for one in here.detailed_here
            }
    tied = [
        (_entry(site, opened), None if closed is None else _entry(site, closed)[1])
        for opened, closed in main["tied_back"]
    ]
    return LedgerExcerpt(
        **{one.name: getattr(ledger, one.name) for one in fields(KeptLedger)},
        counting=tuple(counting[key] for key in sorted(counting)),
        kept_tie_backs=tie_backs_of(
            [opened for opened, _ in tied],
            {first: closed for (first, _), closed in tied if closed is not None},
            site,
        ),
        confirmed=confirmed,
    )


def excerpt_on(ledger: Ledger, day: date) -> str:
    """The same, worked out from the start."""
    every = follow_ups(ledger, speed_results(ledger), day)
    return excerpt_of(ledger, Schedule(ledger, day), every)


def _may_upset(visit: Visit, last: datetime) -> bool:
    """Whether it ties a machine back, or was filed late and tells more than work.

    Later readings were judged without what is told late.
    """
    return any(
        entry.tied_back or (visit.when <= last and not entry.content.is_bare_work)
        for entry in visit.entries
    )


def _entry(site: Site, row: Row) -> tuple[EntryRef, Entry]:
    """An entry, and the reference of the one filed first."""
    ref, first, at, by, helpers, places, raw = row
    visit, number, step = ref
    entry = Entry(
        head=head_of_visit(site, visit, local_instant(at, site), by, helpers),
        number=number,
        step=step,
        content=content_of(raw, tuple(map(Place.parse, places)), site),
    )
    return EntryRef(*first), entry
