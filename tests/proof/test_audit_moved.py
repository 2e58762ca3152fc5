"""A site that was moved into another folder does not begin anew: its history lies where it was."""

import pytest
from git_repo import DAG, audited

from ledger.history.repository import open_repository
from ledger.proof.audit import Verdict
from ledger.proof.audit_items import Irregularity, Note
from ledger.proof.audit_page import audit_page, audit_rows
from ledger.proof.review_page import markdown_alone

EVA = ("Eva Renner", "eva@example.org")
MONDAY = "observations/2026/01/2026-01-06T0700-mira.yaml"


def move(wash, to: str, *, copy: bool = False):
    """Move the wash's folder as a person would, in a commit of its own, and go on there."""
    folder, new = wash.repo.folder / wash.inside, wash.repo.folder / to
    new.mkdir(parents=True, exist_ok=True)
    for part in ("site.yaml", "equipment", "tasks", "setpoints", "observations"):
        if copy:
            _copied(folder / part, new / part)
        else:
            wash.repo.git("mv", f"{wash.inside}{part}", f"{to}{part}")
    wash.inside = to
    return wash.commit({}, by=DAG)


def _copied(old, new):
    for path in [old] if old.is_file() else sorted(old.rglob("*.yaml")):
        target = new / path.relative_to(old) if old.is_dir() else new
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(path.read_bytes())


def tampered(make_wash, inside):
    wash = make_wash(inside)
    text = wash.text(MONDAY)
    wash.at("2026-01-12T09:00").commit({MONDAY: text.replace("turns: 80", "turns: 84")}, by=EVA)
    return wash


def moved_note(found):
    return next(item for item in found.items if item.kind is Note.MOVED)


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("sites/b/", "sites/c/", "sites/b/"),
        ("", "sites/c/", "the top folder"),
        ("sites/b/", "", "sites/b/"),
    ],
    ids=["beside", "down from the top", "up to the top"],
)
def test_a_moved_site_is_not_called_clean(make_wash, old, new, named):
    wash = tampered(make_wash, old)
    parent = wash.repo.head()
    commit = move(wash, new)
    found = audited(wash.open())
    assert (found.verdict, found.moved_from) == (Verdict.PARTIAL, named)
    note = moved_note(found)
    assert (note.about, note.commit.oid) == (named, commit)
    assert note.words.startswith("2 files of visits and settings came here; stood there. What")
    assert (
        f"git worktree add ../before {parent}, then tunnelbook audit ../before/{old}" in note.words
    )
    said = f"Partial: the records were moved here from {named}, and what was done"
    assert said in markdown_alone(audit_page(found))
    assert audit_rows(found)["moved_from"] == named


def test_the_command_that_it_names_finds_what_was_done_there(make_wash, tmp_path):
    wash = tampered(make_wash, "sites/b/")
    move(wash, "sites/c/")
    _, _, words = moved_note(audited(wash.open())).words.partition("git worktree add ../before ")
    wash.repo.git("worktree", "add", "-q", str(tmp_path / "before"), words.split(",")[0])
    there = open_repository(tmp_path / "before/sites/b", wash.repo.environment())
    assert [item.kind for item in audited(there).irregularities] == [Irregularity.EDITED]


def test_an_edit_within_the_move_is_told(make_wash):
    wash = make_wash("sites/b/")
    text = wash.text(MONDAY)
    wash.repo.write(f"sites/b/{MONDAY}", text.replace("turns: 80", "turns: 84"))
    move(wash, "sites/c/")
    assert "stood there, 1 with another text. What" in moved_note(audited(wash.open())).words


def test_taken_out_in_one_commit_and_put_in_by_a_later_one(make_wash):
    wash = tampered(make_wash, "sites/b/")
    last = wash.repo.head()
    wash.repo.git("rm", "-rq", "sites/b")
    gone = wash.commit({}, by=DAG)
    wash.repo.git("checkout", "-q", last, "--", "sites/b")
    move(wash, "sites/c/")
    assert f"git worktree add ../before {gone}^, then" in moved_note(audited(wash.open())).words


def test_a_copy_sends_to_the_folder_that_is_still_there(make_wash):
    wash = tampered(make_wash, "sites/b/")
    move(wash, "sites/c/", copy=True)
    words = moved_note(audited(wash.open())).words
    assert f"tunnelbook audit {wash.repo.folder.resolve()}/sites/b" in words
    assert "worktree" not in words


def test_from_the_move_on_it_can_be_clean(make_wash):
    wash = tampered(make_wash, "sites/b/")
    commit = move(wash, "sites/c/")
    wash.file("2026-01-13T0700-mira")
    assert audited(wash.open(), since=commit).verdict is Verdict.CLEAN


def test_another_site_in_the_same_repository_was_not_moved(make_wash):
    """The same names of files by chance, other texts, and both folders there."""
    wash = make_wash("sites/b/")
    other = {
        "sites/c/site.yaml": wash.text("site.yaml"),
        f"sites/c/{MONDAY}": wash.text(MONDAY).replace("turns: 80", "turns: 70"),
    }
    wash.inside = ""
    wash.commit(other, by=DAG)
    found = audited(wash.repo.open("sites/c/"))
    assert (found.moved_from, found.verdict) == ("", Verdict.CLEAN)
