"""Signatures made by git and ssh-keygen themselves, held against the keys that a reader trusts."""

from dataclasses import replace

import pytest
from git_repo import Repo, commits_of
from ssh_keys import make_key, needs_ssh_keygen, public_line, sign_with, signed_bytes

from ledger.history.commit import parse_commit
from ledger.history.git import git_in
from ledger.history.verification import (
    Outcome,
    Signature,
    SignatureKind,
    Verifier,
    signature_in,
)

PGP = b"-----BEGIN PGP SIGNATURE-----\n\nAAAA\n-----END PGP SIGNATURE-----\n"


class Signed:
    """A repository with one commit that was signed with the key of Dag."""

    def __init__(self, tmp_path, kind="ed25519", object_format="sha1"):
        self.repo = Repo(tmp_path / "site", object_format=object_format)
        self.repo.commit("Start", {"site.yaml": "format: 1\n"})
        self.dag, self.mira = (make_key(tmp_path / "keys", name, kind) for name in ("dag", "mira"))
        sign_with(self.repo, self.dag)
        self.repo.commit("Signed", {"site.yaml": "format: 1 \n"})
        self.verifier = Verifier(git_in(self.repo.folder, self.repo.environment()))

    def verify(self, signature=None, **keys):
        return self.verifier.verify(signature or self.newest().signature, keys)

    def newest(self):
        return list(commits_of(self.repo.open()))[-1]

    def raw(self) -> bytes:
        return (self.repo.git("cat-file", "commit", "HEAD") + "\n").encode()


@pytest.fixture
def signed(tmp_path):
    return Signed(tmp_path)


@needs_ssh_keygen
class TestRealKeys:
    @pytest.mark.parametrize("kind", ["ed25519", "rsa", "ecdsa"])
    def test_a_key_that_is_trusted(self, tmp_path, kind):
        signed = Signed(tmp_path, kind)
        found = signed.verify(dag=[public_line(signed.dag)], mira=[public_line(signed.mira)])
        assert (found.outcome, found.signer) == (Outcome.VERIFIED, "dag")
        assert found.words.startswith("signed with a key of dag, SHA256:")

    def test_a_repository_of_the_longer_hash(self, tmp_path):
        signed = Signed(tmp_path, object_format="sha256")
        assert b"\ngpgsig-sha256 " in signed.raw()
        assert signed.verify(dag=[public_line(signed.dag)]).outcome is Outcome.VERIFIED

    def test_the_second_of_several_keys_of_a_person(self, signed):
        keys = [public_line(signed.mira), public_line(signed.dag)]
        assert signed.verify(dag=keys).outcome is Outcome.VERIFIED

    def test_a_merge(self, signed):
        signed.repo.git("checkout", "-q", "-b", "side")
        signed.repo.commit("Side", {"a.txt": "a\n"})
        signed.repo.git("checkout", "-q", "main")
        signed.repo.merge("side")
        assert signed.newest().is_merge
        assert signed.verify(dag=[public_line(signed.dag)]).outcome is Outcome.VERIFIED

    @pytest.mark.parametrize("whose", ["nobody", "another person", "two people"])
    def test_a_key_that_is_no_one_persons(self, signed, whose):
        line = public_line(signed.dag)
        keys = {
            "nobody": {},
            "another person": {"mira": [public_line(signed.mira)]},
            "two people": {"dag": [line], "mira": [line]},
        }
        found = signed.verify(**keys[whose])
        assert (found.outcome, found.signer) == (Outcome.UNKNOWN_KEY, "")
        assert "SHA256:" in found.words

    @pytest.mark.parametrize("trusted", [True, False], ids=["a trusted key", "an unknown key"])
    @pytest.mark.parametrize(
        ("what", "old", "new"),
        [
            ("message", b"\n\nSigned\n", b"\n\nSigned \n"),
            ("author", b"author Mira Osterby", b"author Dag Varrick"),
            ("date", b" +0100\ncommitter", b" +0000\ncommitter"),
            ("header", b"\ngpgsig ", b"\nencoding UTF-8\ngpgsig "),
        ],
    )
    def test_a_tampered_commit(self, signed, what, old, new, trusted):
        raw = signed.raw()
        assert raw.count(old) == 1, what
        keys = {"dag": [public_line(signed.dag)]} if trusted else {}
        found = signed.verify(parse_commit(raw.replace(old, new)).signature, **keys)
        assert (found.outcome, found.signer) == (Outcome.BAD, "")
        assert "incorrect signature" in found.words

    def test_a_signature_made_for_another_purpose(self, signed):
        """A signature on a file is none on a commit, though the bytes are the same."""
        payload = signed.newest().signature.payload
        armour = signed_bytes(payload, signed.dag, namespace="file")
        found = signed.verify(
            Signature(kind=SignatureKind.SSH, armour=armour, payload=payload),
            dag=[public_line(signed.dag)],
        )
        assert found.outcome is Outcome.BAD

    @pytest.mark.parametrize(
        ("old", "new"),
        [
            (b"-----END SSH SIGNATURE-----\n", b"-----END SSH SIGNATURE-----\n\n"),
            (b"-----END SSH SIGNATURE-----\n", b"-----END SSH SIGNATURE-----\nmore\n"),
            (b"-----END SSH SIGNATURE-----\n", b"-----END SSH SIGNATURE-----"),
            (b"\nU1NIU0lH", b"\n U1NI U0lH"),
        ],
        ids=["a blank line behind", "text behind", "no line end", "blanks inside"],
    )
    def test_a_frame_that_ssh_keygen_takes_names_its_key(self, signed, old, new):
        """Read otherwise than ssh-keygen does, it would be laid to a key that nobody has."""
        made = signed.newest().signature
        assert made.armour.count(old) == 1
        changed = replace(made, armour=made.armour.replace(old, new))
        found = signed.verify(changed, dag=[public_line(signed.dag)])
        assert (found.outcome, found.signer) == (Outcome.VERIFIED, "dag")

    @pytest.mark.parametrize(
        "body",
        [b"U1NIU0lH", b"", b"AAAA", b"not base64"],
        ids=["cut off", "empty", "zeros", "text"],
    )
    def test_no_signature_inside_the_frame(self, signed, body):
        armour = b"-----BEGIN SSH SIGNATURE-----\n" + body + b"\n-----END SSH SIGNATURE-----\n"
        found = signed.verify(
            Signature(kind=SignatureKind.SSH, armour=armour, payload=b"x"),
            dag=[public_line(signed.dag)],
        )
        assert found.outcome is Outcome.BAD


class TestWhatCannotBeVerifiedHere:
    def test_another_kind_of_signature(self, repo):
        verifier = Verifier(git_in(repo.folder, repo.environment()))
        signature = Signature(kind=SignatureKind.OPENPGP, armour=PGP, payload=b"")
        found = verifier.verify(signature, {})
        assert found.outcome is Outcome.NOT_HERE
        assert "only SSH signatures are verified" in found.words

    def test_no_ssh_keygen(self, repo, tmp_path):
        """A folder with git alone in it stands for a machine without OpenSSH."""
        alone = tmp_path / "bin"
        alone.mkdir()
        (alone / "git").symlink_to(git_in(repo.folder, repo.environment()).executable)
        verifier = Verifier(git_in(repo.folder, repo.environment(PATH=str(alone))))
        signature = Signature(kind=SignatureKind.SSH, armour=b"x\n", payload=b"")
        found = verifier.verify(signature, {})
        assert found.outcome is Outcome.NOT_HERE
        assert "not installed" in found.words

    @needs_ssh_keygen
    def test_two_signatures_on_one_commit(self, signed):
        raw = signed.raw()
        begin = raw.index(b"gpgsig ")
        end = raw.index(b"\n\nSigned")
        twice = raw[:end] + b"\n" + raw[begin:end] + raw[end:]
        found = signed.verify(signature_in(twice), dag=[public_line(signed.dag)])
        assert found.outcome is Outcome.NOT_HERE

    def test_a_program_that_is_no_ssh_keygen(self, repo, tmp_path):
        false = tmp_path / "bin" / "ssh-keygen"
        false.parent.mkdir()
        false.write_text("#!/bin/sh\necho 'unknown option -- Y' >&2; exit 1\n")
        false.chmod(0o755)
        path = f"{false.parent}:{repo.environment()['PATH']}"
        verifier = Verifier(git_in(repo.folder, repo.environment(PATH=path)))
        signature = Signature(kind=SignatureKind.SSH, armour=b"x\n", payload=b"")
        found = verifier.verify(signature, {})
        assert (found.outcome, found.words) == (
            Outcome.NOT_HERE,
            "`ssh-keygen` said: unknown option -- Y",
        )


def test_the_bytes_that_are_signed_are_the_commit_without_its_signature():
    """As in git's documentation of the format: the header and its further lines are left out."""
    head = b"tree " + b"0" * 40 + b"\nauthor A <a@b> 1 +0000\ncommitter A <a@b> 1 +0000\n"
    raw = head + b"gpgsig -----BEGIN SSH SIGNATURE-----\n AAAA\n -----END SSH SIGNATURE-----\n"
    raw += b"encoding UTF-8\n\nSubject\n\ngpgsig in the text\n"
    found = signature_in(raw)
    assert found.payload == head + b"encoding UTF-8\n\nSubject\n\ngpgsig in the text\n"
    assert found.armour == b"-----BEGIN SSH SIGNATURE-----\nAAAA\n-----END SSH SIGNATURE-----\n"
