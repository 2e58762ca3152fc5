"""Visits that lie in one clone alone: not committed, or not pushed."""

import os
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from ledger.history.repository import Repository
from ledger.values import dataclass

_FOLDER = "observations"


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """How many visits lie here, and since when; `since` is None where none does."""

    uncommitted: int = 0
    unpushed: int = 0
    since: datetime | None = None


def visits_waiting(repository: Repository) -> Waiting:
    """The visits of a site that only this clone has; without a remote, those not committed.

    One that is not committed lies here since its file was written, one that is not pushed since it
    was committed. What any branch of a remote has, as of the last fetch or push, is pushed. Raises
    GitProblem.
    """
    git, folder = repository.git, f"{repository.prefix}{_FOLDER}"
    listed = git.output("ls-tree", "-r", "-z", "--name-only", "--full-tree", "HEAD", folder)
    committed = set(os.fsdecode(listed).split("\0"))
    written = [
        (repository.top / path).stat().st_mtime
        for path in _files_below(repository.top, folder)
        if path not in committed
    ]
    made = _unpushed(repository)
    times = [*written, *made.values()]
    return Waiting(
        uncommitted=len(written),
        unpushed=len(made),
        since=datetime.fromtimestamp(min(times), UTC) if times else None,
    )


def _files_below(top: Path, folder: str) -> Iterator[str]:
    """Paths from the top, as git gives them: too many for a Path of each."""
    for here, _, names in os.walk(top / folder):
        below = Path(here).relative_to(top).as_posix()
        for name in names:
            if name.endswith(".yaml") and not name.startswith("."):
                yield f"{below}/{name}"


def _unpushed(repository: Repository) -> dict[str, int]:
    """Visits of commits that no remote has, by path, with the time of the oldest such commit."""
    git = repository.git
    remotes = git.output("for-each-ref", "--format=%(refname)", "refs/remotes").decode().split()
    if not remotes:
        return {}
    # Git runs in the site's folder, and counts a path given from there.
    since = ("HEAD", "--not", "--remotes", "--", _FOLDER)
    times = git.output("rev-list", "--timestamp", *since).split(b"\n")[:-1]
    if not times:
        return {}
    listed = git.output("rev-list", "--objects", *since)
    found = [line.split(b" ", 1) for line in listed.split(b"\n") if line.endswith(b".yaml")]
    # What was squashed or rebased at the host is there in another commit.
    requests = b"".join(b"%s:%s\n" % (ref.encode(), path) for ref in remotes for _, path in found)
    there = git.output("cat-file", "--batch-check=%(objectname)", stdin=requests).split(b"\n")
    oldest = min(int(line.split()[0]) for line in times)
    return {os.fsdecode(path): oldest for oid, path in found if oid not in there}
