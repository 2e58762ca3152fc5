"""The whole history of a site held against the rules of the record, from git's objects alone."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta, tzinfo
from enum import StrEnum
from functools import partial
from itertools import islice

from ledger.book.short_words import format_person
from ledger.files.reading import without_collecting
from ledger.history.git import GitProblem
from ledger.history.log import History, Landing, reached_by
from ledger.history.objects import BlobReader
from ledger.history.repository import (
    HistoryState,
    Remembered,
    Repository,
    day_named,
    history_state,
    remembered_head,
    resolve,
    resolve_as_of,
)
from ledger.history.verification import Outcome, Verifier
from ledger.model.policy import why_may_not_audit
from ledger.model.site import Policy, Site
from ledger.proof.audit_books import BookCommits, book_checks, by_other_versions, page_items
from ledger.proof.audit_items import Irregularity, Item, Note, record_item
from ledger.proof.dispositions import AuditRecord, Disposition
from ledger.proof.judge import Judge
from ledger.proof.records import (
    Reader,
    is_visit,
    object_ids_at,
    record_change,
    touched_visits,
    tree_changes,
)
from ledger.proof.signatures import Signatures
from ledger.proof.sites import site_in
from ledger.values import dataclass, replace

_LANDINGS_AT_ONCE = 64

_ID_DIGITS = 10

_TOUCHED = (
    Irregularity.DELETED,
    Irregularity.EDITED,
    Irregularity.RENAMED,
    Irregularity.APPROVED_DELETED,
    Irregularity.APPROVED_EDITED,
)


class Verdict(StrEnum):
    """The outcome in one word; PARTIAL where history could not be read whole.

    It is not whole in a shallow clone, nor where the records were moved here from a folder in
    which their history began.
    """

    CLEAN = "clean"
    FINDINGS = "findings"
    PARTIAL = "partial"


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """How much was looked at, in the commits asked for; `signatures` by what became of each.

    `books` are those rendered again and compared, `other_books` those that were not, by the other
    version of this program that rendered them.
    """

    commits: int
    merges: int
    visits: int
    approvals: int
    books: int
    other_books: Mapping[str, int]
    signatures: Mapping[Outcome, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Audit:
    """What an audit saw and found; `items` are irregularities and notes in the order of kinds.

    `since` is the commit after which it looked, None for all of history. `remembered` is what
    became of a head written down at an earlier audit, None where none was given; `recorded` is the
    last audit that the line itself keeps. `policy` are the rules that count at the head, which may
    be others than its file says.
    """

    head: str
    since: str | None
    site: Site
    state: HistoryState
    remembered: Remembered | None
    recorded: AuditRecord | None
    policy: Policy
    counts: Counts
    items: tuple[Item, ...]

    @property
    def irregularities(self) -> tuple[Item, ...]:
        return tuple(item for item in self.items if isinstance(item.kind, Irregularity))

    @property
    def open(self) -> tuple[Item, ...]:
        """The irregularities that nobody has looked into and accepted."""
        return tuple(item for item in self.irregularities if not item.closed)

    @property
    def moved_from(self) -> str:
        """The folder that the site's records were moved here from; "" for none."""
        return next((item.about for item in self.items if item.kind is Note.MOVED), "")

    @property
    def verdict(self) -> Verdict:
        cannot_tell = self.remembered is Remembered.CANNOT_TELL
        if not self.state.is_whole or cannot_tell or self.moved_from:
            return Verdict.PARTIAL
        return Verdict.FINDINGS if self.open else Verdict.CLEAN


@without_collecting()
def audit(
    history: History,
    *,
    since: str | None = None,
    remembered: str | None = None,
    every_book: bool = False,
    anchor: str | None = None,
    also: Sequence[Item] = (),
) -> Audit:
    """Walk a whole history and hold it against the rules.

    `since` is a revision, after which, or a day (YYYY-MM-DD), from which on commits are reported;
    all of history is read. `remembered` is the full id of a head written down earlier. The book
    is rendered and compared as it was last committed, with `every_book` at each commit that
    touched it. `anchor` is a revision of the line at which trust begins anew. A head that an
    audit recorded on the line counts as remembered too; `also` are irregularities of the line that
    it leads away from. Raises GitProblem where git cannot tell, or the head holds no usable site.
    """
    repository = history.repository
    state = history_state(repository)
    known = None if remembered is None else remembered_head(repository, remembered)
    with BlobReader(repository) as blobs:
        site = site_in(repository, history.head, blobs)
        start = _start(repository, since, site.zone)
        before = set() if start is None else reached_by(repository, start)
        trusted = "" if anchor is None else resolve(repository, anchor)
        with Signatures(Verifier(repository.git)) as signatures:
            judge = Judge(repository, blobs, signatures, site, history.remembered, trusted)
            walk = _Walk(history, blobs, judge, signatures, before)
            items = list(walk.items())
            outcomes = signatures.outcomes()
        recorded = judge.audits.heads
        off = [head for head in recorded if head in history and not history.is_on_line(head)]
        if set(off) - history.remembered:
            # What was recorded was the line, so a merge was turned since. But who recorded it may
            # have chosen a line that hides an edit.
            touched = [*also, *(item for item in items if item.kind in _TOUCHED)]
            with History(repository, history.head, {*history.remembered, *off}) as led:
                return audit(
                    led,
                    since=since,
                    remembered=remembered,
                    every_book=every_book,
                    anchor=anchor,
                    also=touched,
                )
        items.extend(item for item in also if not any(map(partial(_is_same, item), items)))
        items.extend(
            Item(
                Irregularity.REWRITTEN,
                "the head that it recorded is not in this history",
                about=path,
            )
            for head, path in recorded.items()
            if head not in history
        )
        if known is Remembered.REWRITTEN and remembered is not None:
            items.extend(_rewritten(repository, remembered, blobs))
    books = book_checks(repository, walk.books, site, history, every_book=every_book)
    items.extend(page_items(books, walk.books))
    items.extend(_gaps(state))
    items = list(_closed(items, judge.audits.accepted, site))
    order = {kind: rank for rank, kind in enumerate((*Irregularity, *Note))}
    return Audit(
        head=history.head,
        since=start,
        site=site,
        state=state,
        remembered=known,
        recorded=judge.audits.last,
        policy=judge.rules.site.policy,
        counts=Counts(
            commits=walk.commits,
            merges=walk.merges,
            visits=walk.visits,
            approvals=walk.approvals,
            books=sum(not check.other_version for check in books),
            other_books=by_other_versions(books),
            signatures=outcomes,
        ),
        items=tuple(sorted(items, key=lambda item: order[item.kind])),
    )


def _is_same(item: Item, other: Item) -> bool:
    return (item.kind, item.about, item.commit) == (other.kind, other.about, other.commit)


def _start(repository: Repository, since: str | None, zone: tzinfo) -> str | None:
    """The commit after which to report; None for all, also where nothing is older than the day."""
    if since is None:
        return None
    day = day_named(repository, since)
    if day is not None and day > date.min:
        # What was committed on the day itself is to be reported.
        since = (day - timedelta(days=1)).isoformat()
    try:
        return resolve_as_of(repository, since, zone)
    except GitProblem as problem:
        if problem.rule == "before-history":
            return None
        raise


class _Walk:
    """One pass over a history: each landing is shown to the judge.

    `before` are commits that are followed but not reported. The counts hold once `items` is read.
    """

    def __init__(
        self,
        history: History,
        blobs: BlobReader,
        judge: Judge,
        signatures: Signatures,
        before: set[str],
    ) -> None:
        self._history = history
        self._blobs = blobs
        self._judge = judge
        self._before = before
        self._signatures = signatures
        self.commits = self.merges = self.visits = self.approvals = 0
        self.books = BookCommits()

    def items(self) -> Iterator[Item]:
        """Everything that the history itself shows, of the commits asked for."""
        judge = self._judge
        for landing in self._landings():
            old, keys = landing.oid in self._before, judge.rules.site
            visits, approvals = judge.visits.count, len(judge.settings.approvals)
            # The judge must see every landing, reported or not.
            is_taken = judge.takes(landing)
            found, commits = ([], ()) if is_taken else (list(judge.judge(landing)), landing.commits)
            self.books.others_since += is_taken
            for commit in commits:
                if commit.changes:
                    self.books.add(commit, old=old, on_line=commit is landing.commit)
                    if not old:
                        self._signatures.report(commit, keys)
            if old:
                continue
            self.commits += len(landing.places)
            self.merges += sum([one.is_merge for one in commits]) or len(landing.places) > 1
            self.visits += judge.visits.count - visits
            self.approvals += len(judge.settings.approvals) - approvals
            yield from found
        for item in (*judge.end(), *self._signatures.end()):
            if item.commit is None or item.commit.oid not in self._before:
                yield item

    def _landings(self) -> Iterator[Landing]:
        """Those of the history, with the visits that they file read in blocks."""
        landings = self._history.landings()
        while block := list(islice(landings, _LANDINGS_AT_ONCE)):
            self._blobs.read_ahead([oid for landing in block for oid in _visits_of(landing)])
            yield from block


def _visits_of(landing: Landing) -> list[str]:
    """The object ids of the visits that a landing files or changes."""
    additions = landing.additions
    if additions:
        return [one.blob for one in additions if is_visit(one.path)]
    changes = [one for one in landing.commit.changes if is_visit(one.path)]
    return [one.new_text_oid for one in changes if one.new_text_oid]


def why_not_closed(found: Audit, ident: str, by: str) -> str:
    """Why a person cannot accept an irregularity of an audit by its id; "" where they can."""
    item = next((item for item in found.irregularities if item.ident == ident), None)
    if item is None:
        return "the audit found no irregularity of that id"
    if item.closed:
        return f"it was {item.closed}"
    wrong = why_may_not_audit(found.site.people.get(by))
    if wrong:
        return f"{format_person(by, found.site)}: {wrong}"
    return Disposition(by=by, at="", why="", ruling=found.site).refused(item)


def _closed(
    items: Iterable[Item], accepted: Mapping[str, Disposition], site: Site
) -> Iterator[Item]:
    """The items, each irregularity with its id, and with who accepted it where somebody has."""
    seen: Counter[str] = Counter()
    for item in items:
        if not isinstance(item.kind, Irregularity):
            yield item
            continue
        import hashlib  # noqa: PLC0415 - takes longer to import than a clean history has

        # Without a commit to name it by, its words must: else it could be accepted beforehand.
        found_in = item.words if item.commit is None else item.commit.oid
        text = f"{item.kind.name}\0{item.about}\0{found_in}"
        seen[text] += 1
        ident = hashlib.sha256(f"{text}\0{seen[text]}".encode()).hexdigest()[:_ID_DIGITS]
        found, closed = accepted.get(ident), ""
        if found is not None and not found.refused(item):
            who = format_person(found.by, site)
            closed = f"accepted by {who} on {found.at[:10]}: {found.why}"
        yield replace(item, ident=ident, closed=closed)


def _rewritten(repository: Repository, oid: str, blobs: Reader) -> Iterator[Item]:
    """That the head no longer builds on a remembered commit, and which of its visits are gone."""
    text = f"the head does not build on {oid[:12]}, the head remembered from an earlier audit"
    yield Item(Irregularity.REWRITTEN, text)
    try:
        old = object_ids_at(repository, oid)
    except GitProblem:
        text = "its commit is not in this clone any more, so what it held cannot be compared"
        yield Item(Irregularity.REWRITTEN, text, about=oid[:12])
        return
    changes = tree_changes(old, object_ids_at(repository, "HEAD"))
    for one in touched_visits(changes, blobs)[0]:
        record = record_change(one, blobs)
        values = f": {'; '.join(record.values)}" if record.values else ""
        text = f"held by the remembered head, {record.touch.value} in this one{values}"
        yield record_item(Irregularity.REWRITTEN, text, record)


def _gaps(state: HistoryState) -> Iterator[Item]:
    """What this clone does not hold, or would have git show otherwise."""
    for oid in state.shallow_at:
        text = "its parents are not in this clone; what it already held could not be judged"
        yield Item(Note.SHALLOW, text, about=oid[:12])
    if state.partial:
        text = "files may be missing from this clone: git fetch --refetch --no-filter"
        yield Item(Note.SHALLOW, text)
    for oid in (*state.grafts, *state.replaced):
        text = "replaced or grafted in this clone; the audit read the true commit"
        yield Item(Note.SHOWN_OTHERWISE, text, about=oid[:12])
