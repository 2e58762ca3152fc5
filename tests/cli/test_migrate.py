"""`tunnelbook migrate`: one commit to the present format, to which review and audit hold it.

There is no second format yet. A step from a made-up earlier one is registered here: the year's
site with some keys under other names of the same length.
"""

import json
import os
import shutil
from datetime import UTC, datetime

import pytest
from git_repo import Repo, audited
from kept_sites import unpacked

from ledger import __version__
from ledger.files.schemas import schema_folder
from ledger.filing.migrations import FORMAT, MIGRATIONS, Migration
from ledger.proof.audit import Verdict
from ledger.proof.audit_items import Irregularity, Note
from ledger.proof.review import review
from ledger.proof.review_page import markdown_alone, review_page

RENAMED = {"why: ": "for: ", "title: ": "label: ", "station: ": "numeral: "}
SETTING = "setpoints/side-left.yaml"
TEO = ("Teo Brandlin", "teo@fernhollow.example")


def to_format_1(path: str, text: str) -> str:
    for new, old in RENAMED.items():
        text = text.replace(old, new)
    return text


def in_format_0(stream: bytes) -> bytes:
    for new, old in {**RENAMED, "format: 1": "format: 0"}.items():
        stream = stream.replace(new.encode(), old.encode())
    return stream


@pytest.fixture
def step(monkeypatch):
    """The made-up step. Shorter names would not do: the stream of commits counts its bytes."""
    assert all(len(new) == len(old) for new, old in RENAMED.items())
    monkeypatch.setitem(MIGRATIONS, 0, Migration(words="some keys renamed", change=to_format_1))


@pytest.fixture
def old(step, tmp_path):
    return unpacked("year", tmp_path / "old", in_format_0)


@pytest.fixture
def move(old, tunnelbook):
    """The site, moved; a month after its last commit, by the person git knows."""
    tunnelbook.clock = lambda zone: datetime(2026, 11, 25, 16, 30, tzinfo=UTC).astimezone(
        zone or UTC
    )
    assert tunnelbook("migrate", old.folder) == 0, tunnelbook.err
    return old


def files_at(repo: Repo, revision: str) -> dict[str, str]:
    listed = repo.git("ls-tree", "-r", revision).splitlines()
    return {line.partition("\t")[2]: line.split()[2] for line in listed}


def test_the_present_format_is_that_of_the_schema():
    schema = json.loads((schema_folder() / "site.schema.json").read_text())
    assert schema["properties"]["format"]["const"] == FORMAT
    assert set(MIGRATIONS) == set(range(1, FORMAT))


def test_an_old_site_says_in_one_line_which_command_moves_it(old, tunnelbook):
    assert tunnelbook("check", old.folder) == 1
    (first, *_) = tunnelbook.out.splitlines() or tunnelbook.err.splitlines()
    assert first == (
        "site.yaml:2:9: error: the site is in format 0; move it to 1 with `tunnelbook migrate` "
        "[another-format]"
    )
    assert "1 error" in tunnelbook.out + tunnelbook.err


def test_one_commit_changes_those_files_alone_and_keeps_every_comment(move, tmp_path, tunnelbook):
    """To the byte what the site would be, had it been kept in the present format all along."""
    meant = unpacked("year", tmp_path / "meant")
    assert files_at(move, "HEAD") == files_at(meant, "HEAD")
    assert (
        b"# Counted three times before anybody believed it." in (move.folder / SETTING).read_bytes()
    )
    changed = move.git("diff", "--name-only", "HEAD~1", "HEAD").splitlines()
    assert {path.partition("/")[0] for path in changed} == {
        "equipment",
        "setpoints",
        "site.yaml",
        "tasks",
    }
    assert move.git("rev-list", "--count", "HEAD") == "93"
    assert move.git("status", "--porcelain") == ""
    assert (
        move.git("log", "-1", "--format=%an %ae %aI")
        == "Ada Tarrowby Tarrowby@wash.example 2026-11-25T16:30:00+00:00"
    )
    assert "moved to format 1 in commit " in tunnelbook.out
    assert "- some keys renamed" in tunnelbook.out
    assert tunnelbook("check", move.folder, "--as-of", "2026-10-25") == 0


def test_audit_knows_the_move_and_finds_nothing_else_in_it(move):
    found = audited(move.open())
    assert (found.irregularities, found.verdict) == ((), Verdict.CLEAN)
    assert (found.counts.visits, found.counts.approvals) == (85, 4)
    (told,) = [item for item in found.items if item.kind is Note.FORMAT]
    assert (
        told.words == "from format 0 to 1: 18 files, all exactly as tunnelbook migrate writes them"
    )
    by_the_move = [item for item in found.items if item.commit and item.commit.oid == move.head()]
    assert by_the_move == [told]


def test_audit_reads_an_old_site_that_was_not_moved_yet(old):
    assert audited(old.open()).verdict is Verdict.CLEAN


def test_review_knows_the_move(move):
    found = review(move.open(), "HEAD~1")
    assert (found.breaches, found.plan, found.settings) == ((), (), ())
    said = markdown_alone(review_page(found))
    assert "- Merging moves the site from format 0 to 1: 18 files, all exactly as" in said


TAMPERED = [
    pytest.param(SETTING, b"hz: 44.75", b"hz: 45.75", id="an approved setting"),
    pytest.param(SETTING, b"  # Counted three times before anybody believed it.\n", b"", id="a comment"),
    pytest.param("site.yaml", b"approver_differs: true", b"approver_differs: false", id="a rule"),
    pytest.param("tasks/count-speed.yaml", b"every: 13 days", b"every: 90 days", id="a task"),
    pytest.param("observations/2026/09/2026-09-26T0650-teo.yaml", b"strip_length_mm: 390", b"strip_length_mm: 391", id="a visit"),
    pytest.param("README.md", b"The maintenance record.", b"Ours.", id="another file"),
]  # fmt: skip


@pytest.mark.parametrize(("path", "honest", "put_in"), TAMPERED)
def test_what_hides_in_a_move_is_found(move, path, honest, put_in):
    text = (move.folder / path).read_bytes()
    assert text.count(honest) == 1
    move.write(path, text.replace(honest, put_in))
    move.git("add", "-A")
    move.git("commit", "-q", "--amend", "--no-edit", **move.people(TEO, None))
    found = audited(move.open())
    (found_otherwise,) = [item for item in found.irregularities if item.kind is Irregularity.FORMAT]
    assert (
        found_otherwise.words
        == f"from format 0 to 1, but not as tunnelbook migrate does it: {path}"
    )
    breaches = {breach.rule: breach.words for breach in review(move.open(), "HEAD~1").breaches}
    assert breaches["format"].endswith(f"does it: {path}")


def test_a_move_that_leaves_a_file_behind_is_found(move):
    behind = "equipment/pump.yaml"
    move.write(behind, move.git("show", f"HEAD~1:{behind}") + "\n")
    move.git("add", "-A")
    move.git("commit", "-q", "--amend", "--no-edit", **move.people(TEO, None))
    items = audited(move.open()).irregularities
    said = [item.words for item in items if item.kind is Irregularity.FORMAT]
    assert said == [f"from format 0 to 1, but not as tunnelbook migrate does it: {behind}"]


def test_a_site_in_the_present_format_has_nothing_to_move(move, tunnelbook, tmp_path):
    head = move.head()
    tunnelbook("init", tmp_path / "no-git", "--time-zone", "Etc/UTC")
    for folder in (move.folder, tmp_path / "no-git"):
        assert tunnelbook("migrate", folder) == 0
        assert tunnelbook.out == "nothing to move: the site is in format 1, which this version reads\n"  # fmt: skip
    assert move.head() == head


def test_a_newer_format_says_which_version_is_needed(tunnelbook, tmp_path):
    repo = unpacked("new", tmp_path)
    repo.write(
        "site.yaml", (repo.folder / "site.yaml").read_text().replace("format: 1", "format: 7")
    )
    needed = (
        "the site is in format 7: install a version of tunnelbook that reads it; "
        f"this one, {__version__}, reads format 1"
    )
    assert tunnelbook("migrate", repo.folder) == 1
    assert needed in tunnelbook.err
    assert tunnelbook("check", repo.folder) == 1
    assert needed in tunnelbook.out + tunnelbook.err


def test_changes_that_are_not_committed_are_not_lost(old, tunnelbook):
    own = (old.folder / SETTING).read_text() + "# a thought\n"
    old.write(SETTING, own)
    head = old.head()
    assert tunnelbook("migrate", old.folder) == 2
    assert f"`{old.folder / SETTING}` has changes that are not committed" in tunnelbook.err
    assert (old.folder / SETTING).read_text() == own
    assert old.head() == head
    assert old.git("status", "--porcelain") == f"M {SETTING}".rjust(len(SETTING) + 3)


def test_what_somebody_staged_stays_out_of_the_commit(old, tunnelbook):
    old.write("README.md", "Half done.\n")
    old.git("add", "README.md")
    assert tunnelbook("migrate", old.folder) == 0
    assert "README.md" not in old.git("diff", "--name-only", "HEAD~1", "HEAD")
    assert old.git("status", "--porcelain") == "M  README.md"


@pytest.mark.parametrize("done", [0, 1, 9, 17])
def test_interrupted_it_can_be_run_again(old, tunnelbook, monkeypatch, done):
    written = []

    def full_after_some(path, target, real=os.replace):
        if len(written) == done:
            raise OSError(28, "No space left on device")
        written.append(target)
        return real(path, target)

    head = old.head()
    with monkeypatch.context() as full:
        full.setattr(os, "replace", full_after_some)
        assert tunnelbook("migrate", old.folder) == 2
    assert len(written) == done
    assert "No space left on device; nothing was committed, so run it again" in tunnelbook.err
    assert old.head() == head
    assert not list(old.folder.rglob("*-part"))
    assert tunnelbook("migrate", old.folder) == 0, tunnelbook.err
    assert old.git("status", "--porcelain") == ""


def test_stopped_after_the_files_and_before_the_commit_it_can_be_run_again(
    old, tunnelbook, monkeypatch
):
    def stopped(*_, **__):
        raise OSError(5, "Input/output error")

    with monkeypatch.context() as failing:
        failing.setattr("ledger.cli.commands.init.commit_files", stopped)
        assert tunnelbook("migrate", old.folder) == 2
    assert "format: 1" in (old.folder / "site.yaml").read_text()
    assert tunnelbook("migrate", old.folder) == 0, tunnelbook.err
    assert old.git("status", "--porcelain") == ""
    assert old.git("rev-list", "--count", "HEAD") == "93"


def test_a_site_within_a_repository_is_moved_in_its_folder(step, tunnelbook, tmp_path):
    kept = unpacked("new", tmp_path, in_format_0)
    repo = Repo(tmp_path / "all")
    (repo.folder / "washes").mkdir()
    kept.folder.rename(repo.folder / "washes/north")
    shutil.rmtree(repo.folder / "washes/north/.git")
    repo.commit("Begin")
    assert tunnelbook("migrate", repo.folder / "washes/north") == 0, tunnelbook.err
    changed = repo.git("diff", "--name-only", "HEAD~1", "HEAD").splitlines()
    assert "washes/north/site.yaml" in changed
    assert all(path.startswith("washes/north/") for path in changed)
    assert repo.git("status", "--porcelain") == ""
    assert review(repo.open("washes/north"), "HEAD~1").breaches == ()


def test_nothing_that_the_repository_names_is_run(old, tunnelbook, tmp_path):
    ran = tmp_path / "ran"
    for hook in ("reference-transaction", "pre-commit", "post-commit", "post-index-change"):
        place = old.folder / ".git/hooks" / hook
        place.parent.mkdir(exist_ok=True)
        place.write_text(f"#!/bin/sh\necho {hook} >> {ran}\n")
        place.chmod(0o755)
    old.git("config", "filter.evil.clean", f"echo filter >> {ran}; cat")
    old.git("config", "core.fsmonitor", f"echo fsmonitor >> {ran}")
    old.write(".git/info/attributes", "*.yaml filter=evil\n")
    assert tunnelbook("migrate", old.folder) == 0, tunnelbook.err
    assert not ran.exists(), ran.read_text()


def test_it_needs_git(step, tunnelbook, tmp_path):
    tunnelbook("init", tmp_path / "wash", "--time-zone", "Etc/UTC")
    site = tmp_path / "wash/site.yaml"
    site.write_text(site.read_text().replace("format: 1", "format: 0"))
    assert tunnelbook("migrate", tmp_path / "wash") == 2
    assert "a move is one commit, and git cannot be used here" in tunnelbook.err
