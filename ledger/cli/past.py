"""Commands that can look at the site as it stood at a commit or on a day."""

import argparse
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from ledger.cli.clock import Clock
from ledger.cli.command import Failure, open_site, site_root

if TYPE_CHECKING:
    from ledger.model.ledger import Ledger
    from ledger.model.machines import Machine
    from ledger.report.blocks import Page


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """A ledger, and as of what: the words are empty for the files as they are now.

    `day` is None for a revision, which has no day of its own.
    """

    ledger: "Ledger"
    words: str
    commit: str | None
    day: date | None

    def dated(self, page: "Page", machines: "Iterable[Machine]") -> "Page":
        """The page with as of what it stands, and which newest settings had not begun by then."""
        from ledger.report.approval_words import not_begun_words  # noqa: PLC0415
        from ledger.report.blocks import Paragraph  # noqa: PLC0415

        day = self.day
        told = [] if day is None else [not_begun_words(self.ledger, one, day) for one in machines]
        later = [Paragraph(said) for said in told if said]
        return replace(page, as_of=self.words, blocks=[*later, *page.blocks])


def add_as_of_revision(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--as-of",
        metavar="REV|DATE",
        help="as it stood at a tag, branch or commit, or at the end of a day, read from git",
    )


def open_standing(folder: str | None, as_of: str | None, clock: Clock) -> Standing:
    """The site's ledger now, from its files, or as of a revision or day, from git's commits."""
    if as_of is None:
        ledger = open_site(folder, None, clock).ledger
        return Standing(ledger=ledger, words="", commit=None, day=None)
    from ledger.history.problem import GitProblem  # noqa: PLC0415
    from ledger.history.repository import day_named, open_repository  # noqa: PLC0415
    from ledger.proof.past import ledger_as_of  # noqa: PLC0415

    try:
        repository = open_repository(site_root(folder))
        ledger, commit = ledger_as_of(repository, as_of)
        day = day_named(repository, as_of)
    except GitProblem as problem:
        raise Failure(str(problem)) from problem
    said = f"As of {as_of}: commit {commit[:12]}."
    return Standing(ledger=ledger, words=said, commit=commit, day=day)
