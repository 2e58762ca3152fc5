"""What an audit can find: irregularities, each with what to do about it, and notes beside them."""

from dataclasses import KW_ONLY, dataclass
from enum import StrEnum
from typing import Self

from ledger.history.commit import Commit
from ledger.proof.records import RecordChange


class Irregularity(StrEnum):
    """What makes a history not clean, the gravest first; the value is its heading."""

    remedy: str

    def __new__(cls, heading: str, remedy: str) -> Self:
        made = str.__new__(cls, heading)
        made._value_, made.remedy = heading, remedy
        return made

    REWRITTEN = (
        "History rewritten",
        "Ask who forced a push. Fetch the old head from another clone, and compare.",
    )
    DELETED = (
        "Filed records deleted",
        ("Take the file back from the commit before. What was wrong in it is put right by "
        "tunnelbook correct."),
    )
    EDITED = (
        "Filed records edited",
        ("Read both texts. Put the old text back; what was wrong in it is put right by "
        "tunnelbook correct."),
    )
    RENAMED = (
        "Filed records renamed or re-dated",
        "Give the file its old name back. A wrong time is put right by tunnelbook correct.",
    )
    APPROVED_DELETED = (
        "Approved settings deleted",
        "Put the change back in its place; end it by a new change below it.",
    )
    APPROVED_EDITED = (
        "Approved settings edited",
        "Put the approved values back; write the new ones as a new change with tunnelbook propose.",
    )
    MERGE_WROTE = (
        "Records written by a merge itself",
        "Ask who merged. File anew, by its own author, what the merge wrote.",
    )
    MERGE_DROPPED = "Records left out by a merge", "Put back what the merge left out."
    SIGNATURE = (
        "Bad signatures",
        "Ask the person named as committer. Until then, trust nothing that the commit says.",
    )
    SELF_APPROVED = (
        "Settings approved by their own proposer",
        "Let a second person look at the setting and approve it anew.",
    )
    NOT_PROVEN = (
        "Approvals that git does not bear out",
        ("Ask the approver whether they did. Next time, let them commit or merge the approval "
        "themselves."),
    )
    MAY_NOT_APPROVE = (
        "Approvals by people who may not approve",
        "Let one who may approve settings look at it and approve it anew.",
    )
    UNAPPROVED = (
        "Settings in force before they were approved",
        "Ask who set the drive before it was approved.",
    )
    GONE = (
        "Records by people who were not with the site",
        "Ask who wrote in their name. If the days in site.yaml are wrong, correct those.",
    )
    OTHER_AUTHOR = (
        "Visits filed by somebody else",
        ("Ask both people. An address that is missing goes under emails in site.yaml; one who was "
        "there as well goes under with in the visit."),
    )
    LATE = (
        "Visits filed late",
        ("Ask what held it up: a record written days later is memory. The limit is entry_within "
        "in site.yaml."),
    )
    AHEAD = (
        "Visits dated after their commit",
        "Look at the clock of the machine that committed, then ask the author.",
    )
    CLOCK = (
        "Commits dated before their parents",
        "Look at the clock of the machine that committed, then ask the committer.",
    )
    FORMAT = (
        "Sites moved to another format otherwise than the program does",
        ("Read what the commit changed beside the move. Put back what it should not have, in a new "
        "commit."),
    )
    PAGE = (
        "Book pages that do not match their sources",
        ("Run tunnelbook build, read what it changes, and commit the book. Nobody edits its pages "
        "by hand; but a book that names no version in the first line of its README.md may be "
        "that of another version of this program, and then differs as well."),
    )


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


@dataclass(frozen=True, slots=True)
class Item:
    """One irregularity or note, in words: what it is about, and both texts where one was touched.

    `new_text` is None where the record is gone; `old_text` where no text was touched.
    """

    kind: Irregularity | Note
    words: str
    _: KW_ONLY
    about: str = ""
    commit: Commit | None = None
    old_text: str | None = None
    new_text: str | None = None


def record_item(
    kind: Irregularity | Note, words: str, record: RecordChange, commit: Commit | None = None
) -> Item:
    """An item about a touched visit, with both its texts."""
    return Item(
        kind,
        words,
        about=record.path,
        commit=commit,
        old_text=record.old_text,
        new_text=record.new_text,
    )
