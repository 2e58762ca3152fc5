"""A repository found from a site's folder, revisions of it as a person names them, and its state.

The state is what stands between this clone and the whole, true history: declared, never hidden.
"""

import difflib
import os
import re
from collections.abc import Mapping
from datetime import date, datetime, time, timedelta, tzinfo
from enum import StrEnum
from pathlib import Path

from ledger.history.git import Git, GitProblem, git_in
from ledger.values import dataclass

OBJECT_ID = re.compile(r"[0-9a-f]{40}|[0-9a-f]{64}")

_ISO_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Repository:
    """A checked repository: `top` holds the checkout, `prefix` leads from there to the site.

    `prefix` is "" or ends in "/". `shared` is the folder of refs and objects (git's common dir),
    `head` the commit that was checked out.
    """

    git: Git
    top: Path
    prefix: str
    shared: Path
    head: str


_MAINS = ("origin/HEAD", "origin/main", "origin/master", "main", "master")


def main_branch(repository: Repository) -> str:
    """The branch that work is merged into: that of the remote if there is one, else the own.

    Raises GitProblem where there is none by a usual name.
    """
    found = next(filter(repository.git.object_id, _MAINS), None)
    if found is None:
        raise GitProblem(
            rule="no-main",
            message=f"There is no branch {', '.join(_MAINS)}.",
            remedy="Name the branch that it is to be merged into.",
        )
    return found


def open_repository(folder: Path, caller: Mapping[str, str] | None = None) -> Repository:
    """The repository whose checkout `folder` lies in; `caller` stands for os.environ.

    Raises GitProblem: no git, git too old, no repository, another owner's, a bare one, one whose
    configuration lays its files elsewhere, or one without a commit.
    """
    folder = Path(os.path.realpath(folder))
    git = git_in(folder, caller)
    # Only the last of these may hold a line end of its own.
    asked = ("--is-inside-work-tree", "--show-cdup", "--path-format=absolute", "--git-common-dir")
    is_inside, _, places = git.line("rev-parse", *asked).partition("\n")
    if is_inside != "true":
        raise GitProblem(
            rule="no-checkout",
            message=f"{folder} is not among the files of a checkout.",
            remedy="Give the folder that holds site.yaml.",
        )
    up, _, shared = places.partition("\n")
    top = Path(os.path.realpath(folder / up))
    # core.worktree may claim any folder as the top; only one that holds the repository is one.
    found = next((place for place in (folder, *folder.parents) if (place / ".git").exists()), None)
    if found != top:
        raise GitProblem(
            rule="checkout-elsewhere",
            message=f"The repository of {folder} says that its files are in {top}.",
            remedy="Take core.worktree out of its configuration.",
        )
    inside = folder.relative_to(top).as_posix()
    head = git.object_id("HEAD^{commit}")
    if head is None:
        raise GitProblem(
            rule="no-commit",
            message=f"The repository of {folder} has no commit yet.",
            remedy="Commit the site's files first.",
        )
    prefix = "" if inside == "." else f"{inside}/"
    return Repository(git=git, top=top, prefix=prefix, shared=Path(shared), head=head)


def resolve(repository: Repository, revision: str) -> str:
    """The full object id of the commit that `revision` names, by git's own rules.

    Raises GitProblem where it names none, with the nearest names of branches and tags, and where
    it begins with a hyphen, which a command could take for an option.
    """
    if not revision or revision.startswith("-") or not revision.isprintable():
        raise GitProblem(
            rule="revision-refused",
            message=f"{revision!r} cannot be a revision.",
            remedy="Give a branch, a tag or a commit's id.",
        )
    oid = repository.git.object_id(f"{revision}^{{commit}}") or ""
    if OBJECT_ID.fullmatch(oid) is None:
        names = ref_names(repository)
        raise GitProblem(
            rule="unknown-revision",
            message=f"No commit is named {revision!r}.",
            remedy="The clone is shallow, it may lie before its start: git fetch --unshallow."
            if _is_shallow(repository)
            else "git fetch --tags brings names from the remote.",
            nearest=tuple(difflib.get_close_matches(revision, names, n=3)),
        )
    return oid


def day_named(repository: Repository, as_of: str) -> date | None:
    """The day that a person means; None where they name a revision or no day of the calendar."""
    if _ISO_DATE.fullmatch(as_of) is None or as_of in ref_names(repository):
        return None
    try:
        return date.fromisoformat(as_of)
    except ValueError:
        return None


def resolve_as_of(repository: Repository, as_of: str, zone: tzinfo) -> str:
    """The commit for a revision or a date (YYYY-MM-DD) as a person gives it to `--at-commit`.

    A date means the newest commit on HEAD's first-parent line that was committed before the end
    of that day in `zone`. A branch or tag of the date's very name goes first, as in git.
    Raises GitProblem where there is no such commit or the date is none.
    """
    if _ISO_DATE.fullmatch(as_of) is None or as_of in ref_names(repository):
        return resolve(repository, as_of)
    try:
        day = date.fromisoformat(as_of)
        ends_at = datetime.combine(day + timedelta(days=1), time(), zone).timestamp()
    except (ValueError, OverflowError):
        raise GitProblem(
            rule="revision-refused",
            message=f"{as_of} is not a date of the calendar.",
            remedy="Give a day as YYYY-MM-DD.",
        ) from None
    for entry in repository.git.output("rev-list", "--first-parent", "--timestamp", "HEAD").split(
        b"\n"
    )[:-1]:
        seconds, _, oid = entry.partition(b" ")
        if int(seconds) < ends_at:
            return oid.decode("ascii")
    if _is_shallow(repository):
        raise GitProblem(
            rule="before-history",
            message=f"This clone is shallow: it holds no commit from {as_of} or before.",
            remedy="git fetch --unshallow brings them.",
        )
    raise GitProblem(
        rule="before-history",
        message=f"Nothing had been committed by the end of {as_of}.",
        remedy="Give a later day.",
    )


def _is_shallow(repository: Repository) -> bool:
    return (repository.shared / "shallow").exists()


def ref_names(repository: Repository) -> list[str]:
    """Short names of branches, tags and remote branches, sorted."""
    printed = repository.git.output(
        "for-each-ref", "--format=%(refname:lstrip=2)", "refs/heads", "refs/tags", "refs/remotes"
    )
    return sorted(printed.decode("utf-8", "replace").split("\n")[:-1])


def remote_of(repository: Repository) -> str:
    """The remote that the branch checked out is pushed to, else the first; "" without one."""
    git = repository.git
    branch = git.line("rev-parse", "--symbolic-full-name", "HEAD").removeprefix("refs/heads/")
    stated = (git.attempt("config", "--get", f"branch.{branch}.remote") or b"").decode().strip()
    if stated not in ("", "."):
        return stated
    command = ("config", "--name-only", "--get-regexp", r"^remote\..*\.url$")
    listed = (git.attempt(*command) or b"").decode().splitlines()
    names = [name.removeprefix("remote.").removesuffix(".url") for name in listed]
    return "origin" if "origin" in names else next(iter(names), "")


def branch_tip(repository: Repository, branch: str) -> str | None:
    """The last commit of a branch, here or as it was fetched; None where there is no such branch.

    Where a remote has gone on since, it is the remote's.
    """
    git = repository.git
    here = git.object_id(f"refs/heads/{branch}")
    remote = remote_of(repository)
    there = git.object_id(f"refs/remotes/{remote}/{branch}") if remote else None
    if here is None or there is None:
        return here or there
    return there if git.answer("merge-base", "--is-ancestor", here, there) else here


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryState:
    """How far history can be read here.

    `shallow_at` are the commits whose parents were not fetched. `grafts` and `replaced` are
    commits that this clone would have git show with other parents or another content; this
    package never consults them. `partial` is true where files may be missing from the clone.
    """

    shallow_at: tuple[str, ...]
    grafts: tuple[str, ...]
    replaced: tuple[str, ...]
    partial: bool

    @property
    def is_whole(self) -> bool:
        """Whether every commit and file can be read here, as they were made."""
        return not self.shallow_at and not self.partial


class Remembered(StrEnum):
    """What became of a head that somebody wrote down earlier."""

    HELD = "held"
    REWRITTEN = "rewritten"
    CANNOT_TELL = "cannot tell"


def history_state(repository: Repository) -> HistoryState:
    """The state of the clone. Raises GitProblem where git cannot tell."""
    git = repository.git
    replaced = git.output("for-each-ref", "--format=%(refname:lstrip=2)", "refs/replace").decode()
    # Promisor remotes and filters are named in configuration that is only read, never followed.
    promised = git.attempt(
        "config",
        "--local",
        "--get-regexp",
        r"^(extensions\.partialclone|remote\..*\.(promisor|partialclonefilter))$",
    )
    return HistoryState(
        shallow_at=_listed(repository, "shallow"),
        grafts=_listed(repository, "info/grafts"),
        replaced=tuple(sorted(replaced.split())),
        partial=bool(promised) or any((repository.shared / "objects/pack").glob("*.promisor")),
    )


def remembered_head(repository: Repository, oid: str) -> Remembered:
    """Whether HEAD still builds on the commit `oid`, a full object id written down earlier.

    REWRITTEN where it does not: history was replaced, whether or not the old commit is still
    here. CANNOT_TELL where a shallow clone may end before it. Raises GitProblem where `oid` is
    not a full object id: a name or a short id can come to mean another commit.
    """
    if OBJECT_ID.fullmatch(oid) is None:
        raise GitProblem(
            rule="revision-refused",
            message=f"{oid!r} is not a full object id.",
            remedy="Remember a head by its full id: git rev-parse HEAD.",
        )
    git = repository.git
    if git.object_id(f"{oid}^{{commit}}") is not None and git.answer(
        "merge-base", "--is-ancestor", oid, "HEAD"
    ):
        return Remembered.HELD
    return Remembered.CANNOT_TELL if _listed(repository, "shallow") else Remembered.REWRITTEN


def _listed(repository: Repository, name: str) -> tuple[str, ...]:
    """The commits that a file of the repository names first on its lines, sorted."""
    try:
        lines = (repository.shared / name).read_text("ascii", "replace").splitlines()
    except FileNotFoundError:
        return ()
    return tuple(sorted(line.split()[0] for line in lines if line[:1] not in ("", "#")))
