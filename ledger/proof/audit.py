"""The whole history of a site held against the rules of the record, from git's objects alone."""

import gc
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta, tzinfo
from enum import StrEnum
from functools import lru_cache

from ledger.history.commit import Commit
from ledger.history.log import walk
from ledger.history.objects import BlobReader
from ledger.history.problem import GitProblem
from ledger.history.repository import Repository, ref_names, resolve, resolve_as_of
from ledger.history.state import (
    HistoryState,
    Remembered,
    history_state,
    remembered_head,
)
from ledger.model.site import Site
from ledger.proof.audit_items import Item, Note, Offence, PageCheck, mark_of
from ledger.proof.audit_settings import SettingTrail
from ledger.proof.audit_sites import Sites, site_in
from ledger.proof.audit_visits import VisitTrail
from ledger.proof.records import record_change, touched_visits
from ledger.proof.trees import first_parents, object_ids_at, tree_changes

_ISO_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
_BOOK = "book/"
_BLOBS_KEPT = 256
# Two clocks that made commits one after the other may be a day apart before it is held a forgery.
_CLOCK_SLACK = timedelta(days=1)


class Verdict(StrEnum):
    """The outcome in one word; PARTIAL where history could not be read whole."""

    CLEAN = "clean"
    FINDINGS = "findings"
    PARTIAL = "partial"


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """How much was looked at, in the commits asked for."""

    commits: int
    merges: int
    visits: int
    approvals: int
    books: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Audit:
    """What an audit saw and found; `items` are offences and notes in the order of their kinds.

    `since` is the commit after which it looked, None for all of history. `remembered` is what
    became of a head written down at an earlier audit, None where none was given.
    """

    head: str
    since: str | None
    site: Site
    state: HistoryState
    remembered: Remembered | None
    counts: Counts
    items: tuple[Item, ...]

    @property
    def offences(self) -> tuple[Item, ...]:
        return tuple(item for item in self.items if isinstance(item.kind, Offence))

    @property
    def verdict(self) -> Verdict:
        if not self.state.is_whole or self.remembered is Remembered.CANNOT_TELL:
            return Verdict.PARTIAL
        return Verdict.FINDINGS if self.offences else Verdict.CLEAN


class CachedBlobs:
    """The last blobs read are kept: one file's versions are asked for several times in a row."""

    def __init__(self, blobs: BlobReader) -> None:
        self.read = lru_cache(maxsize=_BLOBS_KEPT)(blobs.read)


def audit(
    repository: Repository,
    *,
    since: str | None = None,
    remembered: str | None = None,
    every_book: bool = False,
) -> Audit:
    """Walk all history of HEAD and hold it against the rules.

    `since` is a revision, after which, or a day (YYYY-MM-DD), from which on commits are reported;
    all of history is read. `remembered` is the full id of a head written down earlier. The book
    is rendered and compared as it was last committed, with `every_book` at each commit that
    touched it. Raises GitProblem where git cannot tell, or the head holds no usable site.
    """
    state = history_state(repository)
    told = None if remembered is None else remembered_head(repository, remembered)
    with BlobReader(repository) as reader:
        blobs = CachedBlobs(reader)
        site = site_in(repository, state.head, blobs)
        start = _start(repository, since, site.zone)
        trail = _Trail(repository, blobs, site, _before(repository, start))
        # Many small values are kept; looking for garbage among them costs more than it frees.
        was_on = gc.isenabled()
        gc.disable()
        try:
            items = list(trail.walked())
        finally:
            if was_on:
                gc.enable()
        if told is Remembered.REWRITTEN and remembered is not None:
            items.extend(_rewritten(repository, remembered, blobs))
    books = _books(repository, trail, every_book=every_book)
    items.extend(item for check in books for item in _page_items(check, trail))
    items.extend(_of_state(state))
    order = {kind: rank for rank, kind in enumerate((*Offence, *Note))}
    items.sort(key=lambda item: order[item.kind])
    return Audit(
        head=state.head,
        since=start,
        site=site,
        state=state,
        remembered=told,
        counts=Counts(
            commits=trail.commits,
            merges=trail.merges,
            visits=trail.visits,
            approvals=trail.approvals,
            books=len(books),
        ),
        items=tuple(items),
    )


def _start(repository: Repository, since: str | None, zone: tzinfo) -> str | None:
    """The commit after which to report; None for all, also where nothing is older than the day."""
    if since is None:
        return None
    try:
        if since in ref_names(repository):
            return resolve(repository, since)
        return resolve_as_of(repository, _day_before(since), zone)
    except GitProblem as problem:
        if problem.rule == "before-history":
            return None
        raise


def _day_before(since: str) -> str:
    """For a day, the one before it: what was committed on the day itself is to be reported."""
    # Eight digits alone would be a day to Python, and the short id of a commit to git.
    if _ISO_DATE.fullmatch(since) is None:
        return since
    try:
        return (date.fromisoformat(since) - timedelta(days=1)).isoformat()
    except (ValueError, OverflowError):
        return since


def _before(repository: Repository, start: str | None) -> set[str]:
    if start is None:
        return set()
    return set(repository.git.output("rev-list", resolve(repository, start)).decode().split())


class _Trail:
    """One pass over the walk, shared by all that is followed."""

    def __init__(
        self, repository: Repository, blobs: CachedBlobs, site: Site, before: set[str]
    ) -> None:
        line = first_parents(repository, "HEAD")
        zone = site.zone
        self._repository = repository
        self._before = before
        self._line = line
        self._sites = Sites(blobs, site)
        self._visits = VisitTrail(blobs, self._sites, line, zone)
        self._settings = SettingTrail(repository, blobs, self._sites, line, zone)
        self._committed_at: dict[str, float] = {}
        self.commits = self.merges = self.visits = self.approvals = 0
        self.books: list[Commit] = []
        self.last_book: Commit | None = None
        self.sources_since_book = 0

    def walked(self) -> Iterator[Item]:
        """Everything that the history itself tells, of the commits asked for."""
        for commit in walk(self._repository):
            old = commit.oid in self._before
            visits, approvals = self._visits.count, self._settings.count
            # The trails must see every commit, reported or not.
            found = list(self._one(commit))
            self._note_book(commit, old=old)
            if old:
                continue
            self.commits += 1
            self.merges += commit.is_merge
            self.visits += self._visits.count - visits
            self.approvals += self._settings.count - approvals
            yield from found
        for item in (*self._visits.end(), *self._settings.end()):
            if item.commit is None or item.commit.oid not in self._before:
                yield item

    def _one(self, commit: Commit) -> Iterator[Item]:
        self._sites.add(commit)
        yield from self._clock(commit)
        yield from self._visits.add(commit)
        yield from self._settings.add(commit)
        for said in self._sites.rule_changes(commit):
            yield Item(kind=Note.RULES, about="site.yaml", words=said, commit=mark_of(commit))
        for oddity in commit.oddities:
            yield Item(kind=Note.ODD_COMMIT, about="", words=oddity, commit=mark_of(commit))

    def _clock(self, commit: Commit) -> Iterator[Item]:
        if commit.committer.at is None:
            return
        at = commit.committer.at.timestamp()
        self._committed_at[commit.oid] = at
        newest = max((self._committed_at.get(parent, at) for parent in commit.parents), default=at)
        if newest - at > _CLOCK_SLACK.total_seconds():
            days = (newest - at) / _CLOCK_SLACK.total_seconds()
            yield Item(
                kind=Offence.CLOCK,
                about="",
                words=f"dated {days:.1f} days before the commit it builds on",
                commit=mark_of(commit),
            )

    def _note_book(self, commit: Commit, *, old: bool) -> None:
        in_book = [c.path.startswith(_BOOK) for c in commit.changes]
        if any(in_book) and not old and any(c.path.startswith(_BOOK) for c in commit.own_changes):
            self.books.append(commit)
        if commit.oid not in self._line or not in_book:
            return
        if any(in_book):
            self.last_book, self.sources_since_book = commit, 0
        if not all(in_book) and not any(in_book):
            self.sources_since_book += 1


def _books(repository: Repository, trail: _Trail, *, every_book: bool) -> list[PageCheck]:
    wanted = [commit.oid for commit in trail.books] if every_book else []
    if trail.last_book is not None and trail.last_book.oid not in wanted:
        wanted.append(trail.last_book.oid)
    if not wanted:
        return []
    # What renders a book takes longer to import than the history of a small site to read.
    from ledger.proof.audit_pages import check_pages  # noqa: PLC0415

    return [check_pages(repository, oid) for oid in wanted]


def _page_items(check: PageCheck, trail: _Trail) -> Iterator[Item]:
    commits = {commit.oid: commit for commit in trail.books}
    if trail.last_book is not None:
        commits[trail.last_book.oid] = trail.last_book
    mark = mark_of(commits[check.commit])
    for path, why in check.faults:
        yield Item(kind=Offence.PAGE, about=path, words=why, commit=mark)
    if check.unusable:
        yield Item(kind=Note.BOOK, about="", words=check.unusable, commit=mark)
    if trail.sources_since_book and check.commit == (trail.last_book and trail.last_book.oid):
        count = trail.sources_since_book
        said = (
            f"last rendered here; {count} {'commit' if count == 1 else 'commits'} on the line "
            "since then changed other files"
        )
        yield Item(kind=Note.BOOK, about="", words=said, commit=mark)


def _rewritten(repository: Repository, oid: str, blobs: CachedBlobs) -> Iterator[Item]:
    """That the head no longer builds on a remembered commit, and which of its visits are gone."""
    said = f"the head does not build on {oid[:12]}, the head remembered from an earlier audit"
    yield Item(kind=Offence.REWRITTEN, about="", words=said)
    try:
        old = object_ids_at(repository, oid)
    except GitProblem:
        said = "its commit is not in this clone any more, so what it held cannot be compared"
        yield Item(kind=Offence.REWRITTEN, about=oid[:12], words=said)
        return
    changes = tree_changes(old, object_ids_at(repository, "HEAD"))
    for one in touched_visits(changes, blobs)[0]:
        record = record_change(one, blobs)
        values = f": {'; '.join(record.values)}" if record.values else ""
        yield Item(
            kind=Offence.REWRITTEN,
            about=record.path,
            words=f"held by the remembered head, {record.touch.value} in this one{values}",
            old_text=record.old_text,
            new_text=record.new_text,
        )


def _of_state(state: HistoryState) -> Iterator[Item]:
    for oid in state.shallow_at:
        said = "its parents are not in this clone; what it already held could not be judged"
        yield Item(kind=Note.SHALLOW, about=oid[:12], words=said)
    if state.partial:
        said = "files may be missing from this clone: git fetch --refetch --no-filter"
        yield Item(kind=Note.SHALLOW, about="", words=said)
    for oid in (*state.grafts, *state.replaced):
        said = "replaced or grafted in this clone; the audit read the true commit"
        yield Item(kind=Note.SHOWN_OTHERWISE, about=oid[:12], words=said)
