"""The site's policy held against one change of a setting, point by point, for a reviewer."""

from collections.abc import Iterator, Sequence

from ledger.book import words
from ledger.compute.band import Verdict
from ledger.compute.numbers import fixed
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine, limits_of
from ledger.model.policy import (
    PROOF_RULES,
    Approval,
    ApprovalFlaw,
    Judgement,
    judge_approval,
    possible_approvers,
    second_writer,
    unknown_proposer,
)
from ledger.model.references import EntryRef
from ledger.model.setpoints import Change
from ledger.model.site import ApprovalProof, Site
from ledger.model.visits import Entry
from ledger.upkeep.register.found import last_seen, proof_of, reading_due_on
from ledger.upkeep.register.words import format_flaw, format_proof
from ledger.upkeep.speeds.found import SpeedResult, speed_results
from ledger.upkeep.speeds.ratios import last_reset
from ledger.values import dataclass

SECOND_PERSON = "Second person"

MAY_APPROVE = "Approver may approve"

PROOF = "Proof of approval"

APPROVAL_POINTS = frozenset({SECOND_PERSON, MAY_APPROVE, PROOF})

IN_TIME = "Approved in time"

STEP = "Step"

WITH_DRIVE = "Taken over with its drive"

EVIDENCE = "Evidence"

_ROUNDING = 1e-9

# What is judged by a point of its own, beside whether the approver may approve.
_OTHER_POINTS = frozenset(
    {ApprovalFlaw.SELF_APPROVED, ApprovalFlaw.NOT_PROVEN, ApprovalFlaw.APPROVED_LATE}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PolicyPoint:
    """One rule on a change: held, broken (False), or still open (None), and why.

    A rule that is broken has its remedy.
    """

    name: str
    held: bool | None
    because: str
    remedy: str = ""


def _held(name: str, because: str) -> PolicyPoint:
    return PolicyPoint(name=name, held=True, because=because)


def _open(name: str, because: str) -> PolicyPoint:
    return PolicyPoint(name=name, held=None, because=because)


def _broken(name: str, because: str, remedy: str) -> PolicyPoint:
    return PolicyPoint(name=name, held=False, because=because, remedy=remedy)


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """An entry that a change rests on: as filed, as it stands now, and the speeds it gives.

    `entry` is None where there is no such entry; `standing` None where it was struck out.
    """

    ref: EntryRef
    entry: Entry | None
    standing: Entry | None
    results: tuple[SpeedResult, ...]


def evidence_of(ledger: Ledger, change: Change) -> tuple[Evidence, ...]:
    """Each entry that a change names as its evidence, corrections followed."""
    found = []
    for ref in change.evidence:
        entry = ledger.entry.get(ref)
        last = None if entry is None else ledger.last_word(entry)
        standing = None if last is None or last.void else last
        results = speed_results(ledger, [standing] if standing else [])
        found.append(Evidence(ref=ref, entry=entry, standing=standing, results=results))
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
    stood_before: bool,
    approval: Approval | None,
    results: Sequence[SpeedResult],
) -> Iterator[PolicyPoint]:
    """Every rule on a change of `machine`'s setting.

    `ruling` is the site whose policy and people are applied: as they were before the change, so
    that a change cannot loosen the rule it is held to. `limits_before` are the drive's limits
    then, None where it had none; with `stood_before` the change was marked as taken over then, too;
    `approval` is what git shows of it, None where it shows nothing;
    `results` all that was read of speeds.
    """
    if change.approved_by:
        yield from _approval_points(change, ruling, approval or change.approval)
    else:
        may = ", ".join(_who_may_approve(change, ruling)) or "nobody"
        path = ledger.setpoints[machine.ident].path
        where = f"with approved_by in change {change.number} of {path}"
        yield _open("Approval", f"not approved yet; {may} may do it, {where}")
        yield _open(PROOF, f"rule: {_rule(ruling)}")
    if change.taken_over and not stood_before:
        yield _taken_over_point(limits_before)
    yield _step_point(ledger, machine, change, previous, ruling)
    yield _limits_point(machine, change, ledger.site, limits_before)
    yield _evidence_point(ledger, machine, change, evidence)
    yield _follow_up_point(ledger, machine, change, ruling, results)


def _taken_over_point(limits_before: tuple[float, float] | None) -> PolicyPoint:
    """Whether what is marked as taken over comes with its drive."""
    if limits_before is None:
        return _held(WITH_DRIVE, "the drive is new on this branch")
    because = "the drive was in the record before this branch"
    return _broken(WITH_DRIVE, because, "remove `taken_over`, and name readings under evidence")


def _approval_points(change: Change, site: Site, approval: Approval) -> Iterator[PolicyPoint]:
    """Who approved, by which proof and in which time: as the files say it, and as git does."""
    by_file, by_git = judge_approval(change.approval, site), judge_approval(approval, site)
    yield _second_person_point(change, site, approval, by_git)
    wrong = [format_flaw(flaw, change, site) for flaw in by_file.flaws if flaw not in _OTHER_POINTS]
    if by_git.absent is not None and not wrong:
        person, day = by_git.absent
        text = f"{person.name} was not with the site on {words.format_day(day)}"
        wrong.append(f"{text}, when the approval lands")
    if ApprovalFlaw.UNKNOWN_APPROVER in by_file.flaws:
        wrong[-1] += " before this change"
    if wrong:
        yield _broken(MAY_APPROVE, "; ".join(wrong), _another_approves(change, site))
    else:
        name = words.format_person(change.approved_by, site)
        yield _held(MAY_APPROVE, f"the people file lets {name}")
    if by_git.proof is not None:
        because = f"rule: {_rule(site)}; found: {by_git.proof.words}"
        remedy = "" if by_git.proof.held else _let_approver_prove(change, site)
        yield PolicyPoint(name=PROOF, held=by_git.proof.held, because=because, remedy=remedy)
    yield from _in_time_points(approval)


def _second_person_point(
    change: Change, site: Site, approval: Approval, judged: Judgement
) -> PolicyPoint:
    """Whether the approver is another person than the proposer, in git as well as in the file."""
    proposer = words.format_person(approval.proposer, site)
    if approval.approver == approval.proposer:
        because = f"{proposer} approved their own proposal"
        if ApprovalFlaw.SELF_APPROVED not in judged.flaws:
            because += ", which this site's policy allows"
            return _held(SECOND_PERSON, because)
        return _broken(SECOND_PERSON, because, _another_approves(change, site))
    approver = words.format_person(approval.approver, site)
    because = f"proposed by {proposer}, approved by {approver}"
    writer = second_writer(approval, site)
    if writer is None:
        if approval.vouchers is not None and site.policy.approval_proof is not ApprovalProof.FILE:
            because += f"; git's author line of the proposal: {approval.proposed_from}"
            if unknown_proposer(approval, site):
                because += ", an address of nobody here"
            elif approval.proposal_signer == approval.proposer:
                because += f", signed with a key of {proposer}"
        return _held(SECOND_PERSON, because)
    because += f"; but {writer.name} committed the proposal too"
    return _broken(SECOND_PERSON, because, f"let {proposer} commit the proposal themselves")


def _in_time_points(approval: Approval) -> Iterator[PolicyPoint]:
    """Whether the approval comes to the line by the day the setting takes effect.

    There is no such point for a setting taken over, which ran before its file was begun, or where
    git was not asked.
    """
    approved, begins = approval.landed_on, approval.first_day
    if approved is None or begins is None or approval.is_taken_over:
        return
    because = (
        f"takes effect on {words.format_day(begins)}; the approval lands on "
        f"{words.format_day(approved)}"
    )
    if approval.days_late:
        because += f", {words.format_count(approval.days_late, 'working day')} later"
        remedy = "let it take effect on the day of the approval or after it"
        yield _broken(IN_TIME, because, remedy)
    else:
        yield _held(IN_TIME, because)


def _another_approves(change: Change, site: Site) -> str:
    may = " or ".join(_who_may_approve(change, site))
    if not may:
        return "nobody else may approve: mark one in site.yaml with approves, and merge that first"
    return f"let {may} look at it and put their own name in approved_by"


def _who_may_approve(change: Change, site: Site) -> list[str]:
    may = possible_approvers(site, change.proposed_by, change.approval_day)
    return sorted(person.name for person in may)


def _let_approver_prove(change: Change, site: Site) -> str:
    name = words.format_person(change.approved_by, site)
    how = "" if site.policy.approval_proof is ApprovalProof.COMMIT else " signed"
    return f"let {name} commit the approval{how}, or be the one who merges this{how}"


def _rule(site: Site) -> str:
    rule = site.policy.approval_proof
    return f"{rule.value}, {PROOF_RULES[rule]}"


def _step_point(
    ledger: Ledger, machine: Machine, change: Change, previous: Change | None, ruling: Site
) -> PolicyPoint:
    """The step from the approved change before it; without one, from what the drive last showed."""
    if previous is not None:
        named = words.format_change(previous, ledger.site)
        return _step(ledger.site, change, previous.value, named, ruling)
    if change.may_be_taken_over:
        return _held(STEP, "the drive's first setting")
    seen = last_seen(ledger, machine)
    if seen is None:
        return _broken(
            STEP,
            "nothing before this change is approved, and no visit says what the drive is set to",
            "file a visit with the setting found on the drive",
        )
    named = (
        f"{words.format_setting(seen.value, change.unit, ledger.site)}, seen on the drive on "
        f"{words.format_day(seen.entry.day)} (nothing before this change is approved)"
    )
    return _step(ledger.site, change, seen.value, named, ruling)


def _step(site: Site, change: Change, start: float, named: str, ruling: Site) -> PolicyPoint:
    step = change.value - start
    if change.unit == "Hz":
        size, most = step, ruling.policy.max_step_hz
        limit = words.format_number(most)
        because = f"{round(step, 9):+.10g} Hz from {named}, at most {limit} Hz at once"
    else:
        size, most = 100 * step / start, ruling.policy.max_step_flow_percent
        sign = "+" if step >= 0 else "-"
        flow = words.format_flow(abs(step), site)
        because = (
            f"{sign}{flow}, {fixed(size, 1)} % of {named}; "
            f"at most {words.format_number(most)} % at once"
        )
    if abs(size) <= most + _ROUNDING:
        return _held(STEP, because)
    return _broken(STEP, because, "go in smaller steps, and read the speed at each")


def _limits_point(
    machine: Machine, change: Change, site: Site, before: tuple[float, float] | None
) -> PolicyPoint:
    name = "Drive limits"
    limits = limits_of(machine)
    if limits is None:
        because = "the machine's file states no limits"
        return _broken(name, because, "write the limits into it, from the makers' manuals")
    because = f"{_range(limits, change.unit, site)} by the machine's file"
    if not _inside(change.value, limits):
        return _broken(name, because, "choose a value inside")
    if before is None or _inside(change.value, before):
        return _held(name, because)
    because += f", but only by this branch; before it {_range(before, change.unit, site)}"
    remedy = "have the limits reviewed and merged first, on their own"
    return _broken(name, because, remedy)


def _inside(value: float, limits: tuple[float, float]) -> bool:
    return limits[0] - _ROUNDING <= value <= limits[1] + _ROUNDING


def _range(limits: tuple[float, float], unit: str, site: Site) -> str:
    low, high = (words.format_setting(limit, unit, site) for limit in limits)
    return f"{low} to {high}"


def _evidence_point(
    ledger: Ledger, machine: Machine, change: Change, evidence: Sequence[Evidence]
) -> PolicyPoint:
    if not evidence:
        if change.may_be_taken_over:
            return _held(EVIDENCE, "none needed for a first setting taken over")
        remedy = "name the speed readings that support it under evidence"
        return _broken(EVIDENCE, "no evidence is given", remedy)
    reset = last_reset(ledger, machine)
    faults = [(one.ref, _evidence_fault(one, machine, reset)) for one in evidence]
    wrong = "; ".join(f"{ref} {fault}" for ref, fault in faults if fault)
    if wrong:
        return _broken(EVIDENCE, wrong, "name readings that are still valid")
    read = [result.verdict for one in evidence for result in one.results if result.speed]
    if not read:
        because = "no named entry has a speed reading"
        return _broken(EVIDENCE, because, "name the speed readings that support it")
    because = f"{words.format_count(len(read), 'speed reading')}" + (
        "; no mechanical change is on record"
        if reset is None
        else f", newer than the last mechanical change, {_change_of(reset)}"
    )
    if set(read) == {Verdict.CANNOT_TELL}:
        because += "; but no reading is precise enough by itself"
    return _held(EVIDENCE, because)


def _evidence_fault(one: Evidence, machine: Machine, reset: Entry | None) -> str:
    if one.entry is None:
        return "is not an entry of the record"
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
        return _open(name, because)
    proof = proof_of(ledger, machine, results, change)
    if proof.confirmed is not None:
        return _held(name, format_proof(proof))
    if proof.last is None:
        because = f"owed {by}, at this setting; it takes effect on {begins}"
    else:
        because = f"{format_proof(proof)}; owed {by}"
    return _open(name, because)
