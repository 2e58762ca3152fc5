"""A repository found from a site's folder, and revisions of it named by a person."""

import difflib
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo
from pathlib import Path

from ledger.history.git import Git, git_in
from ledger.history.problem import GitProblem

OBJECT_ID = re.compile(r"[0-9a-f]{40}|[0-9a-f]{64}")
_ISO_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Repository:
    """A checked repository: `top` holds the checkout, `prefix` leads from there to the site.

    `prefix` is "" or ends in "/". `shared` is the folder of refs and objects (git's common dir).
    """

    git: Git
    top: Path
    prefix: str
    shared: Path


def open_repository(folder: Path, caller: Mapping[str, str] | None = None) -> Repository:
    """The repository whose checkout `folder` lies in; `caller` stands for os.environ.

    Raises GitProblem: no git, git too old, no repository, another owner's, a bare one, one whose
    configuration lays its files elsewhere, or one without a commit.
    """
    folder = Path(os.path.realpath(folder))
    git = git_in(folder, caller)
    if git.line("rev-parse", "--is-inside-work-tree") != "true":
        raise GitProblem(
            rule="no-checkout",
            message=f"{folder} is not among the files of a checkout.",
            remedy="Give the folder that holds site.yaml.",
        )
    top = Path(os.path.realpath(git.line("rev-parse", "--show-toplevel")))
    # core.worktree may claim any folder as the top; only one that holds the repository is one.
    found = next((place for place in (folder, *folder.parents) if (place / ".git").exists()), None)
    if found != top:
        raise GitProblem(
            rule="checkout-elsewhere",
            message=f"The repository of {folder} says that its files are in {top}.",
            remedy="Take core.worktree out of its configuration.",
        )
    inside = folder.relative_to(top).as_posix()
    repository = Repository(
        git=git,
        top=top,
        prefix="" if inside == "." else f"{inside}/",
        shared=Path(git.line("rev-parse", "--path-format=absolute", "--git-common-dir")),
    )
    if git.attempt("rev-parse", "--verify", "--quiet", "HEAD^{commit}") is None:
        raise GitProblem(
            rule="no-commit",
            message=f"The repository of {folder} has no commit yet.",
            remedy="Commit the site's files first.",
        )
    return repository


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
    found = repository.git.attempt(
        "rev-parse", "--verify", "--quiet", "--end-of-options", f"{revision}^{{commit}}"
    )
    oid = (found or b"").decode("ascii", "replace").strip()
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
    """The day that `--as-of` names; None where it names a revision or no day of the calendar."""
    if _ISO_DATE.fullmatch(as_of) is None or as_of in ref_names(repository):
        return None
    try:
        return date.fromisoformat(as_of)
    except ValueError:
        return None


def resolve_as_of(repository: Repository, as_of: str, zone: tzinfo) -> str:
    """The commit for a revision or a date (YYYY-MM-DD) as a person gives it to `--as-of`.

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
