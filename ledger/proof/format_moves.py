"""Commits that move a site to another format, held to what `tunnelbook migrate` writes."""

from collections.abc import Iterable
from dataclasses import dataclass

from ledger.book import words
from ledger.filing.migrations import FORMAT, MIGRATIONS, SITE_FILE, format_of, is_moved_kind, moved
from ledger.history.commit import Commit
from ledger.history.objects import GitTree
from ledger.history.repository import Repository
from ledger.proof.records import Reader


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
        count = words.format_count(len(self.files), "file")
        moves = f"from format {self.start} to {self.end}"
        if not self.differing:
            return f"{moves}: {count}, each exactly as tunnelbook migrate writes it"
        return f"{moves}, but not as tunnelbook migrate does it: {', '.join(self.differing)}"


def format_move(repository: Repository, commit: Commit, blobs: Reader) -> FormatMove | None:
    """The move that a commit makes, with its steps repeated on the parent; None for no move.

    Raises GitProblem.
    """
    if commit.is_merge or commit.boundary or not commit.parents:
        return None
    changed = {change.path: change for change in commit.own_changes}
    site = changed.get(SITE_FILE)
    if site is None or site.old_oid is None or site.new_oid is None:
        return None
    start, end = (_stated(blobs.read(oid)) for oid in (site.old_oid, site.new_oid))
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
        new = changed[path].new_oid
        if new is None or blobs.read(new) != files[path][1]:
            differing.add(path)
    return FormatMove(
        commit=commit.oid, start=start, end=end, files=files, differing=tuple(sorted(differing))
    )


class MovedBlobs:
    """Blobs, but what exact moves changed reads as they left it, so that no move is an edit."""

    def __init__(self, blobs: Reader, moves: Iterable[FormatMove]) -> None:
        self._blobs = blobs
        self._moved = {
            oid: after for move in moves if not move.differing for oid, after in move.files.values()
        }

    def read(self, oid: str) -> bytes:
        found = self._moved.get(oid)
        return self._blobs.read(oid) if found is None else found


def _stated(raw: bytes) -> int | None:
    return format_of(raw.decode("utf-8", "replace"))
