"""The record as the store keeps it, and the ledger of it with the visits filed since.

It is made of a whole record without errors, and is text. What was filed of a machine lies apart
from what was filed of others, and of that the bare work apart by year, so that a question about
one machine reads little. Where something is no longer kept, the files are read instead.
"""

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from datetime import date, datetime, tzinfo
from functools import cached_property
from itertools import chain, islice
from operator import attrgetter
from typing import Any

from ledger.files.document import Document
from ledger.files.paths import Kind, Source, discover
from ledger.files.reading import read_document
from ledger.files.schemas import check_document
from ledger.files.tree import FileTree
from ledger.model.build import build_ledger
from ledger.model.build_visit import content_of, head_of_visit, local_instant
from ledger.model.ledger import (
    DIGESTS,
    EVENTS,
    Extract,
    FewFirst,
    Ledger,
    Overall,
    in_order,
    is_known_on,
)
from ledger.model.references import EntryRef, Place
from ledger.model.site import Site
from ledger.model.visits import Entry, EntryContent, Visit, VisitHead
from ledger.site.pipeline import load
from ledger.values import dataclass, fields, replace

MAIN = "record"

_TAIL = 31
"""So many of the newest visits are kept whole once more: those of the handover, and one."""


def record_texts(
    ledger: Ledger, documents: Iterable[tuple[str, Any, str]]
) -> Iterator[tuple[str, str]]:
    """The record of a whole ledger as texts by name.

    `documents` are those that are no visits: path, value and digest of each.
    """
    site, overall = ledger.site, ledger.overall
    machines: dict[str, Any] = {}
    for machine in ledger.named:
        extract = ledger.of_machine(machine).extract
        if extract is None:
            continue
        yield _detailed(machine), json.dumps(_columns(extract.filed_detailed, site))
        for year, entries in extract.work.items():
            yield _work(machine, year), json.dumps(_columns(entries, site))
        machines[machine] = {"years": [*extract.work], "digests": ledger.digests(machine)}
    cited = {ref.visit for drive in ledger.setpoints.values() for ref in drive.evidence}
    main = {
        "documents": [*documents],
        "cited": sorted(cited),
        "machines": machines,
        "corrections": [(first, later.ref) for first, later in ledger.corrections.items()],
        "days": [str(overall.first_day), str(overall.last_day), str(overall.known_from)],
        "last_when": typed(overall.last_when, site),
        "visit_count": overall.visit_count,
        "meters": {
            meter: ([str(day) for day, _ in read], [reading for _, reading in read])
            for meter, read in overall.meters.items()
        },
        "permits": [_visit_row(visit, site) for visit in overall.permits],
        "tail": [_visit_row(visit, site) for visit in islice(reversed(ledger.visits), _TAIL)],
    }
    yield MAIN, json.dumps(main)


def _detailed(machine: str) -> str:
    return f"detailed {machine}"


def _work(machine: str, year: int) -> str:
    return f"work {year} {machine}"


def _columns(entries: Iterable[Entry], site: Site) -> dict[str, Any]:
    """Heads and contents, each once, and the numbers of head, entry and content of each entry."""
    heads: dict[int, tuple[int, Any]] = {}
    contents: dict[int, tuple[int, Any]] = {}
    rows: list[int] = []
    for entry in entries:
        head, content = entry.head, entry.content
        if (of_head := heads.get(id(head))) is None:
            of_head = heads[id(head)] = len(heads), _head_row(head, site)
        if (of_content := contents.get(id(content))) is None:
            of_content = contents[id(content)] = len(contents), _content_row(content)
        rows += (of_head[0], entry.number, of_content[0])
    return {
        "heads": [row for _, row in heads.values()],
        "contents": [row for _, row in contents.values()],
        "rows": rows,
    }


def _head_row(head: VisitHead, site: Site) -> tuple[Any, ...]:
    at = typed(head.when, site)
    return head.ident, at, head.by, head.helpers, head.filed_by, head.returned_by


def _content_row(content: EntryContent) -> tuple[Any, ...]:
    return content.raw, [str(place) for place in content.places]


def _visit_row(visit: Visit, site: Site) -> dict[str, Any]:
    return {
        **{name: getattr(visit, name) for name in _PLAIN},
        "head": _head_row(visit.head, site),
        "entered_at": None if visit.entered_at is None else typed(visit.entered_at, site),
        "entries": [(entry.number, *_content_row(entry.content)) for entry in visit.entries],
    }


_PLAIN = ("path", "permit", "meters", "note", "digest")


def typed(when: datetime, site: Site) -> str:
    """An instant as `local_instant` reads it."""
    return (when.replace(tzinfo=None) if when.tzinfo is site.zone else when).isoformat()


class GoneError(Exception):
    """Something kept is there no more, and the files do not give it."""


class Kept:
    """What is kept of a record, read as it is asked for.

    `read` gives a text by its name, None where it is gone.
    """

    def __init__(self, read: Callable[[str], str | None], tree: FileTree, main: Any) -> None:
        self.main = main
        self._read = read
        self._tree = tree
        self._heads: dict[str, VisitHead] = {}
        self.corrections = {EntryRef(*one): EntryRef(*by) for one, by in main["corrections"]}

    def columns(self, name: str) -> dict[str, Any] | None:
        text = self._read(name)
        return None if text is None else json.loads(text)

    def entries(
        self, columns: Mapping[str, Any], site: Site, tasks: AbstractSet[str] | None = None
    ) -> tuple[Entry, ...]:
        """All of some columns, or those of some tasks."""
        contents = {
            number: _content(site, *row)
            for number, row in enumerate(columns["contents"])
            if tasks is None or row[0].get("task") in tasks
        }
        numbers = iter(columns["rows"])
        rows = [row for row in zip(numbers, numbers, numbers, strict=True) if row[2] in contents]
        asked = {head for head, _, _ in rows}
        heads = {head: self._head(site, *columns["heads"][head]) for head in asked}
        return tuple(
            Entry(head=heads[head], number=number, content=contents[content])
            for head, number, content in rows
        )

    def visit(self, row: Mapping[str, Any], site: Site) -> Visit:
        head = self._head(site, *row["head"])
        entered = row["entered_at"]
        return Visit(
            **{name: row[name] for name in _PLAIN},
            head=head,
            entered_at=None if entered is None else local_instant(entered, site),
            entries=tuple(
                Entry(head=head, number=number, content=_content(site, *content))
                for number, *content in row["entries"]
            ),
        )

    def _head(self, site: Site, ident: str, at: str, *people: Any) -> VisitHead:
        head = self._heads.get(ident)
        if head is None:
            when = local_instant(at, site)
            head = self._heads[ident] = head_of_visit(site, ident, when, *people)
        return head

    @cached_property
    def whole(self) -> Ledger:
        """The ledger of the files, where they have to be read after all."""
        ledger = load(self._tree).ledger
        if ledger is None:
            raise GoneError("site.yaml")
        return ledger


def _content(site: Site, raw: Mapping[str, Any], places: list[str]) -> EntryContent:
    return content_of(raw, tuple(map(Place.parse, places)), site)


@dataclass(frozen=True, kw_only=True)
class KeptLedger(Ledger):
    """The ledger of what is kept and of the visits filed since, `added`, which refer to none of it.

    What was filed of a machine is read where that machine is asked for.
    """

    kept: Kept
    added: Ledger

    def texts(self) -> Iterator[tuple[str, str]]:
        """The record with what was added, to be kept in place of the one before."""
        return record_texts(self, self.kept.main["documents"])

    @cached_property
    def overall(self) -> Overall:
        main, new, site = self.kept.main, self.added.overall, self.site
        first, last, known = map(date.fromisoformat, main["days"])
        meters = {
            meter: [*zip(map(date.fromisoformat, days), readings, strict=True)]
            for meter, (days, readings) in main["meters"].items()
        }
        for meter, read in new.meters.items():
            meters.setdefault(meter, []).extend(read)
        permits = [*(self.kept.visit(row, site) for row in main["permits"]), *new.permits]
        return Overall(
            first_day=min(first, new.first_day or first),
            last_day=max(last, new.last_day or last),
            last_when=max(local_instant(main["last_when"], site), new.last_when),
            known_from=max(known, new.known_from),
            visit_count=main["visit_count"] + new.visit_count,
            meters=meters,
            permits=tuple(sorted(permits, key=_BY_TIME)),
        )

    @cached_property
    def entries(self) -> tuple[Entry, ...]:
        return self._of_all(lambda extract: extract.entries)

    @cached_property
    def filed_events(self) -> tuple[Entry, ...]:
        return self.of_machine(EVENTS).filed_detailed

    @cached_property
    def chains(self) -> Mapping[EntryRef, Sequence[EntryRef]]:
        return self.of_machine(EVENTS).chains

    @cached_property
    def filed_detailed(self) -> tuple[Entry, ...]:
        return self._of_all(lambda extract: extract.filed_detailed)

    def filed_of(self, tasks: AbstractSet[str]) -> Iterable[Entry]:
        return self._of_all(
            lambda extract: chain(extract.filed_detailed, _of_tasks(extract.work, tasks))
        )

    def _of_all(self, entries: Callable[[Extract], Iterable[Entry]]) -> tuple[Entry, ...]:
        """Each once, though it may be of several machines."""
        every = {
            (entry.head.ident, entry.number): entry
            for machine in self.named
            if machine != EVENTS and (extract := self.of_machine(machine).extract) is not None
            for entry in entries(extract)
        }
        return in_order(every.values())

    @cached_property
    def entry(self) -> Mapping[EntryRef, Entry]:
        return FewFirst(
            lambda: self.filed_events, lambda: self.filed_detailed, lambda: self.entries
        )

    @property
    def named(self) -> Iterable[str]:
        return {**self.kept.main["machines"], **dict.fromkeys(self.added.named)}

    def _digests(self, machine: str) -> Mapping[str, int]:
        kept = self.kept.main["machines"].get(machine)
        new = self.added.digests(machine)
        old = kept["digests"] if kept is not None else {}
        return {year: (old.get(year, 0) + new.get(year, 0)) % DIGESTS for year in {**old, **new}}

    def extract_of(self, machine: str) -> Extract:
        new = self.added.extract_of(machine)
        of_machine = self.kept.main["machines"].get(machine)
        if of_machine is None:
            return replace(new, overall=self.overall)
        columns = self.kept.columns(_detailed(machine))
        if columns is None:
            return self.kept.whole.extract_of(machine)
        detailed = self.kept.entries(columns, self.site)
        later = {entry.ref: entry for entry in detailed if entry.corrects is not None}
        return Extract(
            machine=machine,
            overall=self.overall,
            filed_detailed=in_order(detailed, new.filed_detailed),
            work=_Work(self, machine, of_machine["years"], new.work),
            corrections={
                first: later[ref] for first, ref in self.kept.corrections.items() if ref in later
            },
        )


def _of_tasks(work: Mapping[int, tuple[Entry, ...]], tasks: AbstractSet[str]) -> Iterator[Entry]:
    """Those of some tasks; what is kept of others is left unread."""
    for year in work if tasks else ():
        yield from work.of(year, tasks) if isinstance(work, _Work) else work[year]


class _Work(Mapping[int, tuple[Entry, ...]]):
    """The bare work of a machine by year, each year read when it is asked for."""

    def __init__(
        self,
        ledger: KeptLedger,
        machine: str,
        kept_years: Sequence[int],
        new: Mapping[int, tuple[Entry, ...]],
    ) -> None:
        self._ledger = ledger
        self._machine = machine
        self._kept = kept_years
        self._new = new
        self._read: dict[int, tuple[Entry, ...]] = {}

    def __getitem__(self, year: int) -> tuple[Entry, ...]:
        if year not in self._read:
            self._read[year] = self._of_year(year)
        return self._read[year]

    def of(self, year: int, tasks: AbstractSet[str]) -> Iterable[Entry]:
        """At least the work of a year that was of some tasks."""
        return self._read[year] if year in self._read else self._of_year(year, tasks)

    def _of_year(self, year: int, tasks: AbstractSet[str] | None = None) -> tuple[Entry, ...]:
        if year not in self._kept:
            return self._new[year]
        kept = self._ledger.kept
        columns = kept.columns(_work(self._machine, year))
        if columns is None:
            return kept.whole.extract_of(self._machine).work[year]
        entries = kept.entries(columns, self._ledger.site, tasks)
        new = self._new.get(year)
        return entries if new is None else in_order(entries, new)

    def __iter__(self) -> Iterator[int]:
        return iter(sorted({*self._kept, *self._new}))

    def __len__(self) -> int:
        return len({*self._kept, *self._new})


class _Visits(Sequence[Visit]):
    """All visits; the newest are at hand, and the files are read for the others."""

    def __init__(self, kept: Kept, added: Ledger) -> None:
        self._kept = kept
        self._added = added

    def __len__(self) -> int:
        count: int = self._kept.main["visit_count"]
        return count + len(self._added.visits)

    def __getitem__(self, index: Any) -> Any:
        return self._kept.whole.visits[index]

    def __iter__(self) -> Iterator[Visit]:
        return iter(self._kept.whole.visits)

    def __reversed__(self) -> Iterator[Visit]:
        kept = [self._kept.visit(row, self._added.site) for row in self._kept.main["tail"]]
        oldest = _BY_TIME(kept[-1])
        new = (one for one in self._added.visits if _BY_TIME(one) > oldest)
        newest = sorted((*kept, *new), key=_BY_TIME, reverse=True)
        yield from newest
        if len(newest) < len(self):
            yield from self._kept.whole.visits[: len(self) - len(newest)][::-1]


_BY_TIME = attrgetter("when", "ident")


def kept_ledger(
    read: Callable[[str], str | None],
    tree: FileTree,
    paths: Sequence[str],
    day: Callable[[tzinfo], date],
) -> KeptLedger | None:
    """The ledger of the kept record and the visits added since; None where the whole is to be read.

    `read` gives a text of the record by its name, `paths` are those of the visits in `tree` and of
    all pictures, and `day` says as of which day in the site's zone. By that day all has to be
    known.
    """
    text = read(MAIN)
    if text is None:
        return None
    main = json.loads(text)
    added = _added(main, tree, paths)
    if added is None:
        return None
    kept = Kept(read, tree, main)
    corrections = _Corrections(kept.corrections)
    own = {"visits": _Visits(kept, added), "corrections": corrections}
    of_site = {one.name: getattr(added, one.name) for one in fields(Ledger)}
    ledger = KeptLedger(**(of_site | own), kept=kept, added=added)
    corrections.ledger = ledger
    return ledger if is_known_on(ledger, day(ledger.site.zone)) else None


class _Corrections(Mapping[EntryRef, Entry]):
    """The correction of each corrected entry, looked up in a ledger."""

    ledger: Ledger

    def __init__(self, refs: Mapping[EntryRef, EntryRef]) -> None:
        self._refs = refs

    def __getitem__(self, ref: EntryRef) -> Entry:
        return self.ledger.entry[self._refs[ref]]

    def __iter__(self) -> Iterator[EntryRef]:
        return iter(self._refs)

    def __len__(self) -> int:
        return len(self._refs)


def _added(main: Any, tree: FileTree, paths: Sequence[str]) -> Ledger | None:
    """The ledger of the visits added alone; None where they cannot be taken for themselves."""
    values = {path: (value, digest) for path, value, digest in main["documents"]}
    found = discover([*values, *paths])
    documents: list[Document] = []
    for source in found.sources:
        document = (
            _known(source, *values[source.path]) if source.path in values else _new(tree, source)
        )
        if document is None:
            return None
        documents.append(document)
    cited = [Source(kind=Kind.VISIT, path="", ident=ident) for ident in main["cited"]]
    ledger, wrong = build_ledger(documents, unread=cited, photos=found.photos)
    if ledger is None or found.diagnostics or wrong:
        return None
    last = local_instant(main["last_when"], ledger.site)
    # A meter is read in order of time.
    if any(visit.meters and visit.when <= last for visit in ledger.visits):
        return None
    return ledger


def _known(source: Source, value: Any, digest: str) -> Document:
    # Without its text: there is nothing to say against it.
    return Document(
        kind=source.kind,
        path=source.path,
        ident=source.ident,
        value=value,
        read=lambda _: "",
        digest=digest,
    )


_LINKS = frozenset({"closes", "corrects"})


def _new(tree: FileTree, source: Source) -> Document | None:
    """A new visit in order that refers to nothing filed before."""
    document, faults = read_document(tree, source)
    if document is None or faults or source.kind is not Kind.VISIT or check_document(document):
        return None
    links = any(_LINKS & entry.keys() for entry in document.value["entries"])
    return None if links else document
