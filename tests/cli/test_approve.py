"""Two people and one setting, in the words of the guide: propose, review, approve, merge, audit."""

import re
import subprocess
from datetime import UTC, datetime, timedelta

import pytest
from git_repo import DAG, MIRA, Repo
from small_wash import COUNTED, GREASED, Wash
from ssh_keys import make_key, needs_ssh_keygen, public_line

from ledger.history.log import History
from ledger.proof.audit import audit

pytestmark = needs_ssh_keygen

SITE, SETTING, BRANCH = "site.yaml", "setpoints/brush.yaml", "setting-brush-2026-01-15"
HOST = ("Git Host", "noreply@host.example")
PROPOSE = ("brush", "--hz", 46, "--evidence", "2026-01-06T0700-mira#1", "--why", "Above the band.", "--from", "2026-01-15")  # fmt: skip


class Pair:
    """A site of two people with the keys of both, and a clock that goes on."""

    def __init__(self, tunnelbook, tmp_path, proof):
        self.run = tunnelbook
        self.wash = Wash(Repo(tmp_path / "wash"))
        self.wash.begin()
        self.wash.file("2026-01-06T0700-mira", COUNTED, GREASED)
        self.repo, self.root = self.wash.repo, self.wash.repo.folder
        self.keys = {name: make_key(tmp_path / "keys", name) for name in ("dag", "other")}
        text = self.wash.text(SITE).replace("proof: commit", f"proof: {proof}")
        known = f"[dag@example.org], signing_keys: ['{public_line(self.keys['dag'])}']"
        text = text.replace("[dag@example.org]", known)
        self.wash.at("2026-01-07T09:00").commit({SITE: text}, by=DAG)
        self.at("2026-01-12T09:00")

    def at(self, when):
        self.now = datetime.fromisoformat(when).replace(tzinfo=UTC)
        self.run.clock = lambda zone: self.now.astimezone(zone or UTC)
        self.wash.at((self.now + timedelta(minutes=1)).replace(tzinfo=None).isoformat())

    def __call__(self, *words):
        return self.run(*words, "--site", self.root)

    def audited(self):
        with History(self.repo.open()) as history:
            found = audit(history)
        return [item.kind.name for item in found.irregularities]

    def propose(self):
        self.repo.git("config", "user.name", MIRA[0])
        self.repo.git("config", "user.email", MIRA[1])
        assert self("propose", *PROPOSE) == 0
        self.repo.git("switch", "-q", BRANCH)

    def approve(self, *words, key="dag", what="brush"):
        self.at("2026-01-12T15:00")
        signed = ("--key", self.keys[key]) if key else ()
        return self("approve", what, "--by", "dag", "--base", "main", *signed, "--yes", *words)

    def merge(self, how):
        git = self.repo.git
        git("switch", "-q", "main")
        self.wash.file("2026-01-12T0710-eva", by=("Eva", "eva@example.org"))
        self.at("2026-01-12T19:00")
        who = {"GIT_COMMITTER_NAME": HOST[0], "GIT_COMMITTER_EMAIL": HOST[1]}
        if how == "merge":
            self.repo.merge(BRANCH, by=HOST)
        elif how == "squash":
            git("merge", "-q", "--squash", BRANCH, **self.repo.people(MIRA, HOST))
            self.wash.commit({}, by=MIRA, committer=HOST)
        else:
            for oid in git("rev-list", "--reverse", f"main..{BRANCH}").split():
                self.repo.clock += 60
                git("cherry-pick", oid, **who, GIT_COMMITTER_DATE=f"{self.repo.clock} +0100")


@pytest.fixture
def pair(tunnelbook, tmp_path):
    return lambda proof="statement": Pair(tunnelbook, tmp_path, proof)


@pytest.mark.parametrize("how", ["merge", "squash", "rebase"])
def test_a_setting_from_proposal_to_audit(pair, how):
    two = pair()
    two.propose()
    assert two("review", "main") == 0
    assert "Merging files a proposal only: Side brush at 46 Hz" in " ".join(two.run.out.split())
    assert two.approve() == 0
    assert "wrote approvals/2026-01-12-brush.yaml\nwrote approvals/2026-01-12-brush.yaml.sig" in two.run.out  # fmt: skip
    assert two.wash.text(SETTING).endswith("  approved_by: dag\n  approved_on: 2026-01-12\n")
    two.wash.commit({}, by=DAG)
    assert two("review", "main") == 0
    assert "Merging puts in force: Side brush at 46 Hz" in " ".join(two.run.out.split())
    two.merge(how)
    assert two.audited() == []
    assert two.run("check", two.root, "--as-of", "2026-01-16") == 0
    assert two.run("setpoints", two.root) == 0
    assert "46 Hz" in two.run.out


def test_without_a_statement_it_is_not_to_be_merged(pair):
    two = pair()
    two.propose()
    text = two.wash.text(SETTING) + "  approved_by: dag\n"
    two.wash.commit({SETTING: text}, by=DAG)
    assert two("review", "main") == 1
    assert "Proof of approval broken: rule: statement" in " ".join(two.run.out.split())


def test_the_setting_alone_where_a_commit_is_enough(pair):
    two = pair("commit")
    two.propose()
    assert two.approve(key=None) == 0
    said = " ".join(two.run.out.split())
    assert "an address of the approver must have made the commit or its merge." in said
    assert "Git commits here as mira@example.org, which is no address of Dag Varrick" in said
    two.wash.commit({}, by=DAG)
    two.merge("merge")
    assert two.audited() == []


def test_who_proposed_it_is_refused_before_anything_is_written(pair):
    two = pair("commit")
    two.propose()
    assert two("approve", "brush", "--by", "mira", "--base", "main", "--yes") == 2
    assert "`mira` approves their own proposal, so this approval would not count" in two.run.err
    assert two.repo.git("status", "--porcelain") == ""


def test_a_change_of_the_rules(pair):
    two = pair()
    two.repo.git("switch", "-q", "-c", BRANCH)
    two.wash.commit(
        {SITE: two.wash.text(SITE).replace("within: 2 days", "within: 3 days")}, by=MIRA
    )
    assert two("review", "main") == 1
    assert two.approve(what=SITE) == 0
    two.wash.commit({}, by=DAG)
    assert two("review", "main") == 0
    two.merge("squash")
    assert two.audited() == []


def test_a_key_that_the_site_does_not_know_is_refused(pair):
    two = pair()
    two.propose()
    assert two.approve(key="other") == 2
    assert "put your key under signing_keys of `dag`" in two.run.err
    assert not (two.root / "approvals").exists()
    assert "approved_by: dag\n  approved_on" not in two.wash.text(SETTING)


@pytest.mark.parametrize(
    ("what", "complaint"),
    [
        ("brusch", "there is no machine `brusch`; did you mean `brush`?"),
        ("tasks/grease.yaml", "there is nothing to approve"),
    ],
)
def test_what_cannot_be_approved(pair, what, complaint):
    two = pair()
    two.propose()
    assert two.approve(what=what) == 2
    assert complaint in two.run.err


def test_what_is_not_committed_cannot_be_approved(pair):
    two = pair()
    two.propose()
    two.repo.write(SETTING, two.wash.text(SETTING) + "# note\n")
    assert two.approve() == 2
    assert "has changes that are not committed" in two.run.err


def test_a_look_writes_nothing(pair):
    two = pair()
    two.propose()
    assert two.approve("--dry-run") == 0
    assert two.repo.git("status", "--porcelain") == ""


def test_it_asks_before_it_writes_and_nobody_there_is_no_yes(pair):
    two = pair()
    two.propose()
    two.at("2026-01-12T15:00")
    assert two("approve", "brush", "--by", "dag", "--base", "main") == 2
    assert "nobody is at the terminal to agree" in two.run.err


class TestAudit:
    def ident(self, two):
        assert two.run("audit", two.root, "--format", "json") == 1
        told = two.run.data
        assert told["looked_at"] == "2026-01-12T09:00:00+00:00"
        assert re.fullmatch(r"tunnelbook \S+, git version [0-9].*", told["tool"])
        return told["irregularities"][0]["id"]

    def test_an_irregularity_is_accepted_by_a_file_of_its_own(self, pair):
        two = pair("commit")
        two.wash.file("2026-01-07T0800-mira", by=("Eva", "eva@example.org"), at="2026-01-07T19:00")
        ident = self.ident(two)
        assert two.run("audit", two.root, "--accept", ident, "--why", "At her own word.", "--by", "dag") == 0  # fmt: skip
        assert two.run.out.startswith("wrote audits/2026-01-12-dag.yaml\n")
        two.wash.commit({}, by=DAG)
        assert two.run("audit", two.root) == 0
        assert "Nothing open" in two.run.out
        assert two.run("audit", two.root, "--accept", ident, "--why", "Again.", "--by", "dag") == 2
        assert "it was accepted by Dag Varrick" in two.run.err
        assert two.run("check", two.root) == 0

    @pytest.mark.parametrize(
        ("words", "complaint"),
        [
            (("--accept", "0123456789", "--why", "Because."), "found no irregularity of that id"),
            (("--accept", "0123456789"), "say why it is accepted"),
        ],
    )
    def test_what_cannot_be_accepted(self, pair, words, complaint):
        two = pair("commit")
        assert two.run("audit", two.root, *words, "--by", "dag") == 2
        assert complaint in two.run.err

    def test_the_record_of_an_audit_is_signed_and_stays(self, pair):
        two = pair()
        head = two.repo.head()
        assert two.run("audit", two.root, "--record", "--by", "dag", "--key", two.keys["dag"]) == 0
        text = two.wash.text("audits/2026-01-12-dag.yaml")
        assert f"head: {head}\nverdict: clean\n" in text
        two.wash.commit({}, by=MIRA)
        assert two.run("audit", two.root) == 0
        assert "Last recorded: clean by Dag Varrick on 2026-01-12" in " ".join(two.run.out.split())
        assert subprocess.run(["git", "-C", two.root, "cat-file", "-e", head], check=True)
