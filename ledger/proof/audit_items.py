"""What an audit can find: irregularities, each with what to do about it, and notes beside them."""

from enum import StrEnum

from ledger.history.commit import Commit
from ledger.proof.records import RecordChange
from ledger.values import KW_ONLY, dataclass


class Irregularity(StrEnum):
    """What makes a history not clean, the gravest first; the value is its heading."""

    REWRITTEN = "History rewritten"
    DELETED = "Filed records deleted"
    EDITED = "Filed records edited"
    RENAMED = "Filed records renamed or re-dated"
    APPROVED_DELETED = "Approved settings deleted"
    APPROVED_EDITED = "Approved settings edited"
    MERGE_WROTE = "Records changed by the merge commit itself"
    MERGE_DROPPED = "Records left out by a merge"
    SIGNATURE = "Bad signatures"
    RULES = "Rules, rights, addresses or keys changed without an approval"
    SELF_APPROVED = "Settings approved by their own proposer"
    PROPOSED_BY_APPROVER = "Settings proposed in another's name by their approver"
    TAKEN_OVER = "Settings marked as taken over, but added after their drive"
    NOT_PROVEN = "Approvals that git does not confirm"
    MAY_NOT_APPROVE = "Approvals by people who may not approve"
    PLAN_ALONE = "The plan weakened without the second person that the policy requires"
    UNAPPROVED = "Settings in force before they were approved"
    GONE = "Records by people who were not with the site"
    OTHER_AUTHOR = "Visits filed by somebody else"
    LATE = "Visits filed late"
    AHEAD = "Visits dated after their commit"
    CLOCK = "Commits dated before their parents, or without a date"
    FORMAT = "Sites moved to another format, but not as the program does it"
    AUDIT_TOUCHED = "Records of audits or approvals edited or deleted"
    PAGE = "Book pages that do not match their sources"


class Note(StrEnum):
    """What an auditor should know, though no rule is broken by it."""

    ANCHOR = "Where trust in people, keys and rules begins"
    TURNED = "Merges with their sides swapped"
    PLAN = "The plan weakened, or a lockout sheet changed"
    MOVED = "Records moved here from another folder"
    SHALLOW = "History that is not here"
    SHOWN_OTHERWISE = "History that this clone makes git show differently"
    BEGINNING = "Records from before the history begins"
    RULES = "People and policy changed"
    RENAMED = "Settings renamed with their machine"
    FORMAT = "Files moved to another format, as the program does it"
    AUDIT_REFUSED = "Records of audits that do not count"
    PUT_BACK = "Reverted edits of records"
    FILED_FOR = "Visits filed by one person for another, as the policy allows"
    AMENDED = "Records amended by their own author before they were merged"
    ALLOWED = "Settings approved by their own proposer, as the policy allowed"
    TAKEN_OVER = "Settings taken over with their drives"
    FILE_ALONE = "Approvals proved by the file alone"
    SIGNATURE = "Signatures that prove nothing here"
    NO_ADDRESS = "People without an address, so authors could not be checked against them"
    ODD_COMMIT = "Commits with headers that cannot be read"
    OTHER_VERSION = "Books of another version of this program, which were not compared"
    BOOK = "State of the book"


@dataclass(frozen=True, slots=True)
class Item:
    """One irregularity or note, in words: what it is about, and both texts where one was touched.

    `new_text` is None where the record is gone; `old_text` where no text was touched. An audit
    gives each irregularity an `ident` of its own, the same whenever it is found, and says in
    `closed` who accepted it and why; "" for an open one. `concerns` is the person whose doing it
    is, beside whoever made the commit; "" where it names none.
    """

    kind: Irregularity | Note
    words: str
    _: KW_ONLY
    about: str = ""
    commit: Commit | None = None
    concerns: str = ""
    old_text: str | None = None
    new_text: str | None = None
    ident: str = ""
    closed: str = ""


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


REMEDY = {
    Irregularity.REWRITTEN: (
        "Ask who forced a push, or joined two histories. Fetch the old head from another clone, "
        "and compare."
    ),
    Irregularity.DELETED: (
        "Restore the file from the commit before. Correct what was wrong in it with "
        "tunnelbook correct."
    ),
    Irregularity.EDITED: (
        "Read both texts. Put the old file back; correct what was wrong in it with "
        "tunnelbook correct."
    ),
    Irregularity.RENAMED: (
        "Give the file its old name back. Correct a wrong time with tunnelbook correct."
    ),
    Irregularity.APPROVED_DELETED: (
        "Put the change back in its place; to end it, add a new change below it."
    ),
    Irregularity.APPROVED_EDITED: (
        "Put the approved values back; write the new ones as a new change with tunnelbook propose."
    ),
    Irregularity.MERGE_WROTE: "Ask who merged. Let the author file again what the merge wrote.",
    Irregularity.MERGE_DROPPED: "Put back what the merge left out.",
    Irregularity.SIGNATURE: (
        "Ask the person named as committer. Until then, trust nothing that the commit says."
    ),
    Irregularity.RULES: (
        "Put the old values back. Then change them on a branch that one person writes and an "
        "approver merges or signs."
    ),
    Irregularity.PROPOSED_BY_APPROVER: (
        "Ask whom the file names as proposer. Next time, let them commit the proposal."
    ),
    Irregularity.PLAN_ALONE: (
        "Put the old plan back, or let a second person look at the new one and commit it again."
    ),
    Irregularity.SELF_APPROVED: "Let a second person look at the setting and approve it again.",
    Irregularity.TAKEN_OVER: (
        "Only the commit that starts the site or adds the drive can take a setting over. Take the "
        "key out; propose the setting with tunnelbook propose, on readings."
    ),
    Irregularity.NOT_PROVEN: (
        "Ask the approver whether they did. Next time, let them commit or merge the approval "
        "themselves."
    ),
    Irregularity.MAY_NOT_APPROVE: (
        "Let somebody who may approve settings look at it and approve it again."
    ),
    Irregularity.UNAPPROVED: "Ask who set the drive before it was approved.",
    Irregularity.GONE: (
        "Ask who wrote in their name. If the days in site.yaml are wrong, correct those."
    ),
    Irregularity.OTHER_AUTHOR: (
        "Ask both people. If an address is missing, its owner or an approver adds it under emails "
        "in site.yaml, and this entry disappears. If visits may be filed for others, say so with "
        "filed_for_others in site.yaml, and name in filed_by of the visit who filed it."
    ),
    Irregularity.LATE: (
        "Ask what delayed it: a record written days later is memory. The limit is entry_within "
        "in site.yaml."
    ),
    Irregularity.AHEAD: "Check the clock of the computer that committed, then ask the author.",
    Irregularity.CLOCK: "Check the clock of the computer that committed, then ask the committer.",
    Irregularity.FORMAT: (
        "Read what the commit changed besides the move. Put back what it should not have, in a new "
        "commit."
    ),
    Irregularity.AUDIT_TOUCHED: (
        "Put the old file back. The next audit can say what was accepted wrongly; "
        "a wrong approval is undone by another change."
    ),
    Irregularity.PAGE: (
        "Run tunnelbook build, read what it changes, and commit the book. Nobody edits its pages "
        "by hand; but a book that names no version in the first line of its README.md may be "
        "that of another version of this program, and differs for that reason."
    ),
}
