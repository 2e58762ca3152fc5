"""One pass over a history: each commit is shown to all that is followed."""

from collections.abc import Iterator
from datetime import timedelta

from ledger.history.commit import Commit
from ledger.history.log import walk
from ledger.history.repository import Repository
from ledger.history.verification import Outcome
from ledger.model.site import Site
from ledger.proof.audit_items import Item, Note, Offence, mark_of
from ledger.proof.audit_settings import SettingTrail
from ledger.proof.audit_sites import Sites
from ledger.proof.audit_visits import VisitTrail
from ledger.proof.records import Reader
from ledger.proof.signatures import Signatures
from ledger.proof.trees import first_parents

_BOOK = "book/"
# Two clocks that made commits one after the other may be a day apart before it is held a forgery.
_CLOCK_SLACK = timedelta(days=1)


class Trail:
    """Follows visits, settings, people and signatures; what it counted is told once it is walked.

    `before` are commits that are followed but not reported. `books` are those that touched the
    book, `last_book` the last of them on the line, which `sources_since_book` others followed.
    """

    def __init__(
        self,
        repository: Repository,
        blobs: Reader,
        site: Site,
        signatures: Signatures,
        before: set[str],
    ) -> None:
        line = first_parents(repository, "HEAD")
        self._repository = repository
        self._before = before
        self._line = line
        self._sites = Sites(blobs, site, line)
        self._signatures = signatures
        self._visits = VisitTrail(blobs, self._sites, line, site.zone)
        self._settings = SettingTrail(repository, blobs, self._sites, signatures, line, site.zone)
        self._committed_at: dict[str, float] = {}
        self.commits = self.merges = self.visits = self.approvals = 0
        self.signatures: dict[Outcome, int] = {}
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
            if commit.changes:
                self._signatures.add(commit, self._sites.ruling(commit))
            yield from found
        for item in (*self._visits.end(), *self._settings.end(), *self._signatures.end()):
            if item.commit is None or item.commit.oid not in self._before:
                yield item
        self.signatures = self._signatures.outcomes()

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
