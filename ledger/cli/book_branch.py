"""The branch `book`: the pages of the last commit, written there without a checkout."""

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.cli.command import Failure, OpenSite, open_commit_today
from ledger.cli.into_git import committer
from ledger.files.names import BOOK, BOOK_BRANCH

if TYPE_CHECKING:
    from ledger.history.repository import Repository

RENDERED_FROM = "Rendered-from: "


def write_branch(parsed: argparse.Namespace, root: Path) -> None:
    """Render what the last commit holds onto the branch, and say so. Raises Failure."""
    from ledger.history.git import GitProblem
    from ledger.history.new_commit import commit_to_branch
    from ledger.history.repository import branch_tip, open_repository

    try:
        repository = open_repository(root)
        site = open_commit_today(parsed, root, "HEAD")
        pages = _pages(site)
        tip = branch_tip(repository, BOOK_BRANCH)
        summary = f"{len(pages)} files of {(site.commit or '')[:10]} as of {site.as_of}"
        if parsed.dry_run:
            print(f"would write {summary} to the branch {BOOK_BRANCH}")
            return
        made = commit_to_branch(
            repository,
            BOOK_BRANCH,
            {path: text.encode() for path, text in pages.items()},
            onto=tip,
            message=f"Render the book as of {site.as_of}\n\n{RENDERED_FROM}{site.commit}\n",
            by=committer(root, parsed.clock),
            without=() if tip is None else _paths_at(repository, tip) - pages.keys(),
        )
    except GitProblem as problem:
        raise Failure(f"the branch {BOOK_BRANCH} was not written: {problem}") from problem
    state = f"committed {made[:10]}" if made else "nothing to write"
    print(f"{summary} on the branch {BOOK_BRANCH}: {state}")


def stale_on_branch(parsed: argparse.Namespace, root: Path) -> Iterator[str]:
    """What `write_branch` would change: `due.md: changed`. Raises Failure."""
    from ledger.history.git import GitProblem
    from ledger.history.objects import GitTree
    from ledger.history.repository import branch_tip, open_repository

    try:
        repository = open_repository(root)
        pages = _pages(open_commit_today(parsed, root, "HEAD"))
        tip = branch_tip(repository, BOOK_BRANCH)
        if tip is None:
            yield f"there is no branch {BOOK_BRANCH}"
            return
        with GitTree(repository, tip, max_bytes=1 << 24) as tree:
            there = set(tree.paths())
            for path, text in pages.items():
                if path not in there:
                    yield f"{path}: missing"
                elif tree.read(path) != text.encode():
                    yield f"{path}: changed"
            yield from (f"{path}: left over" for path in sorted(there - pages.keys()))
    except GitProblem as problem:
        raise Failure(f"the branch {BOOK_BRANCH} cannot be looked at: {problem}") from problem


def _pages(site: OpenSite) -> dict[str, str]:
    from ledger.site.rendering import book_files, branch_readme

    files = {f"{BOOK}/{path}": text for path, text in book_files(site.ledger, site.as_of).items()}
    return {"README.md": branch_readme(site.ledger), **files}


def _paths_at(repository: "Repository", commit: str) -> set[str]:
    from ledger.history.objects import GitTree

    with GitTree(repository, commit) as tree:
        return set(tree.paths())
