"""Signatures along a history, each held against the people file as it ruled before the commit."""

from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING, Self

from ledger.history.commit import Commit
from ledger.history.verification import Outcome, Verification, Verifier
from ledger.model.site import Site
from ledger.proof.approval import owners_of
from ledger.proof.audit_items import Item, Note, Offence, mark_of
from ledger.report import plain

if TYPE_CHECKING:
    from concurrent.futures import Future, ThreadPoolExecutor


class Signatures:
    """Verifies signatures beside the walk, several at a time. Use it in a `with`.

    Nothing is run for a history that carries none.
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

    def ask(self, commit: Commit, ruling: Site) -> None:
        """Begin to verify a commit, to be asked for by `of`; `ruling` has the keys that count."""
        if commit.signature is None or commit.oid in self._asked:
            return
        if self._pool is None:
            # Most histories carry no signature, and then need none of it.
            from concurrent.futures import ThreadPoolExecutor  # noqa: PLC0415

            self._pool = ThreadPoolExecutor()
        self._asked[commit.oid] = self._pool.submit(
            self._verifier.verify, commit.signature, keys_of(ruling)
        )

    def of(self, oid: str) -> Verification | None:
        """What became of a signature asked for; None where the commit carries none."""
        asked = self._asked.get(oid)
        return None if asked is None else asked.result()

    def add(self, commit: Commit, ruling: Site) -> None:
        """Take in a commit whose signature is to be reported by `end` and `outcomes`."""
        if commit.signature is not None:
            self.ask(commit, ruling)
            self._reported.append((commit, ruling))

    def outcomes(self) -> dict[Outcome, int]:
        """How many signatures came out how, of the commits reported on."""
        return Counter(self._asked[commit.oid].result().outcome for commit, _ in self._reported)

    def end(self) -> Iterator[Item]:
        """Bad signatures one by one; those that prove nothing counted by their reason."""
        unproven: Counter[str] = Counter()
        for commit, ruling in self._reported:
            found = self._asked[commit.oid].result()
            if found.outcome is Outcome.BAD:
                yield _bad(commit, found.words)
            elif found.outcome is Outcome.VERIFIED:
                committers = owners_of(commit.committer.email, ruling.people)
                if committers and found.signer not in {one.ident for one in committers}:
                    signer, named = plain.person_words(found.signer, ruling), committers[0].name
                    yield _bad(commit, f"signed by {signer}, but committed in the name of {named}")
            else:
                unproven[found.words] += 1
        for said, count in sorted(unproven.items()):
            yield Item(kind=Note.SIGNATURE, about=plain.count_words(count, "commit"), words=said)


def keys_of(site: Site) -> dict[str, tuple[str, ...]]:
    """The public keys of each person of a site, by the person's id."""
    return {person.ident: person.signing_keys for person in site.people.values()}


def _bad(commit: Commit, said: str) -> Item:
    return Item(kind=Offence.SIGNATURE, about="", words=said, commit=mark_of(commit))
