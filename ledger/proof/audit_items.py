"""What an audit can find: offences against the rules of the record, and notes beside them.

What an audit found, drawn together: one commit's offences of one kind are told as one.

What to do about each offence that an audit can find, for the one who reads it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from itertools import groupby

from ledger.history.commit import Commit


class Offence(StrEnum):
    """What makes a history not clean, the gravest first; the value is its heading."""

    REWRITTEN = "History rewritten"
    DELETED = "Filed records deleted"
    EDITED = "Filed records edited"
    RENAMED = "Filed records renamed or re-dated"
    APPROVED_DELETED = "Approved settings deleted"
    APPROVED_EDITED = "Approved settings edited"
    MERGE_WROTE = "Records written by a merge itself"
    MERGE_DROPPED = "Records left out by a merge"
    SIGNATURE = "Bad signatures"
    SELF_APPROVED = "Settings approved by their own proposer"
    NOT_PROVEN = "Approvals that git does not bear out"
    MAY_NOT_APPROVE = "Approvals by people who may not approve"
    UNAPPROVED = "Settings in force before they were approved"
    GONE = "Records by people who were not with the site"
    OTHER_AUTHOR = "Visits filed by somebody else"
    LATE = "Visits filed late"
    AHEAD = "Visits dated after their commit"
    CLOCK = "Commits dated before their parents"
    FORMAT = "Sites moved to another format otherwise than the program does"
    PAGE = "Book pages that do not match their sources"


class Note(StrEnum):
    """What an auditor should know, though no rule is broken by it."""

    RULES_BY_OTHERS = "What proves an approval changed by one not known to be an approver"
    MOVED = "Records moved here from another folder"
    SHALLOW = "History that is not here"
    SHOWN_OTHERWISE = "History that this clone would have git show otherwise"
    BEGINNING = "Records older than their history"
    RULES = "People and policy changed"
    FORMAT = "Files moved to another format, as the program does"
    PUT_BACK = "Records put back as they were"
    AMENDED = "Records amended by their own author before they were merged"
    ALLOWED = "Settings approved by their own proposer, as the policy allowed"
    FILE_ALONE = "Approvals that rest on the file alone"
    SIGNATURE = "Signatures that prove nothing here"
    NO_ADDRESS = "People without an address, so that authors were not held against them"
    ODD_COMMIT = "Commits whose headers cannot be read as they should be"
    OTHER_VERSION = "Books of another version of this program, which were not compared"
    BOOK = "State of the book"


@dataclass(frozen=True, slots=True, kw_only=True)
class CommitMark:
    """A commit as an auditor looks it up."""

    oid: str
    at: datetime | None
    author: str
    email: str
    subject: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One offence or note: what it is about, in words, and both texts where a text was touched.

    `new_text` is None where the record is gone; `old_text` where no text was touched.
    """

    kind: Offence | Note
    about: str
    words: str
    commit: CommitMark | None = None
    old_text: str | None = None
    new_text: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PageCheck:
    """The book of one commit: how many files, and what is wrong with which, by path.

    `days` are the days its pages say they look from. `unusable` says why the sources of that
    commit could not be rendered, `other_version` which other version of this program rendered the
    book; with either nothing was compared.
    """

    commit: str
    files: int
    days: tuple[date, ...]
    faults: tuple[tuple[str, str], ...]
    unusable: str = ""
    other_version: str = ""


def mark_of(commit: Commit) -> CommitMark:
    return CommitMark(
        oid=commit.oid,
        at=commit.committer.at,
        author=commit.author.name,
        email=commit.author.email,
        subject=commit.subject,
    )


_NAMES_SHOWN = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Items of one kind, all of one commit, or all of none."""

    kind: Offence | Note
    commit: CommitMark | None
    items: tuple[Item, ...]

    @property
    def about(self) -> str:
        """The one thing that it is about, or the first few by their short names."""
        if len(self.items) == 1:
            return self.items[0].about
        names = list(dict.fromkeys(_short(item.about) for item in self.items if item.about))
        more = len(names) - _NAMES_SHOWN
        return "; ".join(names[:_NAMES_SHOWN]) + (f" and {more} more" if more > 0 else "")

    @property
    def words(self) -> str:
        """What is said of all, or else of the first."""
        first = self.items[0].words
        alike = all(item.words == first for item in self.items)
        return first if alike else f"of the first: {first}"


def of_each_kind(
    items: Sequence[Item], *, every: bool
) -> Iterator[tuple[Offence | Note, list[Group]]]:
    """The groups of each kind, in the order that the items come in; `every` leaves each alone."""
    for kind, of_kind in groupby(items, key=lambda item: item.kind):
        yield kind, _groups(kind, list(of_kind), every=every)


def commit_count(groups: Sequence[Group]) -> int:
    """In how many commits."""
    return len({group.commit.oid for group in groups if group.commit is not None})


def _groups(kind: Offence | Note, items: Sequence[Item], *, every: bool) -> list[Group]:
    by_commit: dict[object, list[Item]] = {}
    for number, item in enumerate(items):
        alone = every or item.commit is None
        by_commit.setdefault(number if alone else item.commit, []).append(item)
    return [
        Group(kind=kind, commit=members[0].commit, items=tuple(members))
        for members in by_commit.values()
    ]


def _short(path: str) -> str:
    """The name of a file without its folders, which for a visit says when and by whom."""
    return path.rpartition("/")[2].replace(".yaml", "")


REMEDY = {
    Offence.REWRITTEN: (
        "Ask who forced a push. Fetch the old head from another clone, and compare."
    ),
    Offence.DELETED: (
        "Take the file back from the commit before. What was wrong in it is put right by "
        "tunnelbook correct."
    ),
    Offence.EDITED: (
        "Read both texts. Put the old text back; what was wrong in it is put right by "
        "tunnelbook correct."
    ),
    Offence.RENAMED: (
        "Give the file its old name back. A wrong time is put right by tunnelbook correct."
    ),
    Offence.APPROVED_DELETED: "Put the change back in its place; end it by a new change below it.",
    Offence.APPROVED_EDITED: (
        "Put the approved values back; write the new ones as a new change with tunnelbook propose."
    ),
    Offence.MERGE_WROTE: "Ask who merged. File anew, by its own author, what the merge wrote.",
    Offence.MERGE_DROPPED: "Put back what the merge left out.",
    Offence.SIGNATURE: (
        "Ask the person named as committer. Until then, trust nothing that the commit says."
    ),
    Offence.SELF_APPROVED: "Let a second person look at the setting and approve it anew.",
    Offence.NOT_PROVEN: (
        "Ask the approver whether they did. Next time, let them commit or merge the approval "
        "themselves."
    ),
    Offence.MAY_NOT_APPROVE: "Let one who may approve settings look at it and approve it anew.",
    Offence.UNAPPROVED: "Ask who set the drive before it was approved.",
    Offence.GONE: "Ask who wrote in their name. If the days in site.yaml are wrong, correct those.",
    Offence.OTHER_AUTHOR: (
        "Ask both people. An address that is missing goes under emails in site.yaml; one who was "
        "there as well goes under with in the visit."
    ),
    Offence.LATE: (
        "Ask what held it up: a record written days later is memory. The limit is entry_within "
        "in site.yaml."
    ),
    Offence.AHEAD: "Look at the clock of the machine that committed, then ask the author.",
    Offence.CLOCK: "Look at the clock of the machine that committed, then ask the committer.",
    Offence.FORMAT: (
        "Read what the commit changed beside the move. Put back what it should not have, in a new "
        "commit."
    ),
    Offence.PAGE: (
        "Run tunnelbook build, read what it changes, and commit the book. Nobody edits its pages "
        "by hand; but a book that names no version in the first line of its README.md may be "
        "that of another version of this program, and then differs as well."
    ),
}
