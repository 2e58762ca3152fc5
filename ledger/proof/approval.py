"""Whether git bears out `approved_by`, by the rule that the site's policy sets.

The file says who approved; the commit says whose address wrote that down. What a commit says of
its author is a claim as well: only a signature that was verified, with a key that the people file
had before the commit, proves a person.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from ledger.history.commit import Commit
from ledger.history.verification import Outcome, Verification
from ledger.model.site import ApprovalProof, Person

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
