"""What tells states of a site apart without reading a file: object ids, lines of commits."""

from ledger.history.commit import Change, Status
from ledger.history.objects import GitTree
from ledger.history.repository import Repository


def object_ids(tree: GitTree) -> dict[str, str]:
    """The object id of every plain file of a tree, by path."""
    return {path: oid for path in tree.paths() if (oid := tree.object_id(path)) is not None}


def object_ids_at(repository: Repository, commit: str) -> dict[str, str]:
    """As `object_ids`. Raises GitProblem where there is no such commit."""
    with GitTree(repository, commit) as tree:
        return object_ids(tree)


def tree_changes(before: dict[str, str], after: dict[str, str]) -> list[Change]:
    """The files that differ between two trees, by path; a rename is a deletion and an addition."""
    found = []
    for path in sorted(before.keys() | after.keys()):
        old, new = before.get(path), after.get(path)
        if old == new:
            continue
        found.append(
            Change(
                status=_status(old, new),
                path=path,
                old_oid=old,
                new_oid=new,
                old_mode=None,
                new_mode=None,
            )
        )
    return found


def first_parents(repository: Repository, head: str) -> set[str]:
    """The line of `head`: it and its first parents, which is where branches are merged into."""
    printed = repository.git.output("rev-list", "--first-parent", head)
    return set(printed.decode("ascii").split())


def _status(old: str | None, new: str | None) -> Status:
    if old is None:
        return Status.ADDED
    return Status.DELETED if new is None else Status.MODIFIED
