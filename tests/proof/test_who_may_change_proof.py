"""An auditor is told first who changed what approvals are held against, and may not approve."""

import pytest
from git_repo import DAG, MIRA, audited

from ledger.proof.audit_items import Note

SITE = "site.yaml"
DAGS = "emails: [dag@example.org]"
KEY = "signing_keys: [ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAIHJvbGxlcnMgdHVybiBhdCBlaWdodHkgYSBtaW51dGUu d]"
NEW = "  ola: {name: Ola Berg, roles: [lead]"


def kinds(wash):
    told = [item.kind for item in audited(wash.open()).items if item.about == SITE]
    return set(told)


def edit(wash, old: str, new: str, *, by):
    text = wash.text(SITE)
    assert old in text
    wash.commit({SITE: text.replace(old, new)}, by=by)


TOUCHES = {
    "an approver's key": (DAGS, f"{DAGS}, {KEY}"),
    "an approver's address": (DAGS, "emails: [dag@example.org, mira@example.org]"),
    "the right to approve": ("roles: [technician], emails: [mira", "roles: [technician], approves: [setpoints], emails: [mira"),
    "a new person who may approve": ("policy:", f"{NEW}, approves: [setpoints]}}\npolicy:"),
    "the rule": ("approval_proof: commit", "approval_proof: file"),
}  # fmt: skip


@pytest.mark.parametrize(("old", "new"), TOUCHES.values(), ids=TOUCHES)
def test_changed_by_one_who_may_not_approve(wash, old, new):
    edit(wash, old, new, by=MIRA)
    assert kinds(wash) == {Note.RULES_BY_OTHERS}


@pytest.mark.parametrize(("old", "new"), TOUCHES.values(), ids=TOUCHES)
def test_changed_by_one_who_may(wash, old, new):
    edit(wash, old, new, by=DAG)
    assert kinds(wash) == {Note.RULES}


def test_a_stranger_may_not(wash):
    edit(wash, DAGS, f"{DAGS}, {KEY}", by=("Sly", "sly@example.com"))
    assert kinds(wash) == {Note.RULES_BY_OTHERS}


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("policy:", f"{NEW}}}\npolicy:"),
        ("emails: [mira@example.org]", "emails: [mira@example.org, m@example.org]"),
        ("entry_within: 2 days", "entry_within: 3 days"),
    ],
    ids=["a new technician", "an address of one who approves nothing", "another rule"],
)
def test_what_no_approval_is_held_against(wash, old, new):
    edit(wash, old, new, by=MIRA)
    assert kinds(wash) == {Note.RULES}


def test_where_the_file_s_word_is_enough(wash):
    edit(wash, "approval_proof: commit", "approval_proof: file", by=DAG)
    edit(wash, DAGS, f"{DAGS}, {KEY}", by=MIRA)
    assert kinds(wash) == {Note.RULES}


def test_an_address_of_two_proves_neither(wash):
    edit(wash, "emails: [mira@example.org]", "emails: [mira@example.org, dag@example.org]", by=DAG)
    edit(wash, DAGS, f"{DAGS}, {KEY}", by=DAG)
    assert kinds(wash) == {Note.RULES, Note.RULES_BY_OTHERS}


def test_an_approver_named_as_author_by_another(wash):
    text = wash.text(SITE)
    wash.commit({SITE: text.replace(DAGS, f"{DAGS}, {KEY}")}, by=DAG, committer=MIRA)
    assert kinds(wash) == {Note.RULES_BY_OTHERS}


def test_a_branch_that_became_the_line_with_its_parents_swapped(wash):
    """It merges main into itself, and main is moved forward to it: its own commits are the line."""
    wash.branch("own")
    edit(wash, "approval_proof: commit", "approval_proof: file", by=MIRA)
    wash.switch("main")
    wash.file("2026-01-07T0700-mira")
    wash.switch("own")
    wash.repo.merge("main", by=MIRA)
    wash.switch("main")
    wash.repo.git("merge", "-q", "--ff-only", "own")
    first = next(item for item in audited(wash.open()).items if isinstance(item.kind, Note))
    assert first.kind is Note.RULES_BY_OTHERS
    assert first.words == "policy.approval_proof: commit → file"
