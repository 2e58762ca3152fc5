"""Signatures of commits, each held against the people file as it counted before its landing."""

from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING, Self

from ledger.book.short_words import format_count, format_person
from ledger.history.commit import Commit
from ledger.history.verification import Outcome, Signature, Verification, Verifier
from ledger.model.policy import CommitMaker, owners_of
from ledger.model.site import Site
from ledger.proof.audit_items import Irregularity, Item, Note

if TYPE_CHECKING:
    from concurrent.futures import Future, ThreadPoolExecutor


NO_REPLY = ("@noreply@", "@no-reply@", "@users.noreply.", "@noreply.")
"""Parts of addresses, each behind an @, that git hosts commit with, or give to accounts."""

_HOSTS_KEY = "signed with the key of a git host: it vouches for an account, not for a person here"


class Signatures:
    """Verifies signatures beside the walk, several at a time. Use it in a `with`.

    The keys that count are those of the site that is asked with. Nothing is run for a history that
    carries no signature.
    """

    def __init__(self, verifier: Verifier) -> None:
        self._verifier = verifier
        self._pool: ThreadPoolExecutor | None = None
        self._asked: dict[str, Future[Verification]] = {}
        self._reported: list[tuple[Commit, Site]] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)

    def begin(self, signature: Signature, site: Site) -> "Future[Verification]":
        """Begin to verify a signature with the keys of a site's people."""
        if self._pool is None:
            # Most histories carry no signature, and then need none of it.
            from concurrent.futures import ThreadPoolExecutor  # noqa: PLC0415

            self._pool = ThreadPoolExecutor()
        keys = {person.ident: person.signing_keys for person in site.people.values()}
        return self._pool.submit(self._verifier.verify, signature, keys)

    def ask(self, commit: Commit, site: Site) -> None:
        """Begin to verify a commit, to be asked for by `maker`."""
        if commit.signature is not None and commit.oid not in self._asked:
            self._asked[commit.oid] = self.begin(commit.signature, site)

    def maker(self, commit: Commit) -> CommitMaker:
        """Who made a commit that was asked for, with what became of its signature."""
        pending = self._asked.get(commit.oid)
        found = None if pending is None else pending.result()
        return CommitMaker(
            oid=commit.oid,
            author=commit.author.email,
            committer=commit.committer.email,
            is_merge=commit.is_merge,
            signature="" if found is None else found.words,
            signer="" if found is None else found.signer,
            is_forged=found is not None and found.outcome is Outcome.BAD,
        )

    def report(self, commit: Commit, site: Site) -> None:
        """Take in a commit whose signature is to be reported by `end` and `outcomes`."""
        if commit.signature is not None:
            self.ask(commit, site)
            self._reported.append((commit, site))

    def outcomes(self) -> dict[Outcome, int]:
        """How many signatures came out how, of the commits reported on."""
        return Counter(self._asked[commit.oid].result().outcome for commit, _ in self._reported)

    def end(self) -> Iterator[Item]:
        """Bad signatures one by one; those that prove nothing counted by their reason."""
        unproven: Counter[str] = Counter()
        for commit, ruling in self._reported:
            found = self._asked[commit.oid].result()
            if found.outcome is Outcome.BAD:
                yield Item(Irregularity.SIGNATURE, found.words, commit=commit)
            elif found.outcome is Outcome.VERIFIED:
                committers = owners_of(commit.committer.email, ruling.people)
                if committers and found.signer not in {one.ident for one in committers}:
                    signer, named = format_person(found.signer, ruling), committers[0].name
                    text = f"signed by {signer}, but committed in the name of {named}"
                    yield Item(Irregularity.SIGNATURE, text, commit=commit)
            else:
                by_host = any(part in f"@{commit.committer.email}" for part in NO_REPLY)
                unproven[_HOSTS_KEY if by_host else found.words] += 1
        for reason, count in sorted(unproven.items()):
            yield Item(Note.SIGNATURE, reason, about=format_count(count, "commit"))
