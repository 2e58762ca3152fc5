"""Sites that were moved: to another format, as `tunnelbook migrate` does, or to another folder."""

import shlex

from ledger.book.short_words import format_count
from ledger.files.names import SITE_FILE
from ledger.filing.migrations import FORMAT, MIGRATIONS, format_of, is_moved_kind, moved
from ledger.history.commit import Commit
from ledger.history.objects import GitTree, path_text
from ledger.history.repository import Repository
from ledger.proof.audit_items import Item, Note
from ledger.proof.records import Reader, is_setpoints, is_visit
from ledger.values import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class FormatMove:
    """A commit that states another format than its parent.

    `files` are those that the steps change, each with its object id before and its bytes after;
    `differing` are the paths in which the commit is not what the steps make of its parent.
    """

    commit: str
    start: int
    end: int
    files: dict[str, tuple[str, bytes]]
    differing: tuple[str, ...]

    @property
    def words(self) -> str:
        count = format_count(len(self.files), "file")
        moves = f"from format {self.start} to {self.end}"
        if not self.differing:
            return f"{moves}: {count}, all exactly as tunnelbook migrate writes them"
        return f"{moves}, but not as tunnelbook migrate does it: {', '.join(self.differing)}"


def format_move(repository: Repository, commit: Commit, blobs: Reader) -> FormatMove | None:
    """The move that a commit makes, with its steps repeated on the parent; None for no move.

    Raises GitProblem.
    """
    if commit.is_merge or commit.boundary or not commit.parents:
        return None
    changed = {change.path: change for change in commit.own_changes}
    site = changed.get(SITE_FILE)
    old, new = (site.old_text_oid, site.new_text_oid) if site else (None, None)
    if old is None or new is None:
        return None
    start, end = (_stated(blobs.read(oid)) for oid in (old, new))
    if start is None or end is None or start >= end or end > FORMAT:
        return None
    files: dict[str, tuple[str, bytes]] = {}
    if set(range(start, end)) <= set(MIGRATIONS):
        with GitTree(repository, commit.parents[0]) as tree:
            for path in filter(is_moved_kind, tree.paths()):
                oid = tree.object_id(path)
                if oid is None:
                    continue
                before = tree.read(path)
                after = moved(path, before, start, end)
                if after != before:
                    files[path] = (oid, after)
    differing = changed.keys() ^ files.keys()
    for path in changed.keys() & files.keys():
        new = changed[path].new_text_oid
        if new is None or blobs.read(new) != files[path][1]:
            differing.add(path)
    return FormatMove(
        commit=commit.oid, start=start, end=end, files=files, differing=tuple(sorted(differing))
    )


def _stated(raw: bytes) -> int | None:
    return format_of(raw.decode("utf-8", "replace"))


def moved_here(repository: Repository, commit: Commit) -> Item | None:
    """The folder that a site's first records stood in before the commit that began the site.

    The walk reads the site's own folder alone, so a record that was edited elsewhere and then
    moved would look as if it had begun here. None where they stood nowhere. Records are known
    again by their names below the folder; a folder that is still there, and has not one of the
    texts, is another site's. Raises GitProblem.
    """
    came = {
        change.path: change.new_text_oid
        for change in commit.own_changes
        if change.new_text_oid is not None and (is_visit(change.path) or is_setpoints(change.path))
    }
    if not came or not commit.parents or commit.boundary:
        return None
    named: dict[str, set[str]] = {}
    texts: dict[str, set[str]] = {}
    printed = repository.git.output("rev-list", "--objects", "--missing=allow-any", *commit.parents)
    for line in printed.split(b"\n"):
        oid, _, name = line.partition(b" ")
        path = path_text(name)
        start = max(path.rfind("observations/"), path.rfind("setpoints/"))
        folder, below = path[: max(start, 0)], path[max(start, 0) :]
        if below in came and folder != repository.prefix and folder[-1:] in ("", "/"):
            named.setdefault(folder, set()).add(below)
            texts.setdefault(folder, set()).add(oid.decode("ascii"))
    # Git lists a text once, by one of its names, though two files may hold it.
    alike = {
        folder: {below for below, oid in came.items() if oid in held}
        for folder, held in texts.items()
    }
    for folder, same in sorted(alike.items(), key=lambda item: (-len(item[1]), item[0])):
        if same or not _stands(repository, commit.oid, folder):
            known = named[folder] | same
            return _moved_from(repository, commit, folder, (len(known), len(same), len(came)))
    return None


def _moved_from(
    repository: Repository, commit: Commit, folder: str, counts: tuple[int, int, int]
) -> Item:
    known, same, came = counts
    stood = "stood" if known == came else f"{known} of them stood"
    text = f"{format_count(came, 'file')} of visits and settings came here; {stood} there"
    if same < known:
        text += f", {known - same} with another text"
    text += (
        ". What was done to them before, only the audit of that folder shows: "
        f"{_command(repository, commit, folder)}. Once it is clean, audit here with "
        f"--since {commit.oid[:12]}"
    )
    return Item(Note.MOVED, text, about=folder or "the top folder", commit=commit)


def _command(repository: Repository, commit: Commit, folder: str) -> str:
    """How to audit the folder: where it is, or in a second checkout of when it last was."""
    if _stands(repository, "HEAD", folder):
        return f"tunnelbook audit {shlex.quote(str(repository.top / folder))}"
    when = next((one for one in commit.parents if _stands(repository, one, folder)), None)
    if when is None:
        # It was taken out in an earlier commit, and stood in the one before that.
        place = str(repository.top / folder / SITE_FILE)
        gone = repository.git.output("rev-list", "-1", *commit.parents, "--", place)
        when = f"{gone.decode('ascii').strip()}^"
    return (
        f"git worktree add ../before {when}, then tunnelbook audit "
        f"{shlex.quote(f'../before/{folder}')}"
    )


def _stands(repository: Repository, revision: str, folder: str) -> bool:
    return repository.git.object_id(f"{revision}:{folder}{SITE_FILE}") is not None
