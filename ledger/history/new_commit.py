"""A commit that changes some files of the head and nothing else, made by plumbing.

No hook, filter or signature program runs, and what somebody has staged stays out of it.
"""

import tempfile
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from ledger.history.git import Git
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
    git = repository.git
    entries = "".join(
        f"100644 {git.line('hash-object', '-w', '--stdin', stdin=raw)}\t{repository.prefix}{path}\0"
        for path, raw in sorted(files.items())
    ).encode()
    into_index = ("update-index", "-z", "--index-info")
    with tempfile.TemporaryDirectory() as folder:
        apart = {"GIT_INDEX_FILE": str(Path(folder) / "index")}
        git.output("read-tree", head, more=apart)
        git.output(*into_index, stdin=entries, more=apart)
        tree = git.line("write-tree", more=apart)
    made = git.line("commit-tree", tree, "-p", head, stdin=message.encode(), more=who)
    git.output("update-ref", "-m", message.partition("\n")[0], "HEAD", made, head, more=who)
    git.output(*into_index, stdin=entries, more=_filters_off(git))
    return made


def _filters_off(git: Git) -> dict[str, str]:
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
    names = (git.attempt(*asked) or b"").decode("utf-8", "surrogateescape")
    filters = names.split("\0")[:-1]
    found = {"GIT_CONFIG_COUNT": str(len(filters))}
    for number, name in enumerate(filters):
        found |= {f"GIT_CONFIG_KEY_{number}": name, f"GIT_CONFIG_VALUE_{number}": ""}
    return found
