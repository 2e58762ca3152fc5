"""A commit that changes some files of the head and nothing else, made by plumbing.

No hook, filter or signature program runs, and what somebody has staged stays out of it.
"""

import subprocess
import tempfile
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from ledger.history.git import explain
from ledger.history.repository import Repository


def commit_files(
    repository: Repository,
    head: str,
    files: Mapping[str, bytes],
    *,
    message: str,
    name: str,
    email: str,
    when: datetime,
) -> str:
    """Put `files` (by path below the site) over those of the commit `head`; the new commit's id.

    The branch moves from `head` to it, or not at all; the index follows for these files alone.
    The files on disk are the caller's business. Raises GitProblem.
    """
    at = f"{int(when.timestamp())} {when:%z}"
    who = {
        f"GIT_{role}_{part}": value
        for role in ("AUTHOR", "COMMITTER")
        for part, value in (("NAME", name), ("EMAIL", email), ("DATE", at))
    }
    entries = "".join(
        f"100644 {_git(repository, 'hash-object', '-w', '--stdin', given=raw)}"
        f"\t{repository.prefix}{path}\0"
        for path, raw in sorted(files.items())
    ).encode()
    with tempfile.TemporaryDirectory() as folder:
        apart = {"GIT_INDEX_FILE": str(Path(folder) / "index")}
        _git(repository, "read-tree", head, more=apart)
        _git(repository, "update-index", "-z", "--index-info", given=entries, more=apart)
        tree = _git(repository, "write-tree", more=apart)
    made = _git(repository, "commit-tree", tree, "-p", head, given=message.encode(), more=who)
    _git(repository, "update-ref", "-m", message.partition("\n")[0], "HEAD", made, head, more=who)
    _git(
        repository,
        "update-index",
        "-z",
        "--index-info",
        given=entries,
        more=_filters_off(repository),
    )
    return made


def _filters_off(repository: Repository) -> dict[str, str]:
    """An environment in which no filter of the repository runs.

    Git may look again at files that were written in the same instant as its index, and would send
    them through the filters that attributes name.
    """
    asked = (
        "config",
        "-z",
        "--name-only",
        "--get-regexp",
        r"^filter\..*\.(clean|process|required)$",
    )
    names = (repository.git.attempt(*asked) or b"").decode("utf-8", "surrogateescape")
    found = {"GIT_CONFIG_COUNT": "0"}
    for number, name in enumerate(names.split("\0")[:-1]):
        found |= {
            "GIT_CONFIG_COUNT": str(number + 1),
            f"GIT_CONFIG_KEY_{number}": name,
            f"GIT_CONFIG_VALUE_{number}": "",
        }
    return found


def _git(
    repository: Repository,
    *arguments: str,
    given: bytes = b"",
    more: Mapping[str, str] | None = None,
) -> str:
    git = repository.git
    done = subprocess.run(
        git.command(arguments),
        input=given,
        capture_output=True,
        env={**git.environment, **(more or {})},
        cwd=repository.top,
        check=False,
    )
    if done.returncode != 0:
        raise explain(done.stderr, git.folder)
    return done.stdout.decode("ascii").strip()
