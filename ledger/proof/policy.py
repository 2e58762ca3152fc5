"""The site's policy held against one change of a setting, point by point."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from ledger.assess.ratios import last_reset
from ledger.assess.speeds import SpeedResult, speed_results
from ledger.check.drives import limits_of
from ledger.compute.band import Verdict
from ledger.compute.rounding import fixed
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.model.references import EntryRef
from ledger.model.setpoints import Change
from ledger.model.site import ApprovalProof, Site
from ledger.model.visits import Entry
from ledger.proof.approval import APPROVES_SETTINGS, RULES, Maker, prove
from ledger.report import words

_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class PolicyPoint:
    """One rule on a change: held, broken (False), or not to be told yet (None), and why."""

    name: str
    held: bool | None
    because: str


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
    makers: Iterable[Maker],
) -> tuple[PolicyPoint, ...]:
    """Every rule on a change of `machine`'s setting.

    `ruling` is the site whose policy and people are applied: as they were before the change, so
    that a change cannot loosen the rule it is held to. `limits_before` are the drive's limits
    then, None where it had none; `makers` are the commits that brought the approval.
    """
    return (
        *_people_points(change, ruling, makers),
        _step_point(ledger.site, change, previous, ruling),
        _limits_point(machine, change, ledger.site, limits_before),
        _evidence_point(ledger, machine, previous, evidence),
        _follow_up_point(change, ruling),
    )


def second_person_point(change: Change, site: Site) -> PolicyPoint:
    """Whether the approver is another person than the proposer."""
    name = "Second person"
    proposer = words.person_words(change.proposed_by, site)
    if change.approved_by != change.proposed_by:
        approver = words.person_words(change.approved_by, site)
        return PolicyPoint(
            name=name, held=True, because=f"proposed by {proposer}, approved by {approver}"
        )
    if not site.policy.approver_differs:
        return PolicyPoint(
            name=name,
            held=True,
            because=f"{proposer} approved their own proposal, which this site's policy allows",
        )
    return PolicyPoint(name=name, held=False, because=f"{proposer} approved their own proposal")


def may_approve_point(change: Change, site: Site) -> PolicyPoint:
    """Whether the approver may approve settings, and was with the site on that day."""
    name = "Approver may approve"
    person = site.people.get(change.approved_by)
    if person is None:
        because = f"{change.approved_by} was not in the people file before this change"
        return PolicyPoint(name=name, held=False, because=because)
    if APPROVES_SETTINGS not in person.approves:
        because = f"the people file does not let {person.name} approve settings"
        return PolicyPoint(name=name, held=False, because=because)
    day = change.approved_on or change.first_day
    if not person.is_here(day):
        because = f"{person.name} was not with the site on {words.day_words(day)}"
        return PolicyPoint(name=name, held=False, because=because)
    return PolicyPoint(name=name, held=True, because=f"the people file lets {person.name}")


def _people_points(change: Change, site: Site, makers: Iterable[Maker]) -> tuple[PolicyPoint, ...]:
    rule = site.policy.approval_proof
    if not change.approved_by:
        may = sorted(
            person.name
            for person in site.people.values()
            if APPROVES_SETTINGS in person.approves
            and (person.ident != change.proposed_by or not site.policy.approver_differs)
        )
        because = f"not approved yet; who may: {', '.join(may) or 'nobody'}"
        return (
            PolicyPoint(name="Approval", held=None, because=because),
            PolicyPoint(name="Proof of approval", held=None, because=f"rule: {_rule(rule)}"),
        )
    proof = prove(change.approved_by, rule, site.people, makers)
    return (
        second_person_point(change, site),
        may_approve_point(change, site),
        PolicyPoint(
            name="Proof of approval",
            held=proof.held,
            because=f"rule: {_rule(rule)}; found: {proof.words}",
        ),
    )


def _rule(rule: ApprovalProof) -> str:
    return f"{rule.value}, {RULES[rule]}"


def _step_point(site: Site, change: Change, previous: Change | None, ruling: Site) -> PolicyPoint:
    name = "Step"
    if previous is None:
        return PolicyPoint(name=name, held=True, because="the drive's first setting")
    step = change.value - previous.value
    if change.unit == "Hz":
        most = ruling.policy.max_step_hz
        held = abs(step) <= most + _ROUNDING
        because = f"{step:+.10g} Hz, at most {words.number_words(most)} Hz at once"
    else:
        most = ruling.policy.max_step_flow_percent
        percent = 100 * step / previous.value
        held = abs(percent) <= most + _ROUNDING
        sign = "+" if step >= 0 else "-"
        flow = words.flow_words(abs(step), site)
        because = (
            f"{sign}{flow}, {fixed(percent, 1)} % of {words.change_words(previous, site)}; "
            f"at most {words.number_words(most)} % at once"
        )
    return PolicyPoint(name=name, held=held, because=because)


def _limits_point(
    machine: Machine, change: Change, site: Site, before: tuple[float, float] | None
) -> PolicyPoint:
    name = "Drive limits"
    limits = limits_of(machine)
    if limits is None:
        return PolicyPoint(name=name, held=False, because="the machine's file states no limits")
    held = _inside(change.value, limits)
    because = f"{_range(limits, change.unit, site)} by the machine's file"
    if held and before is not None and not _inside(change.value, before):
        held = False
        because += (
            f", but only since this same branch; before it {_range(before, change.unit, site)}"
        )
    return PolicyPoint(name=name, held=held, because=because)


def _inside(value: float, limits: tuple[float, float]) -> bool:
    return limits[0] - _ROUNDING <= value <= limits[1] + _ROUNDING


def _range(limits: tuple[float, float], unit: str, site: Site) -> str:
    low, high = (words.setting_words(limit, unit, site) for limit in limits)
    return f"{low} to {high}"


def _evidence_point(
    ledger: Ledger, machine: Machine, previous: Change | None, evidence: Sequence[Evidence]
) -> PolicyPoint:
    name = "Evidence"
    if not evidence:
        if previous is None:
            return PolicyPoint(
                name=name, held=True, because="none, as for a first setting taken over"
            )
        return PolicyPoint(name=name, held=False, because="no evidence is given")
    wrong = []
    reset = last_reset(ledger, machine)
    for one in evidence:
        why = _evidence_fault(one, machine, reset)
        if why:
            wrong.append(f"{one.ref} {why}")
    if wrong:
        return PolicyPoint(name=name, held=False, because="; ".join(wrong))
    if not any(one.result and one.result.speed for one in evidence):
        return PolicyPoint(name=name, held=False, because="no entry holds a speed reading")
    said = (
        "no mechanical change is on record"
        if reset is None
        else f"newer than the last mechanical change, {_change_of(reset)}"
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
    return f"{reset.changed.replace('-', ' ')} on {words.day_words(reset.day)}"


def _follow_up_point(change: Change, site: Site) -> PolicyPoint:
    due: date = change.first_day + timedelta(days=site.policy.follow_up_days)
    begins = words.day_words(change.first_day)
    because = f"due by {words.day_words(due)}, at this setting; it takes effect on {begins}"
    return PolicyPoint(name="Follow-up reading", held=None, because=because)
