"""What single commits of a branch did to records, where its first and last state show nothing."""

import pytest
from git_repo import DAG, MIRA, audited

from ledger.proof.audit_items import Irregularity, Note
from ledger.proof.review import review
from ledger.proof.review_page import markdown_alone, review_page
from ledger.proof.review_table import review_rows

EVA = ("Eva Renner", "eva@example.org")
SETTING = "setpoints/brush.yaml"
FILED = "observations/2026/01/2026-01-06T0700-mira.yaml"
NEW = "observations/2026/01/2026-01-12T0700-mira.yaml"
APPROVED = (
    "- from: 2026-01-15\n  hz: 46\n  line_rate_per_h: 120\n  why: Above the band.\n"
    "  evidence: [2026-01-06T0700-mira#1]\n  proposed_by: mira\n  approved_by: dag\n"
)


@pytest.fixture
def branch(wash):
    wash.branch("change")
    wash.file("2026-01-12T0700-mira")
    return wash


def reviewed(wash):
    return review(wash.open(), "main")


def edit(wash, path: str, *, by, old="strokes: 2", new="strokes: 3") -> str:
    text = wash.text(path)
    assert old in text
    return wash.commit({path: text.replace(old, new)}, by=by)


def merged(wash):
    """What the audit says once the branch is merged by a commit of its own."""
    wash.switch("main")
    wash.repo.merge("change")
    return [item.kind for item in audited(wash.open()).items]


def test_a_branch_that_touched_nothing_says_nothing(branch):
    found = reviewed(branch)
    assert found.touched_by_commits == ()
    assert found.breaches == ()


def test_its_own_author_may_amend_a_visit_before_it_is_merged(branch):
    commit = edit(branch, NEW, by=MIRA)
    found = reviewed(branch)
    assert found.breaches == ()
    said = markdown_alone(review_page(found))
    assert "1 thing to look at" in said
    assert f"- **{NEW}**: amended by its own author in commit {commit[:10]} of this branch" in said
    assert Note.AMENDED in merged(branch)


def test_another_author_may_not(branch):
    commit = edit(branch, NEW, by=EVA)
    (breach,) = reviewed(branch).breaches
    assert (breach.rule, breach.about) == ("record-touched-on-the-way", NEW)
    assert breach.words == (
        f"touched by commit {commit[:10]} of eva@example.org on the way: entries 1.strokes: 2 → 3"
    )
    assert Irregularity.EDITED in merged(branch)


def test_an_edit_of_an_old_record_that_was_taken_back_stays_in_history(branch):
    edit(branch, FILED, by=EVA)
    edit(branch, FILED, by=EVA, old="strokes: 3", new="strokes: 2")
    found = reviewed(branch)
    assert found.records == ()
    assert [breach.about for breach in found.breaches] == [FILED, FILED]
    told = merged(branch)
    assert told.count(Irregularity.EDITED) == told.count(Note.PUT_BACK) == 1


def test_an_edit_that_stands_is_told_once(branch):
    edit(branch, FILED, by=EVA)
    assert [breach.rule for breach in reviewed(branch).breaches] == ["record-edited"]


def test_a_visit_taken_out_again_by_another(branch):
    branch.commit({NEW: None}, by=EVA)
    (breach,) = reviewed(branch).breaches
    assert breach.words.endswith("of eva@example.org on the way: the file was taken out")
    assert Irregularity.DELETED in merged(branch)


def test_a_merge_that_rewrites_what_it_brings(branch):
    branch.branch("side", "main")
    branch.file("2026-01-12T0800-eva", by=EVA)
    branch.switch("change")
    branch.repo.merge("side")
    path = "observations/2026/01/2026-01-12T0800-eva.yaml"
    branch.repo.write(path, branch.text(path).replace("strokes: 2", "strokes: 9"))
    branch.repo.git("add", "-A")
    branch.repo.git("commit", "-q", "--amend", "--no-edit", **branch.repo.people(DAG, None))
    assert [breach.about for breach in reviewed(branch).breaches] == [path]
    assert Irregularity.EDITED in merged(branch)


def test_an_approval_that_another_edited_afterwards(branch):
    branch.commit({SETTING: branch.text(SETTING) + APPROVED}, by=DAG)
    edit(branch, SETTING, by=MIRA, old="Above the band.", new="Above its band.")
    assert "record-touched-on-the-way" in [one.rule for one in reviewed(branch).breaches]
    assert Irregularity.APPROVED_EDITED in merged(branch)


def test_json_names_the_commit(branch):
    commit = edit(branch, NEW, by=EVA)
    assert review_rows(reviewed(branch))["touched_on_the_way"] == [
        {
            "path": NEW,
            "commit": commit,
            "author": "eva@example.org",
            "words": "entries 1.strokes: 2 → 3",
            "by_its_own_author": False,
        }
    ]
