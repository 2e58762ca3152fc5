"""What an audit can find: offences against the rules of the record, and notes beside them."""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

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
