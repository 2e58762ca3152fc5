"""A commit that changes some files of the head and nothing else, made by plumbing.

No hook, filter or signature program runs, and what somebody has staged stays out of it.
"""

import tempfile
from collections.abc import Iterable, Mapping
from datetime import datetime
from pathlib import Path

from ledger.history.git import Git, GitProblem
from ledger.history.repository import Repository
from ledger.values import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Committer:
    """Who makes a commit, and when."""

    name: str
    email: str
    when: datetime

    @property
    def environment(self) -> dict[str, str]:
        """As git takes it, for the author too."""
        at = f"{int(self.when.timestamp())} {self.when:%z}"
        return {
            f"GIT_{role}_{part}": value
            for role in ("AUTHOR", "COMMITTER")
            for part, value in (("NAME", self.name), ("EMAIL", self.email), ("DATE", at))
        }


def commit_files(
    repository: Repository, head: str, files: Mapping[str, bytes], *, message: str, by: Committer
) -> str:
    """Put `files` (by path below the site) over those of the commit `head`; the new commit's id.

    HEAD moves from `head` to it, or not at all; the index follows for these files alone. The files
    on disk are the caller's business. Raises GitProblem.
    """
    git = repository.git
    entries = _entries(repository, files)
    made = _commit(git, _tree(git, entries, head), (head,), message, by)
    _move(git, "HEAD", made, head, message, by)
    git.output(*_INTO_INDEX, stdin=entries, more=_filters_off(git))
    return made


def commit_to_branch(
    repository: Repository,
    branch: str,
    files: Mapping[str, bytes],
    *,
    onto: str | None,
    message: str,
    by: Committer,
    without: Iterable[str] = (),
    merging: str | None = None,
) -> str:
    """The same onto a branch that is not checked out, which is made where there is none.

    `onto` is the commit that the new one follows, the branch's own where there is one; None begins
    a history of its own. The paths in `without` are left out; `merging` is a second parent.
    Neither index nor checkout is touched, and "" says that `onto` holds just this. Raises
    GitProblem, also where the branch is checked out, which would then hold something else.
    """
    git = repository.git
    ref = f"refs/heads/{branch}"
    place = git.line("for-each-ref", "--format=%(worktreepath)", ref)
    if place:
        raise GitProblem(
            rule="branch-checked-out",
            message=f"The branch {branch} is checked out in {place}.",
            remedy="Switch to another one there.",
        )
    entries = _entries(repository, files)
    nothing = "0" * len(git.line("rev-parse", "HEAD"))
    gone = "".join(f"0 {nothing}\t{repository.prefix}{path}\0" for path in without)
    tree = _tree(git, gone.encode() + entries, onto)
    if onto is not None and merging is None and tree == git.object_id(f"{onto}^{{tree}}"):
        return ""
    parents = tuple(one for one in (onto, merging) if one is not None)
    made = _commit(git, tree, parents, message, by)
    _move(git, ref, made, git.object_id(ref) or nothing, message, by)
    return made


_INTO_INDEX = ("update-index", "-z", "--index-info")


def _entries(repository: Repository, files: Mapping[str, bytes]) -> bytes:
    """Entries of an index for files, whose bytes are in the repository from now on."""
    paths = sorted(files)
    with tempfile.TemporaryDirectory() as folder:
        places = [Path(folder) / str(number) for number in range(len(paths))]
        for place, path in zip(places, paths, strict=True):
            place.write_bytes(files[path])
        named = "".join(f"{place}\n" for place in places).encode()
        command = ("hash-object", "-w", "--no-filters", "--stdin-paths")
        oids = repository.git.output(*command, stdin=named).decode().split()
    return "".join(
        f"100644 {oid}\t{repository.prefix}{path}\0" for oid, path in zip(oids, paths, strict=True)
    ).encode()


def _tree(git: Git, entries: bytes, onto: str | None) -> str:
    with tempfile.TemporaryDirectory() as folder:
        apart = {"GIT_INDEX_FILE": str(Path(folder) / "index")}
        if onto is not None:
            git.output("read-tree", onto, more=apart)
        git.output(*_INTO_INDEX, stdin=entries, more=apart)
        return git.line("write-tree", more=apart)


def _commit(git: Git, tree: str, parents: tuple[str, ...], message: str, by: Committer) -> str:
    options = [word for parent in parents for word in ("-p", parent)]
    return git.line("commit-tree", tree, *options, stdin=message.encode(), more=by.environment)


def _move(git: Git, ref: str, made: str, old: str, message: str, by: Committer) -> None:
    subject = message.partition("\n")[0]
    git.output("update-ref", "-m", subject, ref, made, old, more=by.environment)


def _filters_off(git: Git) -> dict[str, str]:
    """An environment in which no filter of the repository runs.

    Git may look again at files that were written in the same instant as its index, and would send
    them through the filters that attributes name.
    """
    command = (
        "config",
        "-z",
        "--name-only",
        "--get-regexp",
        r"^filter\..*\.(clean|process|required)$",
    )
    names = (git.attempt(*command) or b"").decode("utf-8", "surrogateescape")
    filters = names.split("\0")[:-1]
    found = {"GIT_CONFIG_COUNT": str(len(filters))}
    for number, name in enumerate(filters):
        found |= {f"GIT_CONFIG_KEY_{number}": name, f"GIT_CONFIG_VALUE_{number}": ""}
    return found
