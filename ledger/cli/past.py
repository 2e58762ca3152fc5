"""Commands that can look at the site as it stood at a commit or on a day."""

import argparse
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ledger.cli.command import Failure, open_site, site_root

if TYPE_CHECKING:
    from ledger.model.ledger import Ledger


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """A ledger, and as of what: the words are empty for the files as they are now."""

    ledger: "Ledger"
    words: str
    commit: str | None


def add_as_of_revision(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--as-of",
        metavar="REV|DATE",
        help="as it stood at a tag, branch or commit, or at the end of a day, read from git",
    )


def open_standing(folder: str | None, as_of: str | None) -> Standing:
    """The site's ledger now, from its files, or as of a revision or day, from git's commits."""
    if as_of is None:
        return Standing(ledger=open_site(folder, None).ledger, words="", commit=None)
    from ledger.history.problem import GitProblem  # noqa: PLC0415
    from ledger.history.repository import open_repository  # noqa: PLC0415
    from ledger.proof.past import ledger_as_of  # noqa: PLC0415

    try:
        ledger, commit = ledger_as_of(open_repository(site_root(folder)), as_of)
    except GitProblem as problem:
        raise Failure(str(problem)) from problem
    return Standing(ledger=ledger, words=f"As of {as_of}: commit {commit[:12]}.", commit=commit)
