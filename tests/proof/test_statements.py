"""Approvals as signed statements in the tree: what each merge leaves of them, and what none covers.

The cases are those of an audit of in-tree statements along first parents that was tried first.
"""

import pytest
from git_repo import DAG, MIRA, audited
from small_wash import EVA, FIRST_SETTING
from ssh_keys import make_key, needs_ssh_keygen, public_line, sign_with, signed_bytes

from ledger.proof.audit import Verdict
from ledger.proof.review import review
from ledger.proof.review_page import markdown_alone, review_page
from ledger.proof.statements import NAMESPACE, hash_of, statement_file

pytestmark = needs_ssh_keygen

SETTING, SITE = "setpoints/brush.yaml", "site.yaml"
HOST = ("Git Host", "noreply@host.example")
PROPOSAL = (
    "- from: 2026-01-15\n  hz: 46\n  line_rate_per_h: 104\n  why: Above the band.\n"
    "  evidence: [2026-01-06T0700-mira#1]\n  proposed_by: mira\n"
)
APPROVED = PROPOSAL + "  approved_by: dag\n"


class Stated:
    """A wash that asks for statements; Dag's key is known, and a stranger has one too."""

    def __init__(self, wash, folder):
        self.wash, self.repo, self.count = wash, wash.repo, 0
        self.keys = {name: make_key(folder, name) for name in ("dag", "mira", "new")}
        text = wash.text(SITE).replace("proof: commit", "proof: statement")
        for name in ("dag", "mira"):
            known = f"[{name}@example.org]"
            text = text.replace(known, f"{known}, signing_keys: ['{public_line(self.keys[name])}']")
        wash.at("2026-01-11T09:00").commit({SITE: text}, by=DAG)

    def bytes_at(self, revision, path):
        names = self.repo.git("ls-tree", "-r", "--name-only", revision).split("\n")
        return f"{self.repo.git('show', f'{revision}:{path}')}\n".encode() if path in names else None  # fmt: skip

    def statement(self, path, after, *, by="dag", key="dag", before="main", namespace=NAMESPACE, site="Small Wash"):  # fmt: skip
        """The two files of a statement on a change of `path` since `before` to the text `after`."""
        old = hash_of(self.bytes_at(before, path))
        hashes = old, hash_of(after.encode())
        text = statement_file(by, site, "2026-01-12T12:00+00:00", path, hashes)
        self.count += 1
        name = f"approvals/2026-01-12-{self.count}.yaml"
        signature = signed_bytes(text.encode(), self.keys[key], namespace).decode()
        return {name: text, f"{name}.sig": signature}

    def commit(self, files, by=MIRA, at=""):
        self.wash.at(at or "2026-01-12T09:00")
        return self.wash.commit(files, by=by)

    def kinds(self):
        return [item.kind.name for item in audited(self.wash.open()).irregularities]


@pytest.fixture
def stated(wash, tmp_path):
    return Stated(wash, tmp_path / "keys")


def one_commit(s):
    """Mira proposes; the approval and its statement come together."""
    s.commit({SETTING: FIRST_SETTING + PROPOSAL})
    text = FIRST_SETTING + APPROVED
    s.commit({SETTING: text, **s.statement(SETTING, text)}, by=DAG, at="2026-01-12T12:00")


def two_commits(s):
    """The statement is written a little later than the approval in the file."""
    s.commit({SETTING: FIRST_SETTING + PROPOSAL})
    text = FIRST_SETTING + APPROVED
    s.commit({SETTING: text}, by=DAG, at="2026-01-12T12:00")
    s.commit(s.statement(SETTING, text), by=DAG, at="2026-01-12T13:00")


def bring(s, how):
    s.wash.switch("main")
    s.wash.file("2026-01-12T0710-eva", by=EVA)
    git = s.repo.git
    if how == "merge":
        s.wash.at("2026-01-12T19:00").repo.merge("change", by=EVA)
    elif how == "squash":
        s.wash.at("2026-01-12T19:00")
        git("merge", "-q", "--squash", "change", **s.repo.people(MIRA, HOST))
        s.wash.at("2026-01-12T19:00").commit({}, by=MIRA, committer=HOST)
    else:
        who = {"GIT_COMMITTER_NAME": HOST[0], "GIT_COMMITTER_EMAIL": HOST[1]}
        for oid in git("rev-list", "--reverse", "main..change").split():
            s.repo.clock += 60
            git("cherry-pick", oid, **who, GIT_COMMITTER_DATE=f"{s.repo.clock} +0100")


@pytest.mark.parametrize("how", ["merge", "squash", "rebase"])
@pytest.mark.parametrize("steps", [one_commit, two_commits], ids=lambda one: one.__name__)
def test_a_statement_survives_every_way_to_merge(stated, steps, how):
    stated.wash.branch("change")
    steps(stated)
    assert review(stated.wash.open(), "main", "change").breaches == ()
    bring(stated, how)
    found = audited(stated.wash.open())
    assert ([i.words for i in found.irregularities], found.verdict) == ([], Verdict.CLEAN)


@pytest.mark.parametrize("how", ["merge", "squash", "rebase"])
def test_people_and_rules_change_by_statement_too(stated, how):
    stated.wash.branch("change")
    text = stated.wash.text(SITE).replace("entry_within: 2 days", "entry_within: 5 days")
    stated.commit({SITE: text})
    assert [one.rule for one in review(stated.wash.open(), "main", "change").breaches] == ["rules"]
    stated.commit(stated.statement(SITE, text), by=DAG, at="2026-01-12T12:00")
    assert review(stated.wash.open(), "main", "change").breaches == ()
    bring(stated, how)
    assert stated.kinds() == []
    stated.wash.file("2026-01-13T0700-mira", at="2026-01-20T08:00")
    assert stated.kinds() == []


def test_a_weaker_plan_by_statement(stated):
    text = stated.wash.text(SITE).replace("hz: 4, entry", "hz: 4, plan_needs_approval: true, entry")
    stated.commit({SITE: text}, by=DAG)
    path = "tasks/grease.yaml"
    looser = stated.wash.text(path).replace("1 week", "2 weeks")
    stated.commit({path: looser})
    assert stated.kinds() == ["PLAN_ALONE"]
    stated.commit(stated.statement(path, looser, before="HEAD~1"), by=DAG, at="2026-01-13T09:00")
    assert stated.kinds() == []


def test_approved_the_day_after_it_came_to_the_line(stated):
    stated.commit({SETTING: FIRST_SETTING + PROPOSAL})
    text = FIRST_SETTING + APPROVED
    stated.commit({SETTING: text}, by=MIRA)
    assert stated.kinds() == ["NOT_PROVEN"]
    statement = stated.statement(SETTING, text, before="HEAD~1")
    stated.commit(statement, by=DAG, at="2026-01-13T09:00")
    assert stated.kinds() == []


def test_a_key_handed_over_by_the_old_one(stated):
    old, new = (public_line(stated.keys[name]) for name in ("dag", "new"))
    text = stated.wash.text(SITE).replace(old, new)
    stated.commit({SITE: text, **stated.statement(SITE, text)}, by=DAG)
    assert stated.kinds() == []
    stated.commit({SETTING: FIRST_SETTING + PROPOSAL})
    text = FIRST_SETTING + APPROVED
    stated.commit({SETTING: text, **stated.statement(SETTING, text, key="new")}, by=DAG)
    assert stated.kinds() == []


def no_statement(s):
    s.commit({SETTING: FIRST_SETTING + APPROVED}, by=DAG)


def another_key(s):
    s.commit(s.statement(SETTING, FIRST_SETTING + APPROVED, key="new"), by=DAG)


def another_persons_key(s):
    s.commit(s.statement(SETTING, FIRST_SETTING + APPROVED, key="mira"), by=DAG)


def signed_for_something_else(s):
    text = FIRST_SETTING + APPROVED
    s.commit(s.statement(SETTING, text, namespace="git"), by=DAG)


def of_another_site(s):
    s.commit(s.statement(SETTING, FIRST_SETTING + APPROVED, site="North Street Wash"), by=DAG)


def by_one_who_may_not(s):
    s.commit(s.statement(SETTING, FIRST_SETTING + APPROVED, by="mira", key="mira"), by=MIRA)


def statement_edited(s):
    files = s.statement(SETTING, FIRST_SETTING + APPROVED)
    s.commit({name: text.replace("12:00", "13:00") for name, text in files.items()}, by=DAG)


def line_ends_turned(s):
    files = s.statement(SETTING, FIRST_SETTING + APPROVED)
    s.commit({name: text.replace("\n", "\r\n") if name.endswith("yaml") else text for name, text in files.items()}, by=DAG)  # fmt: skip


def value_edited_after_it_was_signed(s):
    s.commit(s.statement(SETTING, (FIRST_SETTING + APPROVED).replace("hz: 46", "hz: 45")), by=DAG)


def base_moved_under_it(s):
    s.commit({SETTING: s.wash.text(SETTING)})
    files = s.statement(SETTING, FIRST_SETTING + APPROVED)
    other = next(name for name in files if name.endswith("yaml"))
    wrong = files[other].replace(files[other].partition("before: ")[2][:71], f"sha256:{'0' * 64}")
    signature = signed_bytes(wrong.encode(), s.keys["dag"], NAMESPACE).decode()
    s.commit({other: wrong, f"{other}.sig": signature}, by=DAG)


UNCOVERED = [
    no_statement, another_key, another_persons_key, signed_for_something_else, of_another_site, by_one_who_may_not,
    statement_edited, line_ends_turned, value_edited_after_it_was_signed, base_moved_under_it,
]  # fmt: skip


@pytest.mark.parametrize("steps", UNCOVERED, ids=lambda one: one.__name__)
def test_what_no_statement_covers(stated, steps):
    stated.wash.branch("change")
    stated.commit({SETTING: FIRST_SETTING + PROPOSAL})
    steps(stated)
    if steps is not no_statement:
        stated.commit({SETTING: FIRST_SETTING + APPROVED}, by=DAG, at="2026-01-12T18:00")
    rules = [one.rule for one in review(stated.wash.open(), "main", "change").breaches]
    assert "policy-proof-of-approval" in rules
    bring(stated, "merge")
    assert "NOT_PROVEN" in stated.kinds()


def test_a_withdrawn_key_on_an_old_branch(stated):
    stated.wash.branch("change")
    stated.wash.switch("main")
    old, new = (public_line(stated.keys[name]) for name in ("dag", "new"))
    text = stated.wash.text(SITE).replace(old, new)
    stated.commit({SITE: text, **stated.statement(SITE, text)}, by=DAG)
    stated.wash.switch("change")
    one_commit(stated)
    stated.wash.switch("main")
    stated.wash.at("2026-01-12T19:00").repo.merge("change", by=EVA)
    assert stated.kinds() == ["NOT_PROVEN"]


@pytest.mark.parametrize("how", ["as it lies there", "under another name"])
def test_a_statement_counts_once(stated, how):
    """The rule was loosened by statement and tightened again; the old statement is no second one."""
    before = stated.wash.text(SITE)
    looser = before.replace("entry_within: 2 days", "entry_within: 5 days")
    files = stated.statement(SITE, looser)
    stated.commit({SITE: looser, **files}, by=MIRA)
    stated.commit({SITE: before}, by=MIRA, at="2026-01-13T09:00")
    assert stated.kinds() == []
    again = how == "under another name"
    copies = {path.replace(".yaml", "-2.yaml"): text for path, text in files.items() if again}
    stated.commit({SITE: looser, **copies}, by=MIRA, at="2026-01-14T09:00")
    assert stated.kinds() == ["RULES"]


@pytest.mark.parametrize("ending", ["", ".sig"])
def test_a_statement_that_was_edited_or_taken_out_later(stated, ending):
    one_commit(stated)
    assert stated.kinds() == []
    path = f"approvals/2026-01-12-1.yaml{ending}"
    before = stated.wash.text(path)
    stated.commit({path: before.replace("2026", "2025", 1) + "# late\n"}, at="2026-01-13T09:00")
    assert stated.kinds() == ["AUDIT_TOUCHED"]
    stated.commit({path: before}, at="2026-01-13T10:00")
    stated.commit({path: None}, at="2026-01-13T11:00")
    assert stated.kinds() == ["AUDIT_TOUCHED"] * 2


def test_a_site_of_another_name_today_approves_by_the_name_it_began_with(stated):
    text = stated.wash.text(SITE).replace("name: Small Wash", "name: Large Wash")
    stated.commit({SITE: text}, at="2026-01-11T12:00")
    one_commit(stated)
    assert stated.kinds() == []


def test_a_loosened_rule_that_was_put_back_without_a_statement(stated):
    before = stated.wash.text(SITE)
    stated.commit({SITE: before.replace("within: 2 days", "within: 5 days")}, by=MIRA)
    stated.commit({SITE: before}, by=MIRA, at="2026-01-13T09:00")
    assert stated.kinds() == ["RULES"]


def test_a_signed_commit_counts_too(stated):
    stated.wash.branch("change")
    stated.commit({SETTING: FIRST_SETTING + PROPOSAL})
    sign_with(stated.repo, stated.keys["dag"])
    stated.commit({SETTING: FIRST_SETTING + APPROVED}, by=DAG, at="2026-01-12T12:00")
    sign_with(stated.repo, None)
    bring(stated, "merge")
    assert stated.kinds() == []


@pytest.mark.parametrize("proof", ["commit", "statement"])
def test_a_review_says_which_ways_to_merge_keep_the_proof(wash, tmp_path, proof):
    stated = Stated(wash, tmp_path / "keys") if proof == "statement" else None
    wash.branch("change")
    if stated:
        one_commit(stated)
    else:
        wash.at("2026-01-12T09:00").agree({SETTING: FIRST_SETTING + APPROVED})
    found = review(wash.open(), "main", "change")
    assert found.breaches == ()
    said = markdown_alone(review_page(found))
    if stated:
        assert "asks for (statement) is kept by merge commit, squash and rebase." in said
    else:
        assert "asks for (commit) is kept by merge commit and rebase; lost by squash: " in said
        assert (
            "in a merge made on a git host's page, it is the host that vouches for an account."
            in said
        )


def test_a_review_says_where_a_fast_forward_would_turn_the_line(wash):
    wash.branch("change")
    wash.file("2026-01-12T0700-mira")
    said = "A fast-forward would swap the sides of the history"
    assert said not in markdown_alone(review_page(review(wash.open(), "main", "change")))
    wash.switch("main")
    wash.file("2026-01-12T0710-eva", by=EVA)
    wash.switch("change")
    wash.repo.merge("main", by=MIRA)
    assert said in markdown_alone(review_page(review(wash.open(), "main", "change")))


def test_a_proposal_alone_rests_on_no_proof(stated):
    stated.wash.branch("change")
    stated.commit({SETTING: FIRST_SETTING + PROPOSAL})
    assert review(stated.wash.open(), "main", "change").lost_by == {}


def test_after_the_last_key_was_lost_trust_begins_anew_at_a_commit_agreed_on_outside(stated):
    old, new = (public_line(stated.keys[name]) for name in ("dag", "new"))
    oid = stated.commit({SITE: stated.wash.text(SITE).replace(old, new)}, by=DAG)
    stated.wash.branch("change")
    stated.commit({SETTING: FIRST_SETTING + PROPOSAL})
    text = FIRST_SETTING + APPROVED
    stated.commit({SETTING: text, **stated.statement(SETTING, text, key="new")}, by=DAG)
    assert review(stated.wash.open(), "main", "change").breaches != ()
    assert review(stated.wash.open(), "main", "change", anchor=oid).breaches == ()
    stated.wash.switch("main")
    stated.wash.at("2026-01-12T19:00").repo.merge("change", by=EVA)
    assert stated.kinds() == ["RULES", "NOT_PROVEN"]
    found = audited(stated.wash.open(), anchor=oid)
    assert found.irregularities == ()
    assert "ANCHOR" in {item.kind.name for item in found.items}


@pytest.mark.parametrize(
    ("by", "key", "said", "notes"),
    [
        (MIRA, "mira", "mira@example.org, signed with a key of Mira Osterby", []),
        (MIRA, None, "mira@example.org", []),
        (
            ("M", "m@home.example"),
            None,
            "m@home.example, an address of nobody here",
            ["NO_ADDRESS"],
        ),
    ],
    ids=["signed", "not signed", "from an address of nobody"],
)
def test_what_shows_of_the_second_person(stated, by, key, said, notes):
    stated.wash.branch("change")
    sign_with(stated.repo, key and stated.keys[key])
    stated.commit({SETTING: FIRST_SETTING + PROPOSAL}, by=by)
    sign_with(stated.repo, None)
    text = FIRST_SETTING + APPROVED
    stated.commit({SETTING: text, **stated.statement(SETTING, text)}, by=DAG, at="2026-01-12T12:00")
    (reviewed,) = review(stated.wash.open(), "main", "change").settings
    told = next(one for one in reviewed.points if one.name == "Second person")
    assert (told.held, told.because.partition("of the proposal: ")[2]) == (True, said)
    bring(stated, "merge")
    found = audited(stated.wash.open()).items
    assert [item.kind.name for item in found if item.kind.name == "NO_ADDRESS"] == notes


def test_a_branch_that_puts_back_what_no_statement_covers_is_not_accused_of_it(stated):
    before = stated.wash.text(SITE)
    stated.commit({SITE: before.replace("entry_within: 2 days", "entry_within: 5 days")})
    assert stated.kinds() == ["RULES"]
    stated.wash.branch("change")
    stated.commit({SITE: before})
    assert review(stated.wash.open(), "main", "change").breaches == ()
