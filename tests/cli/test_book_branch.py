"""`policy: {book: branch}`: the register stays with the files, the pages have a branch of their own."""

import re
import shutil
import subprocess

import pytest
from git_repo import git

VISIT = ("--by", "m-tarrow", "--done", "look-over", "--yes")


@pytest.fixture
def state(wash):
    """Branch, head, index and what is not committed."""
    return lambda: (git(wash, "status", "--porcelain", "--branch"), git(wash, "rev-parse", "HEAD"))


@pytest.fixture
def branched(tunnelbook, wash, shared):
    with (wash / "site.yaml").open("a") as site:
        site.write("policy: {book: branch}\n")
    assert tunnelbook("build", wash) == 0
    assert "there" not in tunnelbook.err
    git(wash, "add", ".")
    git(wash, "commit", "-qm", "Keep the book on its branch")
    assert tunnelbook("build", wash) == 0
    return wash


def book_of(wash, commit="book"):
    return git(wash, "ls-tree", "-r", "--name-only", commit).split()


def test_a_build_leaves_the_checkout_and_the_two_books_name_each_other(tunnelbook, branched, state):
    before = state()
    assert [path for path in book_of(branched, "HEAD") if path.startswith("book/")] == [
        "book/README.md",
        "book/setpoints.md",
    ]
    assert {"README.md", "book/README.md", "book/due.md", "book/setpoints.md"} <= set(book_of(branched))  # fmt: skip
    assert "on the branch `book`" in (branched / "book/README.md").read_text()
    assert "on the main branch" in git(branched, "show", "book:README.md")
    assert tunnelbook("build", branched) == 0
    assert re.search(r"as of 2026-11-25 on the branch book: nothing to write", tunnelbook.out)
    assert tunnelbook("build", branched, "--as-of", "2026-11-26") == 0
    assert state() == before
    subjects = git(branched, "log", "--format=%s", "book", "--").splitlines()
    assert subjects[0] == "Render the book as of 2026-11-26"


def test_no_link_of_the_pages_beside_the_files_leads_nowhere(branched):
    for page in ("README.md", "setpoints.md"):
        text = (branched / "book" / page).read_text()
        links = re.findall(r"\]\(([^)#]+)", text)
        assert all((branched / "book" / link).exists() for link in links), links
    assert "](setpoints.md)" in (branched / "book/README.md").read_text()
    assert "](machines/brush-p2.md)" in git(branched, "show", "book:book/setpoints.md")


def test_a_visit_changes_its_own_file_and_the_branch_is_stale_until_it_is_built(
    tunnelbook, branched
):
    assert tunnelbook("build", branched, "--check") == 0
    assert tunnelbook("record", "--site", branched, *VISIT, "--commit") == 0
    assert tunnelbook("build", branched, "--check") == 1
    assert "stale on the branch book: book/README.md: changed" in tunnelbook.out
    assert "stale: " not in tunnelbook.out
    assert tunnelbook("build", branched) == 0
    assert git(branched, "status", "--porcelain") == ""
    assert git(branched, "show", "--format=", "--name-only", "HEAD").count("\n") == 1
    assert tunnelbook("build", branched, "--check") == 0


def test_a_page_that_is_gone_leaves_the_branch_and_what_others_put_there_first_is_followed(
    tunnelbook, branched, shared, tmp_path
):
    git(branched, "push", "-q", "origin", "main", "book")
    git(tmp_path, "clone", "-q", str(shared), "other")
    assert tunnelbook("build", tmp_path / "other", "--as-of", "2026-11-27") == 0
    git(tmp_path / "other", "push", "-q", "origin", "book")
    git(branched, "fetch", "-q")
    (branched / "tasks/look-over.yaml").rename(branched / "tasks/look-around.yaml")
    site = branched / "tasks/look-around.yaml"
    site.write_text("formerly: [look-over]\n" + site.read_text())
    git(branched, "add", "-A")
    git(branched, "commit", "-qm", "Rename a task")
    assert tunnelbook("build", branched) == 0
    pages = set(book_of(branched))
    assert "book/tasks/look-around.md" in pages
    assert "book/tasks/look-over.md" not in pages
    git(branched, "merge-base", "--is-ancestor", "origin/book", "book")


def test_the_audit_judges_the_branch_too(tunnelbook, branched, tmp_path):
    def lines():
        tunnelbook("audit", branched)
        return " ".join(tunnelbook.out.split())

    assert "branch book" not in lines()
    other = tmp_path / "other"
    git(branched, "worktree", "add", "-q", str(other), "book")
    assert tunnelbook("build", branched) == 2
    assert "The branch book is checked out in" in tunnelbook.err
    page = other / "book/findings.md"
    page.write_text(page.read_text() + "All is well.\n")
    told = f"Render\n\nRendered-from: {git(branched, 'rev-parse', 'HEAD')}"
    git(other, "commit", "-qam", told)
    assert "branch book: book/findings.md" in lines()
    page.write_text("All is well.\n")
    git(other, "commit", "-qam", f"Render\n\nRendered-from: {'0' * 40}")
    assert "rendered from 000000000000, which is not in this history" in lines()


def test_outside_git_the_pages_beside_the_files_are_written_and_the_rest_is_told(tunnelbook, wash):
    with (wash / "site.yaml").open("a") as site:
        site.write("policy: {book: branch}\n")
    assert tunnelbook("build", wash) == 2
    assert "the branch book was not written" in tunnelbook.err
    assert (wash / "book/setpoints.md").exists()


def test_a_page_with_both_sides_of_a_merge_is_told_and_mended(tunnelbook, branched):
    page = branched / "book/setpoints.md"
    sound = page.read_text()
    page.write_text(sound + "<<<<<<< HEAD\na\n=======\nb\n>>>>>>> other\n")
    assert tunnelbook("check", branched) == 1
    assert "book/setpoints.md" in tunnelbook.out
    assert "a merge left both sides in this page" in tunnelbook.out
    assert tunnelbook("build", branched) == 0
    assert page.read_text() == sound
    assert tunnelbook("check", branched) == 0


SETTING = """\
- from: 2026-11-26
  {key}
  line_rate_per_h: 110
  why: In the middle of its band.
  evidence: [{evidence}]
  proposed_by: m-tarrow
  approved_by: d-fenwold
"""
TWO_DRIVES = {
    "brush-p2": SETTING.format(key="hz: 44.5", evidence="2026-11-17T0640-m-tarrow#2"),
    "low-brush": SETTING.format(key="flow_gpm: 3.6", evidence="2026-11-17T0640-m-tarrow#3"),
}


def test_two_branches_that_set_two_drives(tunnelbook, branched):
    """Each builds the register; whatever git makes of their merge, it is told and mended."""
    for drive, text in TWO_DRIVES.items():
        git(branched, "switch", "-qc", f"set-{drive}", "main")
        with (branched / f"setpoints/{drive}.yaml").open("a") as setpoints:
            setpoints.write(text)
        tunnelbook("build", branched)
        git(branched, "commit", "-qam", f"Set {drive}")
    git(branched, "switch", "-q", "main")
    git(branched, "merge", "-q", "--no-ff", "-m", "Merge", "set-brush-p2")
    second = ("merge", "-q", "--no-ff", "-m", "Merge", "set-low-brush")
    with pytest.raises(subprocess.CalledProcessError):
        git(branched, *second)
    assert git(branched, "diff", "--name-only", "--diff-filter=U") == "book/setpoints.md\n"
    assert tunnelbook("check", branched) == 1
    assert "book/setpoints.md:15:0: error: a merge left both sides" in tunnelbook.out
    assert tunnelbook("build", branched) == 0
    git(branched, "add", "book")
    git(branched, "commit", "-qm", "Merge")
    assert tunnelbook("check", branched, "--errors-only") == 0
    assert tunnelbook("build", branched) == 0
    assert tunnelbook("build", branched, "--check") == 0
    text = (branched / "book/setpoints.md").read_text()
    assert "44.5 Hz" in text
    assert "3.60 gpm" in text


def test_two_sites_of_one_repository_share_the_branch(tunnelbook, wash, shared, tmp_path):
    """Each build leaves the other's pages, and each audit holds its own against its own commit."""
    git(tmp_path, "clone", "-q", str(shared), "both")
    both = tmp_path / "both"
    git(both, "rm", "-rq", ".")
    for name in ("north", "south"):
        shutil.copytree(wash, both / name, ignore=shutil.ignore_patterns(".git"))
        with (both / name / "site.yaml").open("a") as site:
            site.write("policy: {book: branch}\n")
    git(both, "add", ".")
    git(both, "commit", "-qm", "Two sites")
    assert tunnelbook("build", both / "north") == 0
    assert tunnelbook("record", "--site", both / "north", *VISIT, "--commit") == 0
    assert "1 visit lies here since" in tunnelbook.out
    assert tunnelbook("build", both / "south") == 0
    there = book_of(both)
    assert {"north/book/due.md", "north/README.md", "south/book/due.md"} <= set(there)
    for name in ("north", "south"):
        tunnelbook("audit", both / name)
        assert "branch book" not in tunnelbook.out
