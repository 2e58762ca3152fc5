"""How an approval is worded: who agreed, or why what the file claims does not count."""

from datetime import date

from ledger.model.approvals import ApprovalFlaw
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.model.setpoints import Change, DriveSetpoints
from ledger.model.site import Site
from ledger.report import words


def flaw_words(flaw: ApprovalFlaw, change: Change, site: Site) -> str:
    """Why an approval does not count, as half a sentence."""
    name = words.person_words(change.approved_by, site)
    match flaw:
        case ApprovalFlaw.SELF_APPROVED:
            return f"{name} proposed it too"
        case ApprovalFlaw.UNKNOWN_APPROVER:
            return f"{name} is not in the people file"
        case ApprovalFlaw.APPROVER_NOT_HERE:
            return f"{name} was not with the site on {words.day_words(change.approval_day)}"
        case _:
            return f"the people file does not let {name} approve settings"


def approver_words(change: Change, site: Site) -> str:
    """`D. Lind`, or `claimed approved by D. Lind, does not count: D. Lind proposed it too`."""
    name = words.person_words(change.approved_by, site)
    if not change.is_only_claimed:
        return name
    why = " and ".join(flaw_words(flaw, change, site) for flaw in change.flaws)
    return f"claimed approved by {name}, does not count: {why}"


def approval_words(change: Change, site: Site) -> str:
    """What became of a change: who approved it and when, withdrawn, or not approved."""
    if change.withdrawn:
        return f"withdrawn: {change.withdrawn}"
    if not change.approved_by:
        return "not approved"
    on = words.day_words(change.approved_on) if change.approved_on else ""
    said = approver_words(change, site)
    if change.is_only_claimed:
        return f"{said} (claimed on {on})" if on else said
    return f"{said}, {on}" if on else said


def claim_words(change: Change, site: Site) -> str:
    """One claim that does not count, with its setting and day."""
    return (
        f"{words.change_words(change, site)} from {words.day_words(change.first_day)}: "
        f"{approver_words(change, site)}"
    )


def not_begun_words(ledger: Ledger, machine: Machine, day: date) -> str:
    """That the newest approved setting of a drive was not in force yet on a day, and what was."""
    drive = ledger.setpoints.get(machine.ident)
    newest = drive.in_force if drive else None
    if drive is None or newest is None or newest.first_day <= day:
        return ""
    then = drive.on(day)
    was = "nothing was" if then is None else f"{words.change_words(then, ledger.site)} was"
    return (
        f"{machine.name}: on {words.day_words(day)} {was} in force; "
        f"{words.change_words(newest, ledger.site)} takes effect on "
        f"{words.day_words(newest.first_day)}."
    )


def pending_claims_words(drive: DriveSetpoints | None, site: Site) -> list[str]:
    """A sentence for each claim that nothing approved has followed: it is not in force."""
    claims = drive.pending_claims if drive else ()
    return [f"Not in force: {claim_words(change, site)}." for change in claims]
