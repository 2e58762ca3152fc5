"""The site's policy on people: who may file and approve, by which proof and within which time.

Pure functions of facts. `check` knows what the files say; `review` and `audit` add what git's
commits tell. Each gathers its facts and asks here, so that a rule stands once.
"""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from ledger.model.site import ApprovalProof, Person, Policy, Site

APPROVES_SETTINGS = "setpoints"
"""What the people file lets a person approve, to be an approver of settings."""

PROOF_RULES = {
    ApprovalProof.FILE: "the file's word is enough",
    ApprovalProof.COMMIT: "an address of the approver must have made the commit or its merge",
    ApprovalProof.SIGNED_COMMIT: (
        "an address of the approver must have made the commit or its merge, and signed it with a "
        "key that the people file had before"
    ),
}


class ApprovalFlaw(StrEnum):
    """Why an approval does not count; the values are rule ids. Only git shows the last two."""

    SELF_APPROVED = "self-approved"
    UNKNOWN_APPROVER = "unknown-approver"
    MAY_NOT_APPROVE = "may-not-approve"
    APPROVER_NOT_HERE = "approver-not-here"
    NOT_PROVEN = "not-proven"
    APPROVED_LATE = "approved-late"


@dataclass(frozen=True, slots=True, kw_only=True)
class CommitMaker:
    """Who made a commit, as far as a proof asks.

    `signature` says what became of its signature, "" for none; `signer` is the person whose key
    it was, "" unless that was verified; `is_forged` where it does not fit the commit.
    """

    oid: str
    author: str
    committer: str
    is_merge: bool
    signature: str = ""
    signer: str = ""
    is_forged: bool = False

    @property
    def words(self) -> str:
        what = "merge" if self.is_merge else "commit"
        return f"{what} {self.oid[:10]} by {self.author or 'no address'}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Approval:
    """What is known of one approval of a setting, in the file and, where it was asked, from git.

    People are ids; `stated_on` is the day the file gives for the approval, `first_day` the one on
    which the setting takes effect. A setting taken over from before its file was begun
    (`is_taken_over`) may have been in force since before its commit. From git: `commits` wrote or
    merged the approval, None where git was not asked; it was committed on `committed_on`, and the
    address `proposed_from` committed the proposal.
    """

    proposer: str
    approver: str
    stated_on: date | None
    first_day: date | None
    is_taken_over: bool = False
    commits: tuple[CommitMaker, ...] | None = None
    committed_on: date | None = None
    proposed_from: str | None = None

    @property
    def days(self) -> list[date]:
        """The days on which the approver must have been with the site, the earliest first."""
        days = {self.stated_on or self.first_day}
        if self.committed_on is not None and not self.is_taken_over:
            days = {self.stated_on, self.committed_on}
        return sorted(day for day in days if day is not None)

    @property
    def days_late(self) -> int:
        """How many days after the setting took effect its approval was committed; 0 for in time."""
        if self.first_day is None or self.committed_on is None or self.is_taken_over:
            return 0
        return max(0, (self.committed_on - self.first_day).days)


@dataclass(frozen=True, slots=True, kw_only=True)
class GitProof:
    """Whether git bears out an approval, and why, in words."""

    held: bool
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """Every rule that an approval breaks; empty `flaws` where it counts.

    `absent` is the approver as the people file knows them, and the day they were away; `proof` is
    None where git was not asked.
    """

    flaws: tuple[ApprovalFlaw, ...]
    absent: tuple[Person, date] | None = None
    proof: GitProof | None = None


def judge_approval(
    approval: Approval, site: Site, learned_later: Mapping[str, Person] | None = None
) -> Judgement:
    """Hold an approval against the people and policy of `site`.

    `learned_later` are people as known today: somebody's last day may have been written down only
    after the approval. A site may let people approve what they proposed themselves.
    """
    flaws = []
    if site.policy.approver_differs and approval.approver == approval.proposer:
        flaws.append(ApprovalFlaw.SELF_APPROVED)
    person, absent = site.people.get(approval.approver), None
    if person is None:
        flaws.append(ApprovalFlaw.UNKNOWN_APPROVER)
    elif not may_approve(person):
        flaws.append(ApprovalFlaw.MAY_NOT_APPROVE)
    else:
        learned = (learned_later or {}).get(person.ident)
        away = ((absent_on(day, person, learned), day) for day in approval.days)
        absent = next(((known, day) for known, day in away if known is not None), None)
        if absent is not None:
            flaws.append(ApprovalFlaw.APPROVER_NOT_HERE)
    proof = None
    if approval.commits is not None:
        rule = site.policy.approval_proof
        proof = prove(approval.approver, rule, site.people, approval.commits)
        if not proof.held:
            flaws.append(ApprovalFlaw.NOT_PROVEN)
    if approval.days_late:
        flaws.append(ApprovalFlaw.APPROVED_LATE)
    return Judgement(flaws=tuple(flaws), absent=absent, proof=proof)


def may_approve(person: Person | None) -> bool:
    return person is not None and APPROVES_SETTINGS in person.approves


def possible_approvers(site: Site, proposer: str, day: date) -> tuple[Person, ...]:
    """All whose approval on a day, of what `proposer` proposed, would count, by their ids."""
    return tuple(
        person
        for person in site.people.values()
        if not judge_approval(
            Approval(proposer=proposer, approver=person.ident, stated_on=day, first_day=day), site
        ).flaws
    )


def absent_on(day: date, person: Person | None, learned: Person | None) -> Person | None:
    """The person as known, where they were not with the site on a day; None where they were.

    `learned` is the person as known today, of whom only a last day counts.
    """
    if person is not None and not person.is_here(day):
        return person
    if learned is not None and learned.last_day is not None and learned.last_day < day:
        return learned
    return None


def second_writer(approval: Approval, site: Site) -> Person | None:
    """The approver, where git has the proposal from them too, though the file names another.

    None also where the site's rule does not ask git.
    """
    if site.policy.approval_proof is ApprovalProof.FILE or approval.proposed_from is None:
        return None
    writer = owner_of(approval.proposed_from, site.people)
    is_approver = writer is not None and writer.ident == approval.approver != approval.proposer
    return writer if is_approver else None


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
    commits: Iterable[CommitMaker],
) -> GitProof:
    """Hold an approval against the commits that wrote and merged it; one of them is enough.

    What a commit says of its author is a claim: it counts for nothing where another person of the
    site committed it, and only a verified signature proves a person. An address of several people
    proves none of them, but a key can.
    """
    if rule is ApprovalProof.FILE:
        return GitProof(held=True, words="the file names the approver; no commit is asked")
    person = people.get(approver)
    if person is None:
        return GitProof(held=False, words=f"{approver} is not in the people file")
    if not person.emails:
        return GitProof(held=False, words=f"the people file has no address of {person.name}")
    refused = []
    for maker in commits:
        wrong = _why_not_made_by(person, rule, people, maker)
        if not wrong:
            signed = rule is ApprovalProof.SIGNED_COMMIT
            more = f", {maker.signature}; the signature was verified" if signed else ""
            return GitProof(held=True, words=maker.words + more)
        refused.append(f"{maker.words}: {wrong}")
    return GitProof(
        held=False,
        words="; ".join(refused) or "no commit was found that wrote the approval",
    )


def _why_not_made_by(
    person: Person, rule: ApprovalProof, people: Mapping[str, Person], maker: CommitMaker
) -> str:
    if not person.has_address(maker.author):
        return f"not an address of {person.name}"
    committers = owners_of(maker.committer, people)
    if committers and person not in committers:
        return f"in the name of {person.name}, but committed by {committers[0].name}"
    # A forged signature, or another person's, speaks against a commit under any rule.
    if maker.is_forged:
        return maker.signature
    if maker.signer not in ("", person.ident):
        return f"signed with a key of {maker.signer}"
    if rule is ApprovalProof.SIGNED_COMMIT:
        if not maker.signature:
            return "carries no signature"
        return "" if maker.signer else f"its signature was not verified: {maker.signature}"
    others = [one.name for one in owners_of(maker.author, people) if one != person]
    return f"an address that {others[0]} has too proves neither" if others else ""


def may_change_proof(maker: CommitMaker, site: Site) -> bool:
    """Whether a commit that changes what approvals are held against is itself an approver's."""
    rule = site.policy.approval_proof
    return rule is ApprovalProof.FILE or any(
        prove(person.ident, rule, site.people, [maker]).held
        for person in owners_of(maker.author, site.people)
        if may_approve(person)
    )


def may_file(
    email: str,
    addresses: Collection[str],
    author: Person | None,
    helpers: Callable[[], Collection[str]],
) -> bool:
    """Whether a commit's author may file a visit: who did the work, or was there as well.

    `addresses` are those of who did the work, in small letters; `author` is the person with the
    address `email`; `helpers` gives the ids of those who were there.
    """
    return email.casefold() in addresses or (author is not None and author.ident in helpers())


def is_filed_late(served_on: date, filed_on: date, policy: Policy) -> bool:
    """Whether a visit was filed later than the site allows after the day of service."""
    return (filed_on - served_on).days > policy.entry_within_days
