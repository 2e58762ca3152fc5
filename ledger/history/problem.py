"""What is said where git cannot answer."""

import re
from dataclasses import dataclass
from pathlib import Path

_CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]")


@dataclass(kw_only=True, eq=False)  # not frozen: Python hangs tracebacks on an exception
class GitProblem(Exception):  # noqa: N818  it is shown to a person as it is
    """Why git could not answer, in words for a person, with what to do about it.

    `rule` is a stable kebab-case id. `nearest` holds names that may have been meant.
    """

    rule: str
    message: str
    remedy: str = ""
    nearest: tuple[str, ...] = ()

    def __str__(self) -> str:
        near = f" Nearest: {', '.join(self.nearest)}." if self.nearest else ""
        return " ".join(part for part in (self.message + near, self.remedy) if part)


def without_controls(text: str) -> str:
    """The text without control characters, line ends aside: names in it may be hostile."""
    return _CONTROL.sub("", text)


def explain(complaint: bytes, folder: Path) -> GitProblem:
    """Git's own words on a failure, as a problem with a remedy; control characters are dropped."""
    words = without_controls(complaint.decode("utf-8", "replace")).strip()
    first = words.partition("\n")[0].removeprefix("fatal: ")
    if "dubious ownership" in words:
        return GitProblem(
            rule="another-owner",
            message=f"The repository of {folder} belongs to another user, so git refuses it.",
            remedy="If you trust its owner: git config --global --add safe.directory "
            "and the repository's top folder.",
        )
    if "safe.bareRepository" in words:
        return GitProblem(
            rule="bare-repository",
            message=f"{folder} is, or lies in, a bare repository; "
            "one among the files of a checkout can be a trap.",
            remedy="Give the site folder of a clone with a working tree.",
        )
    if "not a git repository" in words:
        return GitProblem(
            rule="not-a-repository",
            message=f"{folder} is in no git repository.",
            remedy="Give the site folder of a clone, or make one: git init, git add, git commit.",
        )
    if "cannot change to" in words:
        return GitProblem(rule="no-folder", message=f"There is no folder {folder}.")
    if "lazy fetching disabled" in words or "promisor remote" in words:
        return GitProblem(
            rule="objects-elsewhere",
            message="This is a partial clone, and what is asked for is not in it.",
            remedy="Fetch everything first: git fetch --refetch --no-filter.",
        )
    return GitProblem(
        rule="git-failed",
        message=f"Git could not read the repository of {folder}: {first or 'it said nothing'}.",
        remedy="git fsck tells what is damaged.",
    )
