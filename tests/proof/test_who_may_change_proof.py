"""What approvals are held against is itself approved: else it does not count, and is told."""

import pytest
from git_repo import DAG, MIRA, audited

from ledger.proof.audit_items import Irregularity, Note

SITE = "site.yaml"
DAGS = "emails: [dag@example.org]"
MIRAS = "emails: [mira@example.org]"
KEY = "signing_keys: [ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAIHJvbGxlcnMgdHVybiBhdCBlaWdodHkgYSBtaW51dGUu d]"
NEW = "  ola: {name: Ola Berg, roles: [lead]"
TOLD, NOT_COUNTED = {Note.RULES}, {Irregularity.RULES}


def kinds(wash):
    return {item.kind for item in audited(wash.open()).items if item.about == SITE}


def edited(wash, old: str, new: str) -> dict[str, str]:
    text = wash.text(SITE)
    assert old in text
    return {SITE: text.replace(old, new)}


def edit(wash, old: str, new: str, *, by):
    wash.commit(edited(wash, old, new), by=by)


GUARDED = {
    "an approver's key": (DAGS, f"{DAGS}, {KEY}"),
    "an approver's address": (DAGS, "emails: [dag@example.org, dag@home.example]"),
    "an approver's last address": (f", {DAGS}", ""),
    "the address of another": (DAGS, "emails: [dag@example.org, mira@example.org]"),
    "the right to approve": ("roles: [technician], emails: [mira", "roles: [technician], approves: [setpoints], emails: [mira"),
    "a new person who may approve": ("policy:", f"{NEW}, approves: [setpoints]}}\npolicy:"),
    "the rule": ("approval_proof: commit", "approval_proof: file"),
    "the second person": ("approver_differs: true", "approver_differs: false"),
    "the time allowed": ("entry_within: 2 days", "entry_within: 3 days"),
    "the step": ("max_step_hz: 4", "max_step_hz: 9"),
}  # fmt: skip
OF_TWO = [name for name in GUARDED if not name.startswith("an approver's")]


@pytest.mark.parametrize("name", GUARDED)
def test_changed_by_one_who_may_not_approve(wash, name):
    edit(wash, *GUARDED[name], by=MIRA)
    assert kinds(wash) == NOT_COUNTED


@pytest.mark.parametrize("name", GUARDED)
def test_written_by_one_and_merged_by_an_approver(wash, name):
    wash.settle(edited(wash, *GUARDED[name]))
    assert kinds(wash) == TOLD


@pytest.mark.parametrize("name", GUARDED)
def test_changed_by_an_approver_alone(wash, name):
    """Of their own keys and addresses their own proof is enough; a rule for two asks for two."""
    edit(wash, *GUARDED[name], by=DAG)
    assert kinds(wash) == (NOT_COUNTED if name in OF_TWO else TOLD)


@pytest.mark.parametrize("name", GUARDED)
def test_changed_by_an_approver_of_a_site_where_one_is_enough(wash, name):
    wash.settle(edited(wash, "approver_differs: true", "approver_differs: false"))
    text = [part.replace("approver_differs: true", "approver_differs: false") for part in GUARDED[name]]  # fmt: skip
    if text[0] != text[1]:
        edit(wash, *text, by=DAG)
    assert kinds(wash) == TOLD


def test_a_stranger_may_not(wash):
    edit(wash, DAGS, f"{DAGS}, {KEY}", by=("Sly", "sly@example.com"))
    assert kinds(wash) == NOT_COUNTED


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("policy:", f"{NEW}}}\npolicy:"),
        (MIRAS, "emails: [mira@example.org, m@example.org]"),
        (MIRAS, f"{MIRAS}, {KEY}"),
        ("entry_within: 2 days", "entry_within: 1 day"),
    ],
    ids=["a new technician", "one's own address", "one's own key", "stricter"],
)
def test_what_needs_nobody_else(wash, old, new):
    edit(wash, old, new, by=MIRA)
    assert kinds(wash) == TOLD


def test_the_address_of_another_who_approves_nothing(wash):
    edit(wash, "emails: [eva@example.org]", "emails: [eva@example.org, e@example.org]", by=MIRA)
    assert kinds(wash) == NOT_COUNTED


def test_one_who_was_taken_out_and_comes_back_with_another_address(wash):
    line = next(line for line in wash.text(SITE).splitlines() if line.startswith("  eva:"))
    edit(wash, f"{line}\n", "", by=MIRA)
    again = line.replace("eva@example.org", "mira2@example.org")
    edit(wash, "policy:", f"{again}\npolicy:", by=MIRA)
    assert kinds(wash) == TOLD | NOT_COUNTED


def test_where_the_file_s_word_is_enough(wash):
    wash.settle(edited(wash, "approval_proof: commit", "approval_proof: file"))
    edit(wash, DAGS, f"{DAGS}, {KEY}", by=MIRA)
    assert kinds(wash) == TOLD


def test_a_founder_alone_may_set_up_everything(wash, tmp_path):
    """Nobody else was ever known there, so there is no second person to ask."""
    alone = wash.text(SITE).partition("  mira:")[0] + wash.text(SITE).partition("eva:")[2]
    alone = alone[: alone.index("people:")] + "people:\n  dag:" + alone.partition("dag:")[2]
    wash.repo.git("checkout", "-q", "--orphan", "anew")
    wash.commit({SITE: alone}, by=DAG)
    for name in ("the rule", "a new person who may approve"):
        edit(wash, *GUARDED[name], by=DAG)
    assert kinds(wash) == TOLD


def test_an_approver_named_as_author_by_another(wash):
    files = edited(wash, DAGS, f"{DAGS}, {KEY}")
    wash.commit(files, by=DAG, committer=MIRA)
    assert kinds(wash) == NOT_COUNTED


def test_a_loosening_is_told_once_however_often_the_file_changes_after_it(wash):
    edit(wash, *GUARDED["the step"], by=MIRA)
    edit(wash, "format: 1", "driver_side: right\nformat: 1", by=DAG)
    (item,) = audited(wash.open()).irregularities
    assert item.words == ("policy.max_step_hz: 4 → 9: does not count, no approver vouches for it")
