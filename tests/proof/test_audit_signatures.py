"""Signatures in real histories: whose key, since when, and over which bytes."""

import re

import pytest
from git_repo import DAG, MIRA, audited
from ssh_keys import make_key, needs_ssh_keygen, public_line, sign_with

from ledger.history.verification import Outcome
from ledger.proof.audit import Verdict
from ledger.proof.audit_items import Irregularity, Note
from ledger.proof.audit_page import audit_page, audit_rows
from ledger.proof.review_page import markdown_alone

pytestmark = needs_ssh_keygen

SETTING = "setpoints/brush.yaml"
SLOWER = """\
- from: 2026-01-14
  hz: 44
  line_rate_per_h: 104
  why: Above the band.
  evidence: [2026-01-06T0700-mira#1]
  proposed_by: mira
  approved_by: dag
"""


class SignedWash:
    """A wash whose rule asks for signed approvals, with a key of Dag and one of Mira on record."""

    def __init__(self, wash, folder):
        self.wash = wash
        self.keys = {name: make_key(folder, name) for name in ("dag", "mira", "stranger")}
        self.people(dag="dag", mira="mira")

    def people(self, at="2026-01-11T09:00", **keys):
        """Write down whose key is whose, unsigned."""
        text = re.sub(r", signing_keys: \[[^]]*\]", "", self.wash.text("site.yaml"))
        text = text.replace("proof: commit", "proof: signed-commit")
        for name, key in keys.items():
            line = public_line(self.keys[key])
            known = f"emails: [{name}@example.org]"
            text = text.replace(known, f"{known}, signing_keys: ['{line}']")
        sign_with(self.wash.repo, None)
        self.wash.at(at).commit({"site.yaml": text}, by=DAG)

    def approve(self, key, at="2026-01-13T09:00", by=DAG):
        proposal, text = SLOWER.rpartition("  approved_by")[0], self.wash.text(SETTING)
        if proposal not in text:
            sign_with(self.wash.repo, None)
            self.wash.at(at).commit({SETTING: text + proposal}, by=MIRA)
        sign_with(self.wash.repo, self.keys.get(key))
        return self.wash.at(at).commit({SETTING: text + SLOWER}, by=by)

    def audit(self):
        return audited(self.wash.open())

    def kinds(self):
        return [item.kind for item in self.audit().irregularities]


@pytest.fixture
def signed(wash, tmp_path):
    return SignedWash(wash, tmp_path / "keys")


class TestApprovals:
    def test_with_the_approvers_key(self, signed):
        signed.approve("dag")
        found = signed.audit()
        assert (found.verdict, found.irregularities) == (Verdict.CLEAN, ())
        assert found.counts.signatures == {Outcome.VERIFIED: 1}

    @pytest.mark.parametrize(
        ("key", "kinds", "said"),
        [
            (None, [Irregularity.NOT_PROVEN], "carries no signature"),
            ("stranger", [Irregularity.NOT_PROVEN], "a key that nobody had in site.yaml"),
            (
                "mira",
                [Irregularity.SIGNATURE, Irregularity.NOT_PROVEN],
                "signed with a key of mira",
            ),
        ],
    )
    def test_without(self, signed, key, kinds, said):
        signed.approve(key)
        found = signed.audit()
        assert [item.kind for item in found.irregularities] == kinds
        assert said in found.irregularities[-1].words

    def test_by_a_signed_merge(self, signed):
        wash = signed.wash
        wash.branch("slower")
        signed.approve(None, by=MIRA)
        wash.switch("main")
        sign_with(wash.repo, signed.keys["dag"])
        wash.at("2026-01-13T10:00").repo.merge("slower", by=DAG)
        assert signed.kinds() == []

    def test_by_a_merge_that_another_signed(self, signed):
        wash = signed.wash
        wash.branch("slower")
        signed.approve(None, by=MIRA)
        wash.switch("main")
        sign_with(wash.repo, signed.keys["mira"])
        wash.at("2026-01-13T10:00").repo.merge("slower", by=DAG)
        assert signed.kinds() == [Irregularity.SIGNATURE, Irregularity.NOT_PROVEN]

    def test_with_a_key_removed_later(self, signed):
        """What was proven stays proven: the key counted when it was used."""
        signed.approve("dag")
        signed.people(at="2026-01-15T09:00", mira="mira")
        assert signed.kinds() == []

    def test_with_a_key_removed_before(self, signed):
        signed.people(at="2026-01-12T09:00", mira="mira")
        signed.approve("dag")
        assert signed.kinds() == [Irregularity.NOT_PROVEN]

    def test_with_a_key_added_later(self, signed):
        signed.approve("stranger")
        signed.people(at="2026-01-15T09:00", dag="stranger", mira="mira")
        assert signed.kinds() == [Irregularity.RULES, Irregularity.NOT_PROVEN]

    def test_with_a_key_that_the_branch_itself_brought(self, signed):
        """One commit names a stranger's key as Dag's, the next is signed with it."""
        wash = signed.wash
        wash.branch("sly")
        signed.people(at="2026-01-12T09:00", dag="stranger", mira="mira")
        signed.approve("stranger")
        wash.switch("main")
        sign_with(wash.repo, None)
        wash.at("2026-01-13T10:00").repo.merge("sly", by=MIRA)
        assert signed.kinds() == [Irregularity.RULES, Irregularity.NOT_PROVEN]


def test_an_address_of_two_people_is_the_signers_own(signed):
    """The committer is not taken for the other one."""
    text = signed.wash.text("site.yaml").replace("[dag@", "[mira@example.org, dag@")
    signed.wash.at("2026-01-12T09:00").commit({"site.yaml": text}, by=DAG)
    sign_with(signed.wash.repo, signed.keys["mira"])
    signed.wash.file("2026-01-12T0700-mira")
    found = signed.audit()
    assert found.counts.signatures == {Outcome.VERIFIED: 1}
    assert Irregularity.SIGNATURE not in [item.kind for item in found.irregularities]


def tampered(wash, old, new):
    """HEAD made anew with other bytes below the same signature."""
    raw = wash.repo.git("cat-file", "commit", "HEAD") + "\n"
    assert raw.count(old) == 1
    forged = wash.repo.raw("commit", raw.replace(old, new).encode())
    wash.repo.git("update-ref", "refs/heads/main", forged)
    return forged


def test_a_tampered_commit(signed):
    """Bytes changed below a good signature: bad, and bad as proof."""
    signed.approve("dag")
    oid = tampered(signed.wash, "\n\nChange\n", "\n\nChanged\n")
    found = signed.audit()
    assert [item.kind for item in found.irregularities] == [
        Irregularity.SIGNATURE,
        Irregularity.NOT_PROVEN,
    ]
    assert found.irregularities[0].commit.oid == oid
    assert found.counts.signatures == {Outcome.BAD: 1}


def test_a_tampered_visit(signed):
    """Any signed commit that touched the site is looked at, not approvals alone."""
    sign_with(signed.wash.repo, signed.keys["mira"])
    signed.wash.file("2026-01-12T0700-mira")
    assert signed.kinds() == []
    tampered(signed.wash, "\n\nChange\n", "\n\nChanged\n")
    assert signed.kinds() == [Irregularity.SIGNATURE]


def test_the_page_says_which_signature_was_which(signed):
    sign_with(signed.wash.repo, signed.keys["mira"])
    signed.wash.file("2026-01-12T0700-mira")
    sign_with(signed.wash.repo, signed.keys["stranger"])
    signed.wash.file("2026-01-12T0800-mira")
    sign_with(signed.wash.repo, signed.keys["mira"])
    signed.wash.file("2026-01-12T0900-mira")
    tampered(signed.wash, "BEGIN SSH SIGNATURE", "BEGIN PGP SIGNATURE")
    found = signed.audit()
    page = markdown_alone(audit_page(found))
    assert "Signatures: 1 verified, 1 by an unknown key, 1 that cannot be verified here" in page
    assert found.verdict is Verdict.CLEAN
    notes = [item.words for item in found.items if item.kind is Note.SIGNATURE]
    assert len(notes) == 2
    assert "an OpenPGP signature, and only SSH signatures are verified here" in notes
    assert audit_rows(found)["counts"]["signatures"] == {
        "verified": 1,
        "bad": 0,
        "unknown_key": 1,
        "not_here": 1,
    }


def test_what_was_committed_before_is_not_reported(signed):
    signed.approve("dag")
    tampered(signed.wash, "\n\nChange\n", "\n\nChanged\n")
    since = signed.wash.repo.head()
    sign_with(signed.wash.repo, signed.keys["mira"])
    signed.wash.file("2026-01-15T0700-mira")
    found = audited(signed.wash.open(), since=since)
    assert found.irregularities == ()
    assert found.counts.signatures == {Outcome.VERIFIED: 1}


def test_no_program_that_the_repository_names_is_run(signed, tmp_path, monkeypatch):
    """Plain git runs the canary on this very history; the audit verifies and leaves it alone."""
    signed.approve("dag")
    canary, script = tmp_path / "canary", tmp_path / "script"
    # It reads what git sends it: a git that writes to a program which is gone dies of it.
    script.write_text(f"#!/bin/sh\ntouch '{canary}'\ncat >/dev/null\n")
    script.chmod(0o755)
    repo = signed.wash.repo
    for key in ("gpg.program", "gpg.ssh.program", "gpg.ssh.defaultKeyCommand"):
        repo.git("config", key, str(script))
    repo.git("config", "gpg.ssh.allowedSignersFile", str(script))
    for name in ("SSH_AUTH_SOCK", "SSH_ASKPASS", "SSH_SK_PROVIDER", "SSH_SK_HELPER"):
        monkeypatch.setenv(name, str(script))
    assert signed.audit().counts.signatures == {Outcome.VERIFIED: 1}
    assert not canary.exists()
    repo.git("log", "-1", "--show-signature")
    assert canary.exists(), "the trap itself does not work"
