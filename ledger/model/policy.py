"""The site's policy on people: who may file and approve, by which proof and within which time.

Pure functions of facts. `check` knows what the files say; `review` and `audit` add what git's
commits tell. Each gathers its facts and asks here, so that a rule stands once.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from enum import StrEnum
from typing import Any

from ledger.model.site import ApprovalProof, Person, Policy, Site
from ledger.values import dataclass, replace

APPROVES_SETTINGS = "setpoints"
"""What the people file lets a person approve, to be an approver of settings."""

AUDITOR = "auditor"
"""The role of those who may accept irregularities, beside approvers."""

PROOF_RULES = {
    ApprovalProof.FILE: "the file's word is enough",
    ApprovalProof.COMMIT: "an address of the approver must have made the commit or its merge",
    ApprovalProof.SIGNED_COMMIT: (
        "an address of the approver must have made the commit or its merge, and signed it with a "
        "key that the people file had before"
    ),
    ApprovalProof.STATEMENT: (
        "a statement under approvals/, or the commit, must be signed with a key of the approver "
        "that the people file had before"
    ),
}

_PROOFS = tuple(ApprovalProof)

_BY_KEY = frozenset({ApprovalProof.SIGNED_COMMIT, ApprovalProof.STATEMENT})

IDENTITY: Mapping[str, Callable[[Person], Sequence[str]]] = {
    "emails": lambda person: [email.casefold() for email in person.emails],
    # The comment behind a key is no part of it.
    "signing_keys": lambda person: [" ".join(one.split()[:2]) for one in person.signing_keys],
}
"""What tells a person, as it is compared."""

_SATURDAY = 5


class ApprovalFlaw(StrEnum):
    """Why an approval does not count; the values are rule ids. Only git shows the last three."""

    SELF_APPROVED = "self-approved"
    UNKNOWN_APPROVER = "unknown-approver"
    MAY_NOT_APPROVE = "may-not-approve"
    APPROVER_NOT_HERE = "approver-not-here"
    PROPOSED_BY_APPROVER = "proposed-by-approver"
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
class GitProof:
    """Whether git bears out an approval, and why, in words."""

    held: bool
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Vouchers:
    """All that speaks for a change: the commits that wrote or merged it, and signed statements.

    `statements` are by the person who signed, each held or not by its signature.
    """

    commits: tuple[CommitMaker, ...] = ()
    statements: tuple[tuple[str, GitProof], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Approval:
    """What is known of one approval of a setting, in the file and, where it was asked, from git.

    People are ids; `stated_on` is the day the file gives for the approval, `first_day` the one on
    which the setting takes effect. A setting taken over from before its file was begun
    (`is_taken_over`) may have been in force since before it landed. From git: `vouchers`, None
    where git was not asked; it came to the line on `landed_on`, and the address `proposed_from`
    committed the proposal, signed with a key of `proposal_signer`, "" for no verified one.
    """

    proposer: str
    approver: str
    stated_on: date | None
    first_day: date | None
    is_taken_over: bool = False
    vouchers: Vouchers | None = None
    landed_on: date | None = None
    proposed_from: str | None = None
    proposal_signer: str = ""

    @property
    def days(self) -> list[date]:
        """The days on which the approver must have been with the site, the earliest first."""
        days = {self.stated_on or self.first_day}
        if self.landed_on is not None and not self.is_taken_over:
            days = {self.stated_on, self.landed_on}
        return sorted(day for day in days if day is not None)

    @property
    def days_late(self) -> int:
        """How many working days the setting was in force before its approval landed."""
        if self.first_day is None or self.landed_on is None or self.is_taken_over:
            return 0
        return working_days(self.first_day, self.landed_on)


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
    if second_writer(approval, site) is not None:
        flaws.append(ApprovalFlaw.PROPOSED_BY_APPROVER)
    proof = None
    if approval.vouchers is not None:
        proof = prove(approval.approver, site, approval.vouchers)
        if not proof.held:
            flaws.append(ApprovalFlaw.NOT_PROVEN)
    if approval.days_late:
        flaws.append(ApprovalFlaw.APPROVED_LATE)
    return Judgement(flaws=tuple(flaws), absent=absent, proof=proof)


def may_approve(person: Person | None) -> bool:
    return person is not None and APPROVES_SETTINGS in person.approves


def why_may_not_audit(person: Person | None) -> str:
    """Why somebody may not look into irregularities and accept them; "" for who may."""
    if person is None:
        return "not in the people file"
    return "" if may_approve(person) or AUDITOR in person.roles else "neither approves nor audits"


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

    None also where the site's rules ask neither git nor a second person.
    """
    if not _asks_git_for_two(approval, site) or approval.proposed_from is None:
        return None
    writer = owner_of(approval.proposed_from, site.people)
    is_approver = writer is not None and writer.ident == approval.approver != approval.proposer
    return writer if is_approver else None


def unknown_proposer(approval: Approval, site: Site) -> str:
    """The address that committed the proposal, where it is nobody's and a second person is asked.

    Then the files alone say that there was one.
    """
    email = approval.proposed_from or ""
    is_told = owner_of(email, site.people) is not None
    return "" if is_told or not _asks_git_for_two(approval, site) else email


def _asks_git_for_two(approval: Approval, site: Site) -> bool:
    asks_git = site.policy.approval_proof is not ApprovalProof.FILE
    return site.policy.approver_differs and asks_git and not approval.is_taken_over


def owner_of(email: str, people: Mapping[str, Person]) -> Person | None:
    """The person of the people file with that address, whatever its capitals; of several, one."""
    return next(iter(owners_of(email, people)), None)


def owners_of(email: str, people: Mapping[str, Person]) -> tuple[Person, ...]:
    """All who have that address by the people file, by their ids."""
    return tuple(person for _, person in sorted(people.items()) if person.has_address(email))


def prove(approver: str, site: Site, vouchers: Vouchers) -> GitProof:
    """Hold an approval against all that speaks for it; one statement or commit is enough.

    What a commit says of its author is a claim: it counts for nothing where another person of the
    site committed it, and only a verified signature proves a person. An address of several people
    proves none of them, but a key can.
    """
    rule, people = site.policy.approval_proof, site.people
    if rule is ApprovalProof.FILE:
        return GitProof(held=True, words="the file names the approver; no commit is required")
    person = people.get(approver)
    if person is None:
        return GitProof(held=False, words=f"{approver} is not in the people file")
    refused = []
    for signer, proof in vouchers.statements:
        if signer == approver and proof.held:
            return proof
        refused.append(proof.words if signer == approver else f"a statement of {signer}")
    if not person.emails and vouchers.commits:
        refused.append(f"the people file has no address of {person.name}")
    for maker in vouchers.commits if person.emails else ():
        wrong = _why_not_made_by(person, rule, people, maker)
        if not wrong:
            signed = rule is not ApprovalProof.COMMIT
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
    if rule is not ApprovalProof.COMMIT:
        if not maker.signature:
            return "carries no signature"
        return "" if maker.signer else f"its signature was not verified: {maker.signature}"
    others = [one.name for one in owners_of(maker.author, people) if one != person]
    return f"{others[0]} has the same address, so it proves neither" if others else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Loosening:
    """A change that approvals are held against, and that needs one itself.

    `keys` lead to the value in the people file; `person` is whose right, addresses or keys it is,
    "" for a rule. `needs_second` where an approver alone could come to approve for two. `effect`
    says what follows, where the values do not. With `by_owner` that person's proof is enough.
    """

    keys: tuple[str, ...]
    person: str = ""
    needs_second: bool = True
    by_owner: bool = False
    effect: str = ""


_STRICTER: Mapping[str, Callable[[Sequence[Any]], Any]] = {
    "approver_differs": any,
    "approval_proof": lambda proofs: max(proofs, key=_PROOFS.index),
    "plan_needs_approval": any,
    "max_step_hz": min,
    "max_step_flow_percent": min,
    "follow_up_days": min,
    "entry_within_days": min,
    "filed_for_others": all,
}
"""The rules of a site that can be loosened, and which of several values is the strictest."""

_GRADES = ("off", "warning", "error")

_UNGRADED = "warning"

_LOWERED = {"off": "`check` no longer asks this", "warning": "`check` still passes"}


def loosenings(
    old: Site, new: Site, gone: Mapping[str, Person] | None = None
) -> Iterator[Loosening]:
    """Every rule that is looser, right that is wider, and key or address that was added.

    `gone` are people who were known before, without what was theirs alone to use.
    """
    for name, strictest_of in _STRICTER.items():
        before_and_now = [getattr(one.policy, name) for one in (old, new)]
        if strictest_of(before_and_now) != before_and_now[1]:
            yield Loosening(keys=("policy", name.removesuffix("_days")))
    yield from lowered_questions(old.policy, new.policy)
    before = {**(gone or {}), **old.people}
    for person in new.people.values():
        yield from _widened(person, old, new, before)


def _widened(
    person: Person, old: Site, new: Site, before: Mapping[str, Person]
) -> Iterator[Loosening]:
    """What a person may now and could not before; `before` has everybody who was ever known."""
    ident = person.ident
    renamed = [name for name in person.formerly if name in before and name not in new.people]
    known = before.get(ident) or (before[renamed[0]] if renamed else None)

    def of(key: str, *, needs_second: bool = True, by_owner: bool = False) -> Loosening:
        keys = ("people", ident, *((key,) if ident in old.people else ()))
        return Loosening(keys=keys, person=ident, needs_second=needs_second, by_owner=by_owner)

    was = known or Person(ident=ident, name=person.name)
    if {name for name in person.formerly if name in before} - {was.ident, *was.formerly}:
        yield of("formerly")
    if person.approves - was.approves:
        yield of("approves")
    if AUDITOR in person.roles and AUDITOR not in was.roles:
        yield of("roles")
    is_more_qualified = not person.qualified <= was.qualified
    # A first training narrows a qualification to its days; every later change may widen it.
    is_trained_anew = was.training not in ((), person.training)
    for key, is_wider in (("qualified", is_more_qualified), ("training", is_trained_anew)):
        if is_wider:
            yield Loosening(keys=("people", ident, key), person=ident, needs_second=False)
    if may_approve(was):
        if was.last_day is not None and _is_after(person.last_day, was.last_day):
            yield of("until")
        if was.first_day is not None and _is_after(was.first_day, person.first_day):
            yield of("from")
    others = [one for one in before.values() if one.ident != was.ident]
    for key, words_of in IDENTITY.items():
        added = {*words_of(person)}.difference(words_of(was))
        is_taken = any(not added.isdisjoint(words_of(one)) for one in others)
        if added and (known is not None or is_taken):
            yield of(key, needs_second=is_taken or may_approve(was), by_owner=not is_taken)
    if was.emails and not person.emails:
        # Nobody can tell any more who files in that person's name.
        yield of("emails", needs_second=False, by_owner=True)


def _is_after(day: date | None, other: date | None) -> bool:
    """Whether a day is later than another; None sets no limit, on either side."""
    return day is None or other is None or day > other


def can_vouch(site: Site) -> bool:
    """Whether anybody could prove an approval here, as far as the people file tells."""
    asks_key = site.policy.approval_proof in _BY_KEY
    return any(
        may_approve(person) and (person.signing_keys if asks_key else person.emails)
        for person in site.people.values()
    )


def lowered_questions(old: Policy, new: Policy) -> Iterator[Loosening]:
    """Every question of `check` that was switched off, or is an error no more."""
    before, after = dict(old.rules), dict(new.rules)
    for rule in sorted({*before, *after}):
        grade = after.get(rule, _UNGRADED)
        if _GRADES.index(grade) < _GRADES.index(before.get(rule, _UNGRADED)):
            yield Loosening(keys=("policy", "rules", rule), effect=_LOWERED[grade])


def why_not_vouched(
    loosening: Loosening, site: Site, vouchers: Vouchers, *, is_alone: bool = False
) -> str:
    """Why a loosening does not count, by the site as it was before; "" where it does.

    It needs what an approval needs: an approver, proven, and a second person. Of one's own keys
    and addresses one's own proof is enough. `is_alone` where nobody else was ever known here.
    """
    if site.policy.approval_proof is ApprovalProof.FILE:
        return ""
    writers = {
        owner.ident if (owner := owner_of(one.author, site.people)) else one.author
        for one in vouchers.commits
        if not one.is_merge
    }
    asks_second = site.policy.approver_differs and loosening.needs_second and not is_alone
    why = "no approver vouches for it"
    for person in site.people.values():
        is_own = loosening.by_owner and person.ident == loosening.person
        if not (is_own or may_approve(person)):
            continue
        if not prove(person.ident, site, vouchers).held:
            continue
        if is_own or not asks_second or writers - {person.ident}:
            return ""
        why = f"{person.name} alone vouches for it, and the policy asks for two"
    return why


def strictest(site: Site, others: Iterable[Policy]) -> Site:
    """The people of a site under the union of its rules with others: the stricter of each."""
    policies = (site.policy, *others)
    stricter = {
        name: strictest_of([getattr(one, name) for one in policies])
        for name, strictest_of in _STRICTER.items()
    }
    grades = [dict(one.rules) for one in policies]
    questions = tuple(
        (rule, max((one.get(rule, _UNGRADED) for one in grades), key=_GRADES.index))
        for rule in sorted({rule for one in grades for rule in one})
    )
    return replace(site, policy=replace(site.policy, **stricter, rules=questions))


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


def may_file_for(author: Person | None, filed_by: str, policy: Policy) -> bool:
    """Whether a commit's author may file what others did: the visit says so, and the site too."""
    return policy.filed_for_others and author is not None and author.ident == filed_by


def is_filed_late(served_on: date, landed_on: date, policy: Policy) -> bool:
    """Whether a visit came to the line later than the site allows after the day of service."""
    within = policy.entry_within_days
    # As a rule it is in time by any count.
    return (landed_on - served_on).days > within and working_days(served_on, landed_on) > within


def working_days(first: date, last: date) -> int:
    """How many days from the first up to, not with, the last; Saturdays and Sundays left out.

    Who merges may be away at the end of a week, though the line runs.
    """
    weeks, rest = divmod(max(0, (last - first).days), 7)
    days = (first + timedelta(days=number) for number in range(rest))
    return weeks * _SATURDAY + sum(day.weekday() < _SATURDAY for day in days)
