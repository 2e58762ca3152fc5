"""A merge as it would be, made in a folder of its own: the site's repository stays as it is.

The folder holds a bare repository that borrows the objects of the site's, with nothing of its
configuration, hooks or attributes: no merge driver that those name can run.
"""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from ledger.history.git import Git, GitProblem
from ledger.history.objects import path_text
from ledger.history.repository import OBJECT_ID, Repository

_SHA256_DIGITS = 64


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
) -> Iterator[TrialMerge]:
    """The merge of two commits, by their ids, as a person with that name and address makes it.

    Raises GitProblem where they have no commit in common.
    """
    fork = _fork(repository, base, head)
    with tempfile.TemporaryDirectory(prefix="trial-") as folder:
        apart = _borrowing(repository, Path(folder), head)
        is_clean, printed = apart.told(
            "merge-tree", "--write-tree", "--name-only", "--no-messages", "-z", base, head
        )
        tree, *conflicts = printed.split(b"\0")[:-1]
        onto, written = (base, tree.decode("ascii")) if is_clean else (fork, f"{head}^{{tree}}")
        who = f"{by[0]} <{by[1]}> {int(when.timestamp())} {when:%z}"
        written = apart.line("rev-parse", written)
        raw = (
            f"tree {written}\nparent {onto}\nparent {head}\n"
            f"author {who}\ncommitter {who}\n\nMerge, on trial\n"
        )
        made = apart.line("hash-object", "-t", "commit", "-w", "--stdin", stdin=raw.encode())
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
