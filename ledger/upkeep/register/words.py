"""How the reading that a new setting asks for is worded, with what was read so far.

How an approval is worded: who agreed, or why what the file claims does not count.

Settings, and the readings that they ask for, as rows for JSON; settings in their own unit.
"""

from collections.abc import Iterable, Sequence
from datetime import date

from ledger.book import words
from ledger.book.blocks import Span, Spans, Strong
from ledger.book.flat import JsonRow, fields_of
from ledger.compute.numbers import fixed
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.model.policy import ApprovalFlaw
from ledger.model.setpoints import Change, DriveSetpoints
from ledger.model.site import Site
from ledger.upkeep.register.found import (
    Confirmation,
    FollowUp,
    FollowUpState,
    Outlook,
    Proof,
    RegisterLine,
)
from ledger.upkeep.speeds.words import format_beside

TAKEN_OVER = "taken over, not approved"


def open_lines(ledger: Ledger, follow_ups: Iterable[FollowUp]) -> list[Spans]:
    """A line for each reading that a setting still asks for."""
    return [format_open_since(ledger, one) for one in follow_ups if one.is_open]


def format_open_since(ledger: Ledger, one: FollowUp) -> Spans:
    """One line to tick: what to read, by when, what to expect, and what spoke against it."""
    what = (
        f": read the speed at {words.format_change(one.change, ledger.site)}, in force since "
        f"{words.format_day(one.change.first_day)}, by {words.format_day(one.due_on)}"
    )
    expect = f"; expect {words.format_speed(one.expected)} r/min" if one.expected else ""
    spans: list[str | Span] = [words.machine_link(one.machine), f"{what}{expect}. "]
    if one.state is FollowUpState.OVERDUE:
        late = words.format_count(one.overdue_days, "day")
        spans.extend((Strong(f"Overdue by {late}"), ". "))
    if one.proof.last is not None:
        spans.extend(_format_last(one.proof.last))
    spans.extend(f" {also}" for also in format_beside(one.beside))
    return tuple(spans)


def _format_last(last: Confirmation) -> tuple[str | Span, ...]:
    """What the newest reading at the setting says, where nothing has confirmed it."""
    text = f"{_speed(last)} r/min was read on {words.format_day(last.result.entry.day)}"
    if last.predicted is None:
        return (f"{text}, {format_held(last)}: read once more.",)
    return (
        Strong("The reading does not agree"),
        f": {text}, {format_held(last, full=True)}. Find out why, then read again or propose anew.",
    )


def format_proof(proof: Proof) -> str:
    """For the register: confirmed by which reading, or that the setting is a prediction as yet."""
    if proof.confirmed is not None:
        return f"Confirmed by {_read(proof.confirmed)}"
    if proof.last is None:
        return "Not confirmed yet: no speed was read at this setting since it took effect"
    return f"{'NOT CONFIRMED' if proof.does_not_hold else 'Not confirmed yet'}: {_read(proof.last)}"


def _read(one: Confirmation) -> str:
    return f"{one.result.entry.ref}: {_speed(one)} r/min, {format_held(one, full=True)}"


def format_reading(one: Confirmation, *, full: bool = False) -> str:
    """For a cell: `80.0 ± 1.3 on 2026-11-18: agrees`, or how far off it is; in full with E_n."""
    text = f"{_speed(one)} on {words.format_day(one.result.entry.day)}"
    if one.e_number is None:
        return f"{text}: nothing to hold it against"
    verdict = "agrees" if one.holds else f"DIFFERS, {_apart(one)}"
    return f"{text}: {verdict}{f' ({format_e_number(one)})' if full else ''}"


def format_held(one: Confirmation, *, full: bool = False) -> str:
    """`agrees with the prediction (E_n 0.30)`; in full with the speed that was predicted.

    Where it does not: `4.1 r/min below the prediction, more than both uncertainties together`.
    """
    if one.predicted is None or one.result.speed is None:
        return "with nothing earlier to hold it against"
    made = f" of {words.format_speed(one.predicted)} r/min made before it" if full else ""
    number = format_e_number(one)
    if one.holds:
        return f"agrees with the prediction{made} ({number})"
    return f"{_apart(one)} the prediction{made}, more than both uncertainties together ({number})"


def _apart(one: Confirmation) -> str:
    """`4.1 r/min below`, the reading against the prediction."""
    if one.predicted is None or one.result.speed is None:
        return ""
    apart = one.result.speed.rpm - one.predicted.rpm
    return f"{fixed(abs(apart), 1)} r/min {'above' if apart > 0 else 'below'}"


def format_e_number(one: Confirmation) -> str:
    """`E_n -0.70`, with as many decimals as it takes to see on which side of 1 it lies."""
    number, places = one.e_number or 0.0, 2
    while abs(number) > 1 and abs(float(fixed(number, places))) <= 1:
        places += 1
    return f"E_n {fixed(number, places)}"


def _speed(one: Confirmation) -> str:
    return words.NONE if one.result.speed is None else words.format_speed(one.result.speed)


def format_flaw(flaw: ApprovalFlaw, change: Change, site: Site) -> str:
    """Why an approval does not count, as half a sentence."""
    name = words.format_person(change.approved_by, site)
    match flaw:
        case ApprovalFlaw.SELF_APPROVED:
            return f"{name} proposed it too"
        case ApprovalFlaw.UNKNOWN_APPROVER:
            return f"{name} is not in the people file"
        case ApprovalFlaw.APPROVER_NOT_HERE:
            return f"{name} was not with the site on {words.format_day(change.approval_day)}"
        case _:
            return f"the people file does not let {name} approve settings"


def format_approver(change: Change, site: Site) -> str:
    """`D. Lind`, or `claimed approved by D. Lind, does not count: D. Lind proposed it too`."""
    name = words.format_person(change.approved_by, site)
    if not change.is_only_claimed:
        return name
    why = " and ".join(format_flaw(flaw, change, site) for flaw in change.flaws)
    return f"claimed approved by {name}, does not count: {why}"


def format_approval(change: Change, site: Site) -> str:
    """What became of a change: who approved it and when, withdrawn, or not approved."""
    if change.withdrawn:
        return f"withdrawn: {change.withdrawn}"
    if not change.approved_by:
        return TAKEN_OVER if change.taken_over else "not approved"
    on = words.format_day(change.approved_on) if change.approved_on else ""
    text = format_approver(change, site)
    if change.is_only_claimed:
        return f"{text} (claimed on {on})" if on else text
    return f"{text}, {on}" if on else text


def format_claim(change: Change, site: Site) -> str:
    """One claim that does not count, with its setting and day."""
    return f"{words.format_change_from(change, site)}: {format_approver(change, site)}"


def format_not_begun(ledger: Ledger, machine: Machine, day: date) -> str:
    """That the newest approved setting of a drive was not in force yet on a day, and what was."""
    drive = ledger.setpoints.get(machine.ident)
    newest = drive.in_force if drive else None
    if drive is None or newest is None or newest.first_day <= day:
        return ""
    then = drive.on(day)
    was = "nothing was" if then is None else f"{words.format_change(then, ledger.site)} was"
    return (
        f"{machine.name}: on {words.format_day(day)} {was} in force; "
        f"{words.format_change(newest, ledger.site)} takes effect on "
        f"{words.format_day(newest.first_day)}."
    )


def format_pending_claims(drive: DriveSetpoints | None, site: Site) -> list[str]:
    """A sentence for each claim that nothing approved has followed: it is not in force."""
    claims = drive.pending_claims if drive else ()
    return [f"Not in force: {format_claim(change, site)}." for change in claims]


def follow_up_rows(follow_ups: Sequence[FollowUp]) -> list[JsonRow]:
    """One row a setting that no reading has confirmed, with the keys of `due_rows` and its own.

    Settings in Hz or L/min, speeds in r/min.
    """
    return [
        {
            "station": one.machine.station,
            "place": one.machine.ident,
            "task": None,
            "title": f"Confirm setting {one.change.number}",
            "state": "overdue" if one.overdue_days else "due",
            "due_on": one.due_on.isoformat(),
            "overdue_days": one.overdue_days,
            "because": None,
            "predicted": False,
            "last_done": None if last is None else last.result.entry.day.isoformat(),
            "put_off": None,
            "minutes": None,
            "lockout": False,
            "needs": [],
            "setting": one.change.value,
            "setting_unit": one.change.unit,
            "in_force_since": one.change.first_day.isoformat(),
            "expected_rpm": None if one.expected is None else one.expected.rpm,
            "expanded_uncertainty_rpm": None if one.expected is None else one.expected.expanded(),
            "last_e_number": None if last is None else last.e_number,
            "does_not_hold": one.state is FollowUpState.DOES_NOT_HOLD,
        }
        for one in follow_ups
        if one.is_open
        for last in (one.proof.last,)
    ]


def outlook_row(expected: Outlook) -> JsonRow:
    speed, band = expected.speed, expected.band
    return {
        "setting": expected.change.value,
        "predicted_rpm": None if speed is None else speed.rpm,
        "expanded_uncertainty_rpm": None if speed is None else speed.expanded(),
        "band_low_rpm": None if band is None else band.low,
        "band_high_rpm": None if band is None else band.high,
        "p_in_band": expected.p_in_band,
    }


def register_rows(lines: Sequence[RegisterLine], day: date | None = None) -> list[JsonRow]:
    """One row a drive: what is in force, since when, by whom, on what, and what it should give.

    `in_force` knows no day: it may begin after `day`. With a day, `in_force_that_day` is the
    setting that had begun by then.
    """
    return [_row(line) | (_that_day(line, day) if day else {}) for line in lines]


def _that_day(line: RegisterLine, day: date) -> JsonRow:
    then = None if line.setpoints is None else line.setpoints.on(day)
    setting = None if then is None else {"setting": then.value, "since": then.first_day.isoformat()}
    return {"in_force_that_day": setting}


def _row(line: RegisterLine) -> JsonRow:
    return {
        "machine": line.machine.ident,
        "unit": line.ratio.unit,
        "in_force": None if line.in_force is None else _in_force(line.in_force),
        "proposed": [outlook_row(outlook) for outlook in line.proposals],
        "claimed": [_claim(outlook) for outlook in line.claims],
    }


def _in_force(outlook: Outlook) -> JsonRow:
    change = outlook.change
    return {
        **outlook_row(outlook),
        "since": change.first_day.isoformat(),
        **fields_of(change, "line_rate_per_h", "proposed_by", "approved_by"),
        "evidence": [str(ref) for ref in change.evidence],
    }


def _claim(outlook: Outlook) -> JsonRow:
    change = outlook.change
    return {
        **outlook_row(outlook),
        "number": change.number,
        "from": change.first_day.isoformat(),
        "proposed_by": change.proposed_by,
        "claimed_approved_by": change.approved_by,
        "does_not_count": [flaw.value for flaw in change.flaws],
    }
