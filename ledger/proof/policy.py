"""The site's policy held against one change of a setting, point by point."""

from collections.abc import Sequence
from dataclasses import dataclass

from ledger.assess.follow_up import proof_of, reading_due_on
from ledger.assess.ratios import last_reset
from ledger.assess.register import last_seen
from ledger.assess.speeds import SpeedResult, speed_results
from ledger.check.drives import limits_of
from ledger.compute.band import Verdict
from ledger.compute.rounding import fixed
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.model.references import EntryRef
from ledger.model.setpoints import Change
from ledger.model.site import Site
from ledger.model.visits import Entry
from ledger.proof.brought import Brought
from ledger.proof.policy_people import PolicyPoint, in_time_points, people_points
from ledger.report import words
from ledger.report.follow_up_words import proof_words

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
            ledger.site, change, previous.value, words.change_words(previous, ledger.site), ruling
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
        f"{words.setting_words(seen.value, change.unit, ledger.site)}, seen on the drive on "
        f"{words.day_words(seen.entry.day)} (nothing before this change is approved)"
    )
    return _step(ledger.site, change, seen.value, start, ruling)


def _step(site: Site, change: Change, start: float, named: str, ruling: Site) -> PolicyPoint:
    step = change.value - start
    if change.unit == "Hz":
        most = ruling.policy.max_step_hz
        held = abs(step) <= most + _ROUNDING
        because = (
            f"{round(step, 9):+.10g} Hz from {named}, at most {words.number_words(most)} Hz at once"
        )
    else:
        most = ruling.policy.max_step_flow_percent
        percent = 100 * step / start
        held = abs(percent) <= most + _ROUNDING
        sign = "+" if step >= 0 else "-"
        flow = words.flow_words(abs(step), site)
        because = (
            f"{sign}{flow}, {fixed(percent, 1)} % of {named}; "
            f"at most {words.number_words(most)} % at once"
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
    low, high = (words.setting_words(limit, unit, site) for limit in limits)
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
    read = words.count_words(
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
    return f"{reset.changed.replace('-', ' ')} on {words.day_words(reset.day)}"


def _follow_up_point(
    ledger: Ledger, machine: Machine, change: Change, ruling: Site, results: Sequence[SpeedResult]
) -> PolicyPoint:
    """Whether the reading that the change asks for is owed, by when, or was taken already."""
    name = "Follow-up reading"
    begins = words.day_words(change.first_day)
    by = f"by {words.day_words(reading_due_on(ruling, change))}"
    if not change.approved_by:
        because = f"owed once this is approved: {by}, if it takes effect on {begins}"
        return PolicyPoint(name=name, held=None, because=because)
    proof = proof_of(ledger, machine, results, change)
    if proof.confirmed is not None:
        return PolicyPoint(name=name, held=True, because=proof_words(proof))
    if proof.last is None:
        because = f"owed {by}, at this setting; it takes effect on {begins}"
    else:
        because = f"{proof_words(proof)}; owed {by}"
    return PolicyPoint(name=name, held=None, because=because)
