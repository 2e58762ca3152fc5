"""The policy on people held against one change of a setting: who approves it, how and when."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ledger.model.approvals import ApprovalFlaw, approval_flaws
from ledger.model.machines import Machine
from ledger.model.setpoints import Change
from ledger.model.site import ApprovalProof, Site
from ledger.proof.approval import RULES, owner_of, prove
from ledger.proof.brought import Brought
from ledger.report import words
from ledger.report.approval_words import flaw_words

SECOND_PERSON = "Second person"
MAY_APPROVE = "Approver may approve"
PROOF = "Proof of approval"
APPROVAL_POINTS = frozenset({SECOND_PERSON, MAY_APPROVE, PROOF})
IN_TIME = "Approved in time"


@dataclass(frozen=True, slots=True, kw_only=True)
class PolicyPoint:
    """One rule on a change: held, broken (False), or not to be told yet (None), and why.

    A rule that is broken has its remedy.
    """

    name: str
    held: bool | None
    because: str
    remedy: str = ""


def second_person_point(change: Change, site: Site, flaws: Sequence[ApprovalFlaw]) -> PolicyPoint:
    """Whether the approver is another person than the proposer."""
    name = SECOND_PERSON
    proposer = words.person_words(change.proposed_by, site)
    if ApprovalFlaw.SELF_APPROVED in flaws:
        return PolicyPoint(
            name=name,
            held=False,
            because=f"{proposer} approved their own proposal",
            remedy=_another_approves(change, site),
        )
    if change.approved_by == change.proposed_by:
        because = f"{proposer} approved their own proposal, which this site's policy allows"
        return PolicyPoint(name=name, held=True, because=because)
    approver = words.person_words(change.approved_by, site)
    return PolicyPoint(
        name=name, held=True, because=f"proposed by {proposer}, approved by {approver}"
    )


def _told_by_git(point: PolicyPoint, change: Change, site: Site, brought: Brought) -> PolicyPoint:
    """Open where the file names two people, but git has the proposal from the approver as well.

    Only where the site's rule asks git at all.
    """
    if not point.held or site.policy.approval_proof is ApprovalProof.FILE:
        return point
    writer = owner_of(brought.proposed_from or "", site.people)
    if writer is None or writer.ident != change.approved_by or writer.ident == change.proposed_by:
        return point
    proposer = words.person_words(change.proposed_by, site)
    said = f"; but {writer.name} committed the proposal too: ask {proposer} whether it is theirs"
    return replace(point, held=None, because=point.because + said)


def may_approve_point(change: Change, site: Site, flaws: Sequence[ApprovalFlaw]) -> PolicyPoint:
    """Whether the approver may approve settings, and was with the site on that day."""
    wrong = [flaw for flaw in flaws if flaw is not ApprovalFlaw.SELF_APPROVED]
    if not wrong:
        name = words.person_words(change.approved_by, site)
        return PolicyPoint(name=MAY_APPROVE, held=True, because=f"the people file lets {name}")
    because = "; ".join(flaw_words(flaw, change, site) for flaw in wrong)
    if ApprovalFlaw.UNKNOWN_APPROVER in wrong:
        because += " before this change"
    remedy = _another_approves(change, site)
    return PolicyPoint(name=MAY_APPROVE, held=False, because=because, remedy=remedy)


def _another_approves(change: Change, site: Site) -> str:
    may = " or ".join(who_may_approve(change, site))
    if not may:
        return "nobody else may approve: mark one in site.yaml with approves, and merge that first"
    return f"let {may} look at it and put their own name in approved_by"


def who_may_approve(change: Change, site: Site) -> tuple[str, ...]:
    """The names of all whose approval of a change would count, in order."""
    return tuple(
        sorted(
            person.name
            for person in site.people.values()
            if not approval_flaws(
                site, proposer=change.proposed_by, approver=person.ident, day=change.approval_day
            )
        )
    )


def people_points(
    machine: Machine, change: Change, site: Site, brought: Brought
) -> tuple[PolicyPoint, ...]:
    rule = site.policy.approval_proof
    if not change.approved_by:
        may = ", ".join(who_may_approve(change, site))
        because = (
            f"not approved yet; who may: {may or 'nobody'}, by approved_by in change "
            f"{change.number} of setpoints/{machine.ident}.yaml"
        )
        return (
            PolicyPoint(name="Approval", held=None, because=because),
            PolicyPoint(name=PROOF, held=None, because=f"rule: {_rule(rule)}"),
        )
    proof = prove(change.approved_by, rule, site.people, brought.makers)
    flaws = approval_flaws(
        site, proposer=change.proposed_by, approver=change.approved_by, day=change.approval_day
    )
    return (
        _told_by_git(second_person_point(change, site, flaws), change, site, brought),
        may_approve_point(change, site, flaws),
        PolicyPoint(
            name=PROOF,
            held=proof.held,
            because=f"rule: {_rule(rule)}; found: {proof.words}",
            remedy="" if proof.held else _let_approver_prove(change, site),
        ),
    )


def _let_approver_prove(change: Change, site: Site) -> str:
    name = words.person_words(change.approved_by, site)
    how = "" if site.policy.approval_proof is ApprovalProof.COMMIT else " signed"
    return f"let {name} commit the approval{how}, or be the one who merges this{how}"


def _rule(rule: ApprovalProof) -> str:
    return f"{rule.value}, {RULES[rule]}"


def in_time_points(change: Change, site: Site, brought: Brought) -> tuple[PolicyPoint, ...]:
    """Whether the approval was committed by the day the setting takes effect.

    Nothing is said of a setting taken over, which ran before its file was begun, or where no
    commit tells.
    """
    if brought.approved_at is None or change.may_be_taken_over:
        return ()
    approved = brought.approved_at.astimezone(site.zone).date()
    said = (
        f"takes effect on {words.day_words(change.first_day)}; the approval was committed on "
        f"{words.day_words(approved)}"
    )
    late = (approved - change.first_day).days
    if late <= 0:
        return (PolicyPoint(name=IN_TIME, held=True, because=said),)
    return (
        PolicyPoint(
            name=IN_TIME,
            held=False,
            because=f"{said}, {words.count_words(late, 'day')} later",
            remedy="let it take effect on the day of the approval or after it",
        ),
    )
