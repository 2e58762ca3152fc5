"""Whether git bears out `approved_by`, by the rule that the site's policy sets.

The file says who approved; the commit says whose address wrote that down. What a commit says of
its author is a claim as well: only a signature that was verified, with a key that the people file
had before the commit, proves a person.

Signatures along a history, each held against the people file as it ruled before the commit.

Who brought each approval of a branch: who proposed, who wrote it and when, who merged it.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any, Self

from ledger.book import words
from ledger.history.commit import Change as TreeChange
from ledger.history.commit import Commit
from ledger.history.repository import Repository
from ledger.history.verification import Outcome, Verification, Verifier
from ledger.model.site import ApprovalProof, Person, Site
from ledger.proof.audit_items import Item, Note, Offence, mark_of
from ledger.proof.records import (
    Reader,
    SettingStep,
    Step,
    first_parents,
    is_setpoints,
    new_bytes,
    newly_approved,
    setting_changes,
)

if TYPE_CHECKING:
    from concurrent.futures import Future, ThreadPoolExecutor


RULES = {
    ApprovalProof.FILE: "the file's word is enough",
    ApprovalProof.COMMIT: "an address of the approver must have made the commit or its merge",
    ApprovalProof.SIGNED_COMMIT: (
        "an address of the approver must have made the commit or its merge, and signed it with a "
        "key that the people file had before"
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """The rule that was applied, whether it held, and why, in words."""

    rule: ApprovalProof
    held: bool
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Maker:
    """Who made a commit, as far as the proof of an approval asks; `signature` None for unsigned."""

    oid: str
    author: str
    committer: str
    is_merge: bool
    signature: Verification | None

    @property
    def words(self) -> str:
        what = "merge" if self.is_merge else "commit"
        return f"{what} {self.oid[:10]} by {self.author or 'no address'}"


def maker_of(commit: Commit, signature: Verification | None) -> Maker:
    """The maker of a commit, with what became of its signature."""
    return Maker(
        oid=commit.oid,
        author=commit.author.email,
        committer=commit.committer.email,
        is_merge=commit.is_merge,
        signature=signature,
    )


def owner_of(email: str, people: Mapping[str, Person]) -> Person | None:
    """The person of the people file with that address, whatever its capitals; of several, one."""
    return next(iter(owners_of(email, people)), None)


def owners_of(email: str, people: Mapping[str, Person]) -> tuple[Person, ...]:
    """All who have that address by the people file, by their ids."""
    return tuple(person for _, person in sorted(people.items()) if person.has_address(email))


def prove(
    approver: str,
    rule: ApprovalProof,
    people: Mapping[str, Person],
    makers: Iterable[Maker],
) -> Proof:
    """Hold an approval against the commits that brought it: the one that wrote it, its merge.

    A commit authored in the approver's name counts for nothing where another person of the site
    committed it: anyone can name an author. An address of several people proves none of them, but
    a key can.
    """
    if rule is ApprovalProof.FILE:
        return Proof(rule=rule, held=True, words="the file names the approver; no commit is asked")
    person = people.get(approver)
    if person is None:
        return Proof(rule=rule, held=False, words=f"{approver} is not in the people file")
    if not person.emails:
        return Proof(
            rule=rule, held=False, words=f"the people file has no address of {person.name}"
        )
    refused = []
    for maker in makers:
        wrong = _why_not(person, rule, people, maker)
        if not wrong:
            return Proof(rule=rule, held=True, words=maker.words + _signed(rule, maker))
        refused.append(f"{maker.words}: {wrong}")
    said = "; ".join(refused) or "no commit was found that wrote the approval"
    return Proof(rule=rule, held=False, words=said)


def _why_not(
    person: Person, rule: ApprovalProof, people: Mapping[str, Person], maker: Maker
) -> str:
    if not person.has_address(maker.author):
        return f"not an address of {person.name}"
    committers = owners_of(maker.committer, people)
    if committers and person not in committers:
        return f"in the name of {person.name}, but committed by {committers[0].name}"
    wrong = _wrong_signature(person, rule, maker.signature)
    if wrong or rule is ApprovalProof.SIGNED_COMMIT:
        return wrong
    others = [one.name for one in owners_of(maker.author, people) if one != person]
    return f"an address that {others[0]} has too proves neither" if others else ""


def _wrong_signature(person: Person, rule: ApprovalProof, found: Verification | None) -> str:
    """One that is bad, or another person's, speaks against a commit under any rule."""
    if found is not None and found.outcome is Outcome.BAD:
        return found.words
    if found is not None and found.signer not in ("", person.ident):
        return f"signed with a key of {found.signer}"
    if rule is not ApprovalProof.SIGNED_COMMIT:
        return ""
    if found is None:
        return "carries no signature"
    if found.outcome is not Outcome.VERIFIED:
        return f"its signature was not verified: {found.words}"
    return ""


def _signed(rule: ApprovalProof, maker: Maker) -> str:
    if rule is not ApprovalProof.SIGNED_COMMIT or maker.signature is None:
        return ""
    return f", {maker.signature.words}; the signature was verified"


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
                    signer, named = words.format_person(found.signer, ruling), committers[0].name
                    yield _bad(commit, f"signed by {signer}, but committed in the name of {named}")
            else:
                unproven[found.words] += 1
        for said, count in sorted(unproven.items()):
            yield Item(kind=Note.SIGNATURE, about=words.format_count(count, "commit"), words=said)


def keys_of(site: Site) -> dict[str, tuple[str, ...]]:
    """The public keys of each person of a site, by the person's id."""
    return {person.ident: person.signing_keys for person in site.people.values()}


def _bad(commit: Commit, said: str) -> Item:
    return Item(kind=Offence.SIGNATURE, about="", words=said, commit=mark_of(commit))


_OF_AN_APPROVAL = frozenset({"approved_by", "approved_on"})


@dataclass(slots=True, kw_only=True)
class Brought:
    """What the commits of a branch tell of one approval.

    `makers` are those who wrote it and who merged it, newest first. `approved_at` is when the
    commit that wrote it was made, `proposed_from` the address of the commit that first had the
    change, approved or not; None where the branch does not tell.
    """

    makers: list[Maker] = field(default_factory=list)
    approved_at: datetime | None = None
    proposed_from: str | None = None


def brought_by(
    repository: Repository,
    head: str,
    commits: Iterable[Commit],
    steps: Sequence[tuple[str, SettingStep]],
    blobs: Reader,
    *,
    ruling: Site,
) -> dict[tuple[str, int], Brought]:
    """What `commits`, those of the branch from the oldest on, tell of each new approval.

    By file and number. Signatures are held against the keys of `ruling`, the site before the
    branch.
    """
    wanted = {
        (path, step.number): step
        for path, step in steps
        if step.step in (Step.APPROVED, Step.EDITED)
    }
    found = {key: Brought() for key in wanted}
    if not wanted:
        return found
    line = first_parents(repository, head)
    verifier, keys = Verifier(repository.git), keys_of(ruling)
    for commit in commits:
        own = {change.path for change in commit.own_changes}
        for change in _bringing(commit, on_line=commit.oid in line):
            brought = newly_approved(change, blobs)
            held = [_proposed(item) for item in _items(change, blobs)]
            for key, step in wanted.items():
                if key[0] != change.path or step.new is None:
                    continue
                one, told = found[key], _proposed(step.new)
                if told in held and one.proposed_from is None and told != _proposed(step.old or {}):
                    one.proposed_from = commit.author.email
                if step.new in brought:
                    signed = commit.signature
                    verified = None if signed is None else verifier.verify(signed, keys)
                    one.makers.insert(0, maker_of(commit, verified))
                    if change.path in own:
                        one.approved_at = commit.committer.at
    return found


def _bringing(commit: Commit, *, on_line: bool) -> Iterable[TreeChange]:
    """The drives' files a commit itself wrote, or brought onto the line by merging."""
    changes = commit.changes if on_line or not commit.is_merge else commit.own_changes
    return (change for change in changes if is_setpoints(change.path))


def _items(change: TreeChange, blobs: Reader) -> list[dict[str, Any]]:
    return setting_changes(change.path, new_bytes(change, blobs)) or []


def _proposed(item: dict[str, Any]) -> dict[str, Any]:
    """A change as it was before anybody approved it."""
    return {name: value for name, value in item.items() if name not in _OF_AN_APPROVAL}
