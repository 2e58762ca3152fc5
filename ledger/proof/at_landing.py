"""One landing as those who judge it see it: what it brought, under which rules, and who vouches."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime, tzinfo
from functools import cached_property

from ledger.history.commit import Change, Commit
from ledger.history.log import Landing
from ledger.model.policy import CommitMaker
from ledger.model.site import Site
from ledger.proof.audit_items import Irregularity, Item, Note
from ledger.proof.records import Reader, new_bytes, old_bytes, text_of
from ledger.proof.signatures import Signatures
from ledger.proof.statements import Statements
from ledger.values import dataclass


@dataclass(kw_only=True)  # not frozen: one is made for each landing of a long history
class AtLanding:
    """A landing, `ruling` with the people of the tip before it and the rules it has to satisfy.

    `begins` where it brought the site itself: git cannot tell who wrote what came with it, or when.
    `arrived` where it brought a statement. It came to the line at `landed_at`, by the site's clock;
    None where the commit does not tell.
    """

    landing: Landing
    ruling: Site
    zone: tzinfo
    landed_at: datetime | None
    begins: bool
    arrived: bool
    blobs: Reader
    signatures: Signatures
    statements: Statements

    @property
    def commit(self) -> Commit:
        return self.landing.commit

    @property
    def landed_on(self) -> date | None:
        return None if self.landed_at is None else self.landed_at.date()

    @cached_property
    def _own_changes(self) -> dict[str, list[tuple[Commit, Change]]]:
        found: dict[str, list[tuple[Commit, Change]]] = {}
        for commit in self.landing.commits:
            for change in commit.own_changes:
                found.setdefault(change.path, []).append((commit, change))
        return found

    def written(self, path: str) -> Sequence[tuple[Commit, Change]]:
        """The commits it brought that wrote a file, oldest first, each with its own change."""
        if len(self.landing.commits) == 1:
            commit = self.landing.commit
            return [(commit, change) for change in commit.own_changes if change.path == path]
        return self._own_changes.get(path, ())

    def writer(self, path: str) -> Commit:
        """Who last wrote a file, as far as the landing shows; else who brought it."""
        wrote = self.written(path)
        return wrote[-1][0] if wrote else self.commit

    def who_vouches(self, wrote: Iterable[Commit]) -> tuple[Commit, ...]:
        """Those who wrote something and who merged it, newest first; their signatures are asked."""
        found = list(dict.fromkeys((*wrote, *([self.commit] if self.commit.is_merge else ()))))
        for commit in found:
            self.signatures.ask(commit, self.ruling)
        return tuple(reversed(found))

    def makers(self, path: str) -> tuple[CommitMaker, ...]:
        """The makers of the commits that speak for what the landing did to a file."""
        commits = self.who_vouches(commit for commit, _ in self.written(path))
        return tuple(map(self.signatures.maker, commits))

    def item(
        self,
        kind: Irregularity | Note,
        words: str,
        path: str = "",
        *,
        about: str = "",
        concerns: str = "",
        change: Change | None = None,
    ) -> Item:
        """An item about a file of the landing; with its two texts where `change` is given."""
        new = None if change is None else new_bytes(change, self.blobs)
        old = b"" if change is None else old_bytes(change, self.blobs) or b""
        return Item(
            kind,
            words,
            about=about or path,
            commit=self.writer(path),
            concerns=concerns,
            old_text=None if change is None else text_of(old),
            new_text=None if new is None else text_of(new),
        )
