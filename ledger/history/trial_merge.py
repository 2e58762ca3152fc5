"""A merge as it would be, made in a folder of its own: the site's repository stays as it is.

The folder holds a bare repository that borrows the objects of the site's, with nothing of its
configuration, hooks or attributes: no merge driver that those name can run.
"""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from enum import StrEnum
from pathlib import Path

from ledger.history.git import Git, GitProblem
from ledger.history.objects import path_text
from ledger.history.repository import OBJECT_ID, Repository
from ledger.values import dataclass, replace

_SHA256_DIGITS = 64

_HOST = ("The git host", "noreply@host.invalid")


class Method(StrEnum):
    """How a host brings a branch to the line."""

    MERGE = "merge commit"
    SQUASH = "squash"
    REBASE = "rebase"


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialMerge:
    """`commit` merges a head into a base, in `repository`, which sees it beside all that is there.

    `base` is what it was put upon: the tip asked for, or where both part if there are `conflicts`.
    """

    repository: Repository
    commit: str
    base: str
    conflicts: tuple[str, ...]


@contextmanager
def trial_merge(
    repository: Repository,
    base: str,
    head: str,
    *,
    by: tuple[str, str] = ("Nobody yet", ""),
    when: datetime,
    method: Method = Method.MERGE,
) -> Iterator[TrialMerge]:
    """The merge of two commits, by their ids, as a person with that name and address makes it.

    By another method the host is the committer, and `commit` the last of what comes to the line;
    a squash is of whoever wrote the first commit of the branch. Raises GitProblem where they have
    no commit in common.
    """
    fork = _fork(repository, base, head)
    with tempfile.TemporaryDirectory(prefix="trial-") as folder:
        apart = _borrowing(repository, Path(folder), head)
        is_clean, printed = apart.status_and_output(
            "merge-tree", "--write-tree", "--name-only", "--no-messages", "-z", base, head
        )
        tree, *conflicts = printed.split(b"\0")[:-1]
        onto, written = (base, tree.decode("ascii")) if is_clean else (fork, f"{head}^{{tree}}")
        written = apart.line("rev-parse", written)
        made = _brought(apart, (onto, head), written, method, by, when)
        seen = {"GIT_ALTERNATE_OBJECT_DIRECTORIES": str(Path(folder, "objects"))}
        git = repository.git
        yield TrialMerge(
            repository=replace(
                repository, git=replace(git, environment={**git.environment, **seen})
            ),
            commit=made,
            base=onto,
            conflicts=() if is_clean else tuple(map(path_text, conflicts)),
        )


def _brought(
    apart: Git,
    sides: tuple[str, str],
    tree: str,
    method: Method,
    by: tuple[str, str],
    when: datetime,
) -> str:
    """The commits that a method brings to the line, put upon the first side; the last one's id."""
    base, head = sides
    at = f"{int(when.timestamp())} {when:%z}"
    if method is Method.MERGE:
        who = f"{by[0]} <{by[1]}> {at}"
        return _commit(apart, tree, (base, head), who, who)
    printed = apart.output("rev-list", "--reverse", "--no-merges", head, f"^{base}")
    commits = printed.decode("ascii").split()
    host = f"{_HOST[0]} <{_HOST[1]}> {at}"
    if method is Method.SQUASH:
        return _commit(apart, tree, (base,), _author(apart, (commits or [head])[0]), host)
    tip = base
    for oid in commits:
        # What a commit leaves when it is put upon the base is what merging up to it does.
        _, printed = apart.status_and_output(
            "merge-tree", "--write-tree", "--no-messages", "-z", base, oid
        )
        written = printed.partition(b"\0")[0].decode("ascii")
        tip = _commit(apart, written, (tip,), _author(apart, oid), host)
    return tip


def _author(apart: Git, oid: str) -> str:
    raw = apart.output("cat-file", "commit", oid)
    line = next(one for one in raw.split(b"\n") if one.startswith(b"author "))
    return line.removeprefix(b"author ").decode("utf-8", "replace")


def _commit(apart: Git, tree: str, parents: tuple[str, ...], author: str, committer: str) -> str:
    above = "".join(f"parent {parent}\n" for parent in parents)
    raw = f"tree {tree}\n{above}author {author}\ncommitter {committer}\n\nMerge, on trial\n"
    return apart.line("hash-object", "-t", "commit", "-w", "--stdin", stdin=raw.encode())


def _fork(repository: Repository, base: str, head: str) -> str:
    """Where two commits part."""
    found = repository.git.attempt("merge-base", base, head)
    oid = (found or b"").decode("ascii", "replace").strip()
    if OBJECT_ID.fullmatch(oid) is None:
        raise GitProblem(
            rule="no-merge-base",
            message=f"{base[:12]} and {head[:12]} have no commit in common here.",
            remedy="A shallow clone may end before it: git fetch --unshallow.",
        )
    return oid


def _borrowing(repository: Repository, folder: Path, oid: str) -> Git:
    """Git in an empty bare repository that reads the objects of another."""
    sha256 = len(oid) == _SHA256_DIGITS
    config = "[core]\n\trepositoryformatversion = 1\n\tbare = true\n"
    config += "[extensions]\n\tobjectformat = sha256\n" if sha256 else ""
    texts = {
        "HEAD": "ref: refs/heads/none\n",
        "config": config,
        "refs/none": "",
        "objects/info/alternates": f"{repository.shared / 'objects'}\n",
    }
    shallow = repository.shared / "shallow"
    if shallow.exists():
        texts["shallow"] = shallow.read_text("ascii")
    (folder / "refs").mkdir()
    for name, text in texts.items():
        place = folder / name
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(text, encoding="utf-8")
    git = repository.git
    return replace(git, folder=folder, environment={**git.environment, "GIT_DIR": str(folder)})
