"""Who may approve a setting: the site's rule on persons, and what follows for what is in force."""

from datetime import date

import pytest
from small_site import FIRST_DAY, SITE, ledger_of, on, setpoint

from ledger.model.policy import Approval, ApprovalFlaw, judge_approval

PEOPLE = {
    **SITE["people"],
    "c-lund": {"name": "C. Lund", "roles": ["lead"], "approves": ["setpoints"], "until": "2026-01-20"},
}  # fmt: skip


def flaws(*, proposer="a-holt", approver="b-marsh", day=FIRST_DAY, policy=None):
    site = ledger_of(site={"people": PEOPLE, "policy": policy or {}}).site
    approval = Approval(proposer=proposer, approver=approver, stated_on=day, first_day=day)
    return judge_approval(approval, site).flaws


@pytest.mark.parametrize(
    ("named", "broken"),
    [
        pytest.param({}, (), id="a second person who may"),
        pytest.param({"proposer": "b-marsh"}, (ApprovalFlaw.SELF_APPROVED,), id="own proposal"),
        pytest.param({"proposer": "b-marsh", "policy": {"approver_differs": False}}, (), id="own proposal, which the site allows"),
        pytest.param({"proposer": "b-marsh", "approver": "a-holt"}, (ApprovalFlaw.MAY_NOT_APPROVE,), id="not marked to approve"),
        pytest.param({"approver": "a-holt"}, (ApprovalFlaw.SELF_APPROVED, ApprovalFlaw.MAY_NOT_APPROVE), id="own proposal and not marked"),
        pytest.param({"approver": "a-holt", "policy": {"approver_differs": False}}, (ApprovalFlaw.MAY_NOT_APPROVE,), id="own proposal is allowed, to approve is not"),
        pytest.param({"approver": "c-lund", "day": date(2026, 1, 20)}, (), id="on the last day at the site"),
        pytest.param({"approver": "c-lund", "day": date(2026, 1, 21)}, (ApprovalFlaw.APPROVER_NOT_HERE,), id="no longer at the site"),
        pytest.param({"approver": "x-nobody"}, (ApprovalFlaw.UNKNOWN_APPROVER,), id="not in the people file"),
    ],
)  # fmt: skip
def test_the_rule_on_persons(named, broken):
    assert flaws(**named) == broken


def drive_of(*changes, **policy):
    ledger = ledger_of(setpoints=changes, site={"people": PEOPLE, "policy": policy})
    return ledger.setpoints["brush"]


OWN = {"proposed_by": "b-marsh", "approved_by": "b-marsh"}


def test_what_was_approved_properly_stays_in_force():
    drive = drive_of(setpoint(0, 48), setpoint(10, 44, **OWN))
    assert drive.in_force.value == 48
    assert drive.on(on(30)).value == 48
    assert [change.value for change in drive.claims] == [44]
    assert drive.pending_claims == drive.claims
    assert drive.proposals == ()


def test_a_site_that_lets_people_approve_their_own_has_it_in_force():
    drive = drive_of(setpoint(0, 48), setpoint(10, 44, **OWN), approver_differs=False)
    assert (drive.in_force.value, drive.claims) == (44, ())


def test_the_first_setting_is_held_to_the_rule_on_persons_too():
    assert drive_of(setpoint(0, 48, **OWN)).in_force is None


def test_a_proper_approval_later_settles_a_claim():
    drive = drive_of(setpoint(0, 48), setpoint(10, 44, **OWN), setpoint(12, 44))
    assert (drive.in_force.number, len(drive.claims), drive.pending_claims) == (3, 1, ())


def test_the_day_of_the_approval_counts_and_without_one_the_first_day():
    late = drive_of(setpoint(30, 48, approved_by="c-lund"))
    assert late.in_force is None
    in_time = drive_of(setpoint(30, 48, approved_by="c-lund", approved_on=on(10).isoformat()))
    assert in_time.in_force.value == 48


def test_only_the_first_change_may_be_taken_over():
    drive = drive_of(setpoint(0, 48, **OWN), setpoint(10, 44))
    assert [change.may_be_taken_over for change in drive.changes] == [True, False]
