"""The site's policy held against one change of a setting, point by point.

The policy on people held against one change of a setting: who approves it, how and when.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ledger.book import words
from ledger.compute.band import Verdict
from ledger.compute.numbers import fixed
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine, limits_of
from ledger.model.references import EntryRef
from ledger.model.setpoints import Change
from ledger.model.site import ApprovalFlaw, ApprovalProof, Site, approval_flaws
from ledger.model.visits import Entry
from ledger.proof.approval import RULES, Brought, owner_of, prove
from ledger.upkeep.register.found import last_seen, proof_of, reading_due_on
from ledger.upkeep.register.words import format_flaw, format_proof
from ledger.upkeep.speeds.found import SpeedResult, last_reset, speed_results

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
    proposer = words.format_person(change.proposed_by, site)
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
    approver = words.format_person(change.approved_by, site)
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
    proposer = words.format_person(change.proposed_by, site)
    said = f"; but {writer.name} committed the proposal too: ask {proposer} whether it is theirs"
    return replace(point, held=None, because=point.because + said)


def may_approve_point(change: Change, site: Site, flaws: Sequence[ApprovalFlaw]) -> PolicyPoint:
    """Whether the approver may approve settings, and was with the site on that day."""
    wrong = [flaw for flaw in flaws if flaw is not ApprovalFlaw.SELF_APPROVED]
    if not wrong:
        name = words.format_person(change.approved_by, site)
        return PolicyPoint(name=MAY_APPROVE, held=True, because=f"the people file lets {name}")
    because = "; ".join(format_flaw(flaw, change, site) for flaw in wrong)
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
    name = words.format_person(change.approved_by, site)
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
        f"takes effect on {words.format_day(change.first_day)}; the approval was committed on "
        f"{words.format_day(approved)}"
    )
    late = (approved - change.first_day).days
    if late <= 0:
        return (PolicyPoint(name=IN_TIME, held=True, because=said),)
    return (
        PolicyPoint(
            name=IN_TIME,
            held=False,
            because=f"{said}, {words.format_count(late, 'day')} later",
            remedy="let it take effect on the day of the approval or after it",
        ),
    )


_ROUNDING = 1e-9


STEP = "Step"

EVIDENCE = "Evidence"


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """An entry that a change rests on: as filed, as it stands now, and the speed it gives.

    `entry` is None where there is no such entry; `standing` None where it was struck out.
    """

    ref: EntryRef
    entry: Entry | None
    standing: Entry | None
    result: SpeedResult | None


def evidence_of(ledger: Ledger, change: Change) -> tuple[Evidence, ...]:
    """Each entry that a change names as its evidence, corrections followed."""
    found = []
    for ref in change.evidence:
        entry = ledger.entry.get(ref)
        last = None if entry is None else ledger.last_word(entry)
        standing = None if last is None or last.void else last
        results = () if standing is None else speed_results(ledger, [standing])
        found.append(
            Evidence(
                ref=ref,
                entry=entry,
                standing=standing,
                result=results[0] if results else None,
            )
        )
    return tuple(found)


def policy_points(
    ledger: Ledger,
    machine: Machine,
    change: Change,
    previous: Change | None,
    evidence: Sequence[Evidence],
    *,
    ruling: Site,
    limits_before: tuple[float, float] | None,
    brought: Brought,
    results: Sequence[SpeedResult],
) -> tuple[PolicyPoint, ...]:
    """Every rule on a change of `machine`'s setting.

    `ruling` is the site whose policy and people are applied: as they were before the change, so
    that a change cannot loosen the rule it is held to. `limits_before` are the drive's limits
    then, None where it had none; `brought` is what the branch's commits tell of the approval;
    `results` all that was read of speeds.
    """
    return (
        *people_points(machine, change, ruling, brought),
        *in_time_points(change, ruling, brought),
        _step_point(ledger, machine, change, previous, ruling),
        _limits_point(machine, change, ledger.site, limits_before),
        _evidence_point(ledger, machine, change, evidence),
        _follow_up_point(ledger, machine, change, ruling, results),
    )


def _step_point(
    ledger: Ledger, machine: Machine, change: Change, previous: Change | None, ruling: Site
) -> PolicyPoint:
    """The step from the approved change before it; without one, from what the drive last showed."""
    if previous is not None:
        return _step(
            ledger.site, change, previous.value, words.format_change(previous, ledger.site), ruling
        )
    if change.may_be_taken_over:
        return PolicyPoint(name=STEP, held=True, because="the drive's first setting")
    seen = last_seen(ledger, machine)
    if seen is None:
        because = (
            "nothing before this change is approved, and no visit tells what the drive stands at"
        )
        remedy = "file a visit with the setting found on the drive"
        return PolicyPoint(name=STEP, held=False, because=because, remedy=remedy)
    start = (
        f"{words.format_setting(seen.value, change.unit, ledger.site)}, seen on the drive on "
        f"{words.format_day(seen.entry.day)} (nothing before this change is approved)"
    )
    return _step(ledger.site, change, seen.value, start, ruling)


def _step(site: Site, change: Change, start: float, named: str, ruling: Site) -> PolicyPoint:
    step = change.value - start
    if change.unit == "Hz":
        most = ruling.policy.max_step_hz
        held = abs(step) <= most + _ROUNDING
        limit = words.format_number(most)
        because = f"{round(step, 9):+.10g} Hz from {named}, at most {limit} Hz at once"
    else:
        most = ruling.policy.max_step_flow_percent
        percent = 100 * step / start
        held = abs(percent) <= most + _ROUNDING
        sign = "+" if step >= 0 else "-"
        flow = words.format_flow(abs(step), site)
        because = (
            f"{sign}{flow}, {fixed(percent, 1)} % of {named}; "
            f"at most {words.format_number(most)} % at once"
        )
    remedy = "" if held else "go in smaller steps, and read the speed at each"
    return PolicyPoint(name=STEP, held=held, because=because, remedy=remedy)


def _limits_point(
    machine: Machine, change: Change, site: Site, before: tuple[float, float] | None
) -> PolicyPoint:
    name = "Drive limits"
    limits = limits_of(machine)
    if limits is None:
        return PolicyPoint(
            name=name,
            held=False,
            because="the machine's file states no limits",
            remedy="write the limits into it, by the makers' manuals",
        )
    held = _inside(change.value, limits)
    because = f"{_range(limits, change.unit, site)} by the machine's file"
    remedy = "" if held else "choose a value inside"
    if held and before is not None and not _inside(change.value, before):
        held = False
        because += (
            f", but only since this same branch; before it {_range(before, change.unit, site)}"
        )
        remedy = "let the limits be looked at and merged on their own first"
    return PolicyPoint(name=name, held=held, because=because, remedy=remedy)


def _inside(value: float, limits: tuple[float, float]) -> bool:
    return limits[0] - _ROUNDING <= value <= limits[1] + _ROUNDING


def _range(limits: tuple[float, float], unit: str, site: Site) -> str:
    low, high = (words.format_setting(limit, unit, site) for limit in limits)
    return f"{low} to {high}"


def _evidence_point(
    ledger: Ledger, machine: Machine, change: Change, evidence: Sequence[Evidence]
) -> PolicyPoint:
    name = EVIDENCE
    if not evidence:
        if change.may_be_taken_over:
            return PolicyPoint(
                name=name, held=True, because="none, as for a first setting taken over"
            )
        return PolicyPoint(
            name=name,
            held=False,
            because="no evidence is given",
            remedy="name the speed readings that support it under evidence",
        )
    wrong = []
    reset = last_reset(ledger, machine)
    for one in evidence:
        why = _evidence_fault(one, machine, reset)
        if why:
            wrong.append(f"{one.ref} {why}")
    if wrong:
        return PolicyPoint(
            name=name, held=False, because="; ".join(wrong), remedy="name readings that still count"
        )
    if not any(one.result and one.result.speed for one in evidence):
        return PolicyPoint(
            name=name,
            held=False,
            because="no entry named holds a speed reading",
            remedy="name the speed readings that support it",
        )
    read = words.format_count(
        sum(bool(one.result and one.result.speed) for one in evidence), "speed reading"
    )
    said = (
        f"{read}; no mechanical change is on record"
        if reset is None
        else f"{read}, newer than the last mechanical change, {_change_of(reset)}"
    )
    verdicts = {one.result.verdict for one in evidence if one.result and one.result.speed}
    if verdicts == {Verdict.CANNOT_TELL}:
        said += "; but no reading is sharp enough to tell by itself"
    return PolicyPoint(name=name, held=True, because=said)


def _evidence_fault(one: Evidence, machine: Machine, reset: Entry | None) -> str:
    if one.entry is None:
        return "is no entry of the record"
    if one.standing is None:
        return "was struck out by a correction"
    if machine.ident not in {place.machine for place in one.standing.places}:
        return "is about another machine"
    if reset is not None and (one.entry.when, one.entry.ref) <= (reset.when, reset.ref):
        return f"is from before the last mechanical change, {_change_of(reset)}"
    return ""


def _change_of(reset: Entry) -> str:
    return f"{reset.changed.replace('-', ' ')} on {words.format_day(reset.day)}"


def _follow_up_point(
    ledger: Ledger, machine: Machine, change: Change, ruling: Site, results: Sequence[SpeedResult]
) -> PolicyPoint:
    """Whether the reading that the change asks for is owed, by when, or was taken already."""
    name = "Follow-up reading"
    begins = words.format_day(change.first_day)
    by = f"by {words.format_day(reading_due_on(ruling, change))}"
    if not change.approved_by:
        because = f"owed once this is approved: {by}, if it takes effect on {begins}"
        return PolicyPoint(name=name, held=None, because=because)
    proof = proof_of(ledger, machine, results, change)
    if proof.confirmed is not None:
        return PolicyPoint(name=name, held=True, because=format_proof(proof))
    if proof.last is None:
        because = f"owed {by}, at this setting; it takes effect on {begins}"
    else:
        because = f"{format_proof(proof)}; owed {by}"
    return PolicyPoint(name=name, held=None, because=because)
