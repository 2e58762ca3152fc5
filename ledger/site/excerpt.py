"""What due work needs of a long record: an excerpt, to which later visits are added.

An excerpt is made of a whole record without errors. Of each task at each place it keeps the last
time that it was done or put off, of each meter all readings, and of each drive whose setting in
force no reading has confirmed all that was read. It is text, so that it can be kept. Visits filed
since then are read and checked like any other; with one that the excerpt cannot speak for, such
as a correction, the whole record has to be read.
"""

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime, tzinfo
from functools import cached_property
from typing import Any, TypeAlias

from ledger.files.document import Document
from ledger.files.paths import Kind, Source, discover
from ledger.files.reading import read_document
from ledger.files.schemas import check_document
from ledger.files.tree import FileTree
from ledger.model.build import build_ledger
from ledger.model.build_visit import content_of, local_instant
from ledger.model.ledger import Ledger, known_from, known_on
from ledger.model.references import EntryRef, Place
from ledger.model.site import Site
from ledger.model.tie_backs import TieBack, tie_backs_of
from ledger.model.visits import Entry, Visit, VisitHead
from ledger.site.pipeline import LoadedSite
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.register.found import FollowUp

MAIN = ""

Row: TypeAlias = tuple[
    EntryRef, EntryRef, str, str, Sequence[str], Sequence[str], Mapping[str, Any]
]
"""A standing entry: its reference and that of what was filed first, when that began as typed, who,
where, what it says."""


@dataclass(frozen=True, kw_only=True)
class LedgerExcerpt(Ledger):
    """A ledger that knows only some entries.

    Its visits are those that read a meter, the last one, and what was filed since. `confirmed` are
    the machines whose setting in force needs no reading, by the change's number.
    """

    kept: tuple[Entry, ...]
    kept_tie_backs: tuple[TieBack, ...]
    confirmed: frozenset[tuple[str, int]]

    @cached_property
    def standing(self) -> tuple[Entry, ...]:
        return self.kept

    @cached_property
    def telling(self) -> tuple[Entry, ...]:
        return tuple(entry for entry in self.kept if not entry.content.is_bare_work)

    def standing_at(self, machine: str) -> Iterator[Entry]:
        return (one for one in self.kept if any(at.machine == machine for at in one.places))

    def telling_at(self, machine: str) -> Iterator[Entry]:
        return (one for one in self.telling if any(at.machine == machine for at in one.places))

    @cached_property
    def tie_backs(self) -> tuple[TieBack, ...]:
        return self.kept_tie_backs

    @property
    def entries(self) -> tuple[Entry, ...]:
        raise LookupError("an excerpt does not hold every entry")

    entry = path_of_visit = entries  # type: ignore[assignment]


def excerpt_of(
    ledger: Ledger, site: LoadedSite, schedule: Schedule, follow_ups: Iterable[FollowUp]
) -> dict[str, str]:
    """The excerpt as texts by name: each machine's readings under its id, the rest under `MAIN`.

    `schedule` and `follow_ups` are of a day by which all of the record is known.
    """

    def row(entry: Entry) -> Row:
        first = ledger.origin(ledger.entry[entry.ref]).ref
        places = [str(place) for place in entry.places]
        return (entry.ref, first, at(first.visit), entry.by, entry.helpers, places, entry.raw)

    def at(visit: str) -> str:
        typed: str = site.documents[ledger.path_of_visit[visit]].value["at"]
        return typed

    main = {
        "documents": [
            (one.path, one.value) for one in site.documents.values() if one.kind is not Kind.VISIT
        ],
        "evidence": sorted(
            {ref.visit for drive in ledger.setpoints.values() for c in drive.changes
             for ref in c.evidence}
        ),
        "confirmed": [
            (one.machine.ident, one.change.number) for one in follow_ups if not one.is_open
        ],
        "last": max(visit.when for visit in ledger.visits).isoformat(),
        "known_from": ledger.overall.known_from.isoformat(),
        "visits": [
            (visit.ident, at(visit.ident), visit.meters)
            for visit in ledger.visits
            if visit.meters or visit is ledger.visits[-1]
        ],
        "entries": [row(entry) for entry in schedule.entries_that_count()],
        "tied_back": [
            (row(one.entry), None if one.closed_by is None else row(one.closed_by))
            for one in ledger.tie_backs
        ],
    }  # fmt: skip
    texts = {
        machine: json.dumps([row(entry) for entry in ledger.telling_at(machine)])
        for machine in ledger.setpoints
    }
    return {f"excerpt {name}": text for name, text in {MAIN: json.dumps(main), **texts}.items()}


def ledger_of(
    read: Callable[[str], str | None],
    tree: FileTree,
    added: Sequence[str],
    day: Callable[[tzinfo], date],
) -> LedgerExcerpt | None:
    """The ledger of an excerpt and the visits added since; None where the whole is to be read.

    `read` gives a text of the excerpt by its name, `added` are the paths of the visits in `tree`,
    and `day` says as of which day in the site's zone.
    """
    text = read(MAIN)
    if text is None:
        return None
    main = json.loads(text)
    values = dict(main["documents"])
    found = discover([*values, *added])
    documents: list[Document] = []
    for source in found.sources:
        document = _kept(source, values) if source.path in values else _new(tree, source)
        if document is None:
            return None
        documents.append(document)
    cited = [Source(kind=Kind.VISIT, path="", ident=ident) for ident in main["evidence"]]
    built = build_ledger(documents, unread=cited)
    if built.ledger is None or found.diagnostics or built.diagnostics:
        return None
    as_of = day(built.ledger.site.zone)
    new = built.ledger.visits
    last = datetime.fromisoformat(main["last"])
    if (
        as_of < date.fromisoformat(main["known_from"])
        or any(known_from(visit, built.ledger.site) > as_of for visit in new)
        or any(_may_upset(visit, last) for visit in new)
    ):
        return None
    ledger = known_on(built.ledger, as_of)
    site = ledger.site
    confirmed = frozenset((machine, number) for machine, number in main["confirmed"])
    rows = list(main["entries"])
    for ident, drive in ledger.setpoints.items():
        change = drive.on(as_of)
        if change is not None and (ident, change.number) not in confirmed:
            of_machine = read(ident)
            if of_machine is None:
                return None
            rows += json.loads(of_machine)
    # A correction stands in the place of what it corrects.
    kept = {(one.when, first): one for first, one in (_entry(site, row) for row in rows)}
    kept |= {(one.when, one.ref): one for visit in new for one in visit.entries}
    tied = [
        (_entry(site, opened), None if closed is None else _entry(site, closed)[1])
        for opened, closed in main["tied_back"]
    ]
    read_meters = [_visit(site, *visit_row) for visit_row in main["visits"]]
    visits = sorted((*read_meters, *new), key=lambda visit: (visit.when, visit.ident))
    of_files = {field.name: getattr(ledger, field.name) for field in fields(Ledger)}
    return LedgerExcerpt(
        **(of_files | {"visits": tuple(visits)}),
        kept=tuple(kept[key] for key in sorted(kept)),
        kept_tie_backs=tie_backs_of(
            [opened for opened, _ in tied],
            {first: closed for (first, _), closed in tied if closed is not None},
            site,
        ),
        confirmed=confirmed,
    )


def _kept(source: Source, values: Mapping[str, Any]) -> Document:
    # Without its text: there is nothing to say against it.
    value = values[source.path]
    return Document(
        kind=source.kind, path=source.path, ident=source.ident, value=value, read=lambda _: ""
    )


_UPSETTING = frozenset({"closes", "corrects", "tied_back"})


def _new(tree: FileTree, source: Source) -> Document | None:
    """A new visit in order that refers to nothing filed before and ties nothing back."""
    document, faults = read_document(tree, source)
    if document is None or faults or source.kind is not Kind.VISIT or check_document(document):
        return None
    upsets = any(_UPSETTING & entry.keys() for entry in document.value["entries"])
    return None if upsets else document


def _may_upset(visit: Visit, last: datetime) -> bool:
    """Whether it was filed late and tells something that later readings were judged without."""
    return visit.when <= last and not all(e.content.is_bare_work for e in visit.entries)


def _entry(site: Site, row: Row) -> tuple[EntryRef, Entry]:
    """An entry, and the reference of the one filed first."""
    ref, first, at, by, helpers, places, raw = row
    when = local_instant(at, site)
    visit, number, step = ref
    day = when.astimezone(site.zone).date()
    entry = Entry(
        head=VisitHead(visit=visit, when=when, day=day, by=by, helpers=tuple(helpers)),
        number=number,
        step=step,
        content=content_of(raw, tuple(map(Place.parse, places)), site),
    )
    return EntryRef(*first), entry


def _visit(site: Site, ident: str, at: str, meters: Mapping[str, float]) -> Visit:
    when = local_instant(at, site)
    day = when.astimezone(site.zone).date()
    return Visit(ident=ident, path="", when=when, day=day, by="", meters=meters, entries=())
