"""Records that came with the site itself from another folder, where their history still lies.

The walk reads the site's own folder alone, so a record that was edited elsewhere and then moved
would look as if it had begun here.
"""

import shlex

from ledger.history.commit import Commit
from ledger.history.objects import path_text
from ledger.history.repository import Repository
from ledger.proof.audit_items import Item, Note, mark_of
from ledger.proof.records import is_setpoints, is_visit
from ledger.report import plain

_SITE_FILE = "site.yaml"


def moved_here(repository: Repository, commit: Commit) -> Item | None:
    """The folder that a site's first records stood in before the commit that began the site.

    None where they stood nowhere. Records are known again by their names below the folder; a
    folder that is still there, and has not one of the texts, is another site's. Raises GitProblem.
    """
    brought = {
        change.path: change.new_oid
        for change in commit.own_changes
        if change.new_oid is not None and (is_visit(change.path) or is_setpoints(change.path))
    }
    if not brought or not commit.parents or commit.boundary:
        return None
    named: dict[str, set[str]] = {}
    texts: dict[str, set[str]] = {}
    printed = repository.git.output("rev-list", "--objects", "--missing=allow-any", *commit.parents)
    for line in printed.split(b"\n"):
        oid, _, name = line.partition(b" ")
        path = path_text(name)
        start = max(path.rfind("observations/"), path.rfind("setpoints/"))
        folder, below = path[: max(start, 0)], path[max(start, 0) :]
        if below in brought and folder != repository.prefix and folder[-1:] in ("", "/"):
            named.setdefault(folder, set()).add(below)
            texts.setdefault(folder, set()).add(oid.decode("ascii"))
    # Git lists a text once, by one of its names, though two files may hold it.
    alike = {
        folder: {below for below, oid in brought.items() if oid in held}
        for folder, held in texts.items()
    }
    for folder, same in sorted(alike.items(), key=lambda item: (-len(item[1]), item[0])):
        if same or not _stands(repository, commit.oid, folder):
            known = named[folder] | same
            return _told(repository, commit, folder, (len(known), len(same), len(brought)))
    return None


def _told(
    repository: Repository, commit: Commit, folder: str, counts: tuple[int, int, int]
) -> Item:
    known, same, brought = counts
    stood = "stood" if known == brought else f"{known} of them stood"
    said = f"{plain.count_words(brought, 'file')} of visits and settings came here; {stood} there"
    if same < known:
        said += f", {known - same} with another text"
    said += (
        ". What was done to them before, only the audit of that folder tells: "
        f"{_command(repository, commit, folder)}. Once it is clean, audit here with "
        f"--since {commit.oid[:12]}"
    )
    return Item(
        kind=Note.MOVED, about=folder or "the top folder", words=said, commit=mark_of(commit)
    )


def _command(repository: Repository, commit: Commit, folder: str) -> str:
    """How to audit the folder: where it is, or in a second checkout of when it last was."""
    if _stands(repository, "HEAD", folder):
        return f"tunnelbook audit {shlex.quote(str(repository.top / folder))}"
    when = next((one for one in commit.parents if _stands(repository, one, folder)), None)
    if when is None:
        # It was taken out in an earlier commit, and stood in the one before that.
        place = str(repository.top / folder / _SITE_FILE)
        gone = repository.git.output("rev-list", "-1", *commit.parents, "--", place)
        when = f"{gone.decode('ascii').strip()}^"
    return (
        f"git worktree add ../before {when}, then tunnelbook audit "
        f"{shlex.quote(f'../before/{folder}')}"
    )


def _stands(repository: Repository, revision: str, folder: str) -> bool:
    place = f"{revision}:{folder}{_SITE_FILE}"
    verify = ("rev-parse", "--verify", "--quiet", "--end-of-options")
    return repository.git.attempt(*verify, place) is not None
