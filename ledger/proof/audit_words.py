"""What to do about each offence that an audit can find, for the one who reads it."""

from ledger.proof.audit_items import Offence

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
