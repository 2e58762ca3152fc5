"""One pass over a history: each commit is shown to all that is followed."""

from collections.abc import Iterator

from ledger.history.commit import Commit
from ledger.history.log import History
from ledger.history.verification import Outcome
from ledger.model.site import Site
from ledger.proof.approval import Signatures
from ledger.proof.audit_items import Item, Note, Offence, mark_of
from ledger.proof.audit_settings import SettingTrail
from ledger.proof.audit_visits import VisitTrail, moved_here
from ledger.proof.format_moves import format_move
from ledger.proof.records import Reader
from ledger.proof.sites import SITE_FILE, Sites

_BOOK = "book/"

# Two clocks that made commits one after the other may be a day apart before it is held a forgery.
_CLOCK_SLACK_S = 86_400


class Trail:
    """Follows visits, settings, people and signatures; what it counted is told once it is walked.

    `before` are commits that are followed but not reported. `books` are those that touched the
    book, `last_book` the last of them on the line, which `sources_since_book` others followed.
    """

    def __init__(
        self,
        history: History,
        blobs: Reader,
        site: Site,
        signatures: Signatures,
        before: set[str],
    ) -> None:
        self._history = history
        self._blobs = blobs
        self._before = before
        self._sites = Sites(blobs, site, history.line)
        self._signatures = signatures
        self._visits = VisitTrail(blobs, self._sites, history.line, site.zone)
        self._settings = SettingTrail(
            history.repository, blobs, self._sites, signatures, history.line, site.zone
        )
        self._committed_at: dict[str, int] = {}
        self.commits = self.merges = self.visits = self.approvals = 0
        self.signatures: dict[Outcome, int] = {}
        self.books: list[Commit] = []
        self.last_book: Commit | None = None
        self.sources_since_book = 0

    def walked(self) -> Iterator[Item]:
        """Everything that the history itself tells, of the commits asked for."""
        for commit in self._history.commits():
            old = commit.oid in self._before
            visits, approvals = self._visits.count, self._settings.count
            # The trails must see every commit, reported or not.
            found = self._found(commit)
            if commit.changes:
                self._note_book(commit, old=old)
            if old:
                continue
            self.commits += 1
            self.merges += commit.is_merge
            self.visits += self._visits.count - visits
            self.approvals += self._settings.count - approvals
            if commit.changes and commit.signature is not None:
                self._signatures.add(commit, self._sites.ruling(commit))
            yield from found
        for item in (*self._visits.end(), *self._settings.end(), *self._signatures.end()):
            if item.commit is None or item.commit.oid not in self._before:
                yield item
        self.signatures = self._signatures.outcomes()

    def _found(self, commit: Commit) -> list[Item]:
        touches_site = self._sites.add(commit)
        found = self._clock(commit)
        for oddity in commit.text.oddities:
            found.append(self._note(Note.ODD_COMMIT, commit, oddity))
        move = format_move(self._history.repository, commit, self._blobs) if touches_site else None
        if move is not None:
            kind = Offence.FORMAT if move.differing else Note.FORMAT
            found.append(Item(kind=kind, about=SITE_FILE, words=move.words, commit=mark_of(commit)))
        if commit.changes or commit.dropped:
            found.extend(self._visits.add(commit))
            if move is None or move.differing:
                found.extend(self._settings.add(commit))
        if touches_site and self._sites.begins_with(commit):
            moved = moved_here(self._history.repository, commit)
            found.extend([] if moved is None else [moved])
        if touches_site:
            self._signatures.ask(commit, self._sites.ruling(commit))
            signature = self._signatures.of(commit.oid)
            for said in self._sites.rule_changes(commit):
                touched = self._sites.touches_proof(commit, said, signature)
                kind = Note.RULES_BY_OTHERS if touched else Note.RULES
                found.append(self._note(kind, commit, said, about=SITE_FILE))
        return found

    def _note(self, kind: Note, commit: Commit, said: str, about: str = "") -> Item:
        return Item(kind=kind, about=about, words=said, commit=mark_of(commit))

    def _clock(self, commit: Commit) -> list[Item]:
        at = commit.committer.seconds
        if at is None:
            return []
        self._committed_at[commit.oid] = newest = at
        for parent in commit.parents:
            newest = max(newest, self._committed_at.get(parent, at))
        ahead = newest - at
        if ahead <= _CLOCK_SLACK_S:
            return []
        days = ahead / 86_400
        said = f"dated {days:.1f} days before the commit it builds on"
        return [Item(kind=Offence.CLOCK, about="", words=said, commit=mark_of(commit))]

    def _note_book(self, commit: Commit, *, old: bool) -> None:
        in_book = [change.path.startswith(_BOOK) for change in commit.changes]
        if not any(in_book):
            self.sources_since_book += commit.oid in self._history.line
            return
        if not old and any(change.path.startswith(_BOOK) for change in commit.own_changes):
            self.books.append(commit)
        if commit.oid in self._history.line:
            self.last_book, self.sources_since_book = commit, 0
