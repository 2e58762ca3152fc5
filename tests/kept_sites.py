"""Whole repositories that an earlier version of the program left, unpacked for a test."""

from collections.abc import Callable
from pathlib import Path

from git_repo import Repo

KEPT = Path(__file__).parent / "sites_of_format_1"


def unpacked(
    name: str, folder: Path, change: Callable[[bytes], bytes] = lambda stream: stream
) -> Repo:
    """The repository of a kept site, checked out; `change` may alter its stream first."""
    repo = Repo(folder / name)
    stream = change((KEPT / f"{name}.fast-import").read_bytes())
    repo.git("fast-import", "--quiet", stdin=stream)
    repo.git("reset", "-q", "--hard", "main")
    return repo
