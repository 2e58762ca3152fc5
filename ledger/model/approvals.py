"""Whether an approval counts: the site's own rule on who may approve a drive's setting."""

from datetime import date
from enum import StrEnum

from ledger.model.site import Site

APPROVES_SETTINGS = "setpoints"
"""What the people file lets a person approve, to be an approver of settings."""


class ApprovalFlaw(StrEnum):
    """Why an approval does not count; the values are rule ids."""

    SELF_APPROVED = "self-approved"
    UNKNOWN_APPROVER = "unknown-approver"
    MAY_NOT_APPROVE = "may-not-approve"
    APPROVER_NOT_HERE = "approver-not-here"


def approval_flaws(
    site: Site, *, proposer: str, approver: str, day: date
) -> tuple[ApprovalFlaw, ...]:
    """Every rule that an approval breaks by the site's people and policy; empty where it counts.

    Proposer and approver are ids of people, `day` the day of the approval. A site may let people
    approve what they proposed themselves. What git says of the approval is asked elsewhere.
    """
    found = []
    if site.policy.approver_differs and approver == proposer:
        found.append(ApprovalFlaw.SELF_APPROVED)
    person = site.people.get(approver)
    if person is None:
        found.append(ApprovalFlaw.UNKNOWN_APPROVER)
    elif APPROVES_SETTINGS not in person.approves:
        found.append(ApprovalFlaw.MAY_NOT_APPROVE)
    elif not person.is_here(day):
        found.append(ApprovalFlaw.APPROVER_NOT_HERE)
    return tuple(found)
