"""The ledger as it was known at the end of a day, from the files of today."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date

from ledger.model.ledger import Ledger
from ledger.model.references import EntryRef
from ledger.model.setpoints import Change, DriveSetpoints
from ledger.model.visits import Entry, Visit


def known_on(ledger: Ledger, day: date) -> Ledger:
    """Without what was filed, corrected, proposed or approved only after the day.

    A visit is known from its day on, or from the day of `entered_at` where that is later. A change
    proposed later is left out, one approved later is a proposal still. What carries no date stays
    as it is today: machines, tasks, people, site, parts, and the withdrawal of a change; for those
    there are the commits. The ledger itself where nothing is later.
    """
    visits = [visit for visit in ledger.visits if _known_from(ledger, visit) <= day]
    drives = {machine: _drive_on(drive, day) for machine, drive in ledger.setpoints.items()}
    if len(visits) == len(ledger.visits) and drives == ledger.setpoints:
        return ledger
    known = _entries_on(visits)
    return replace(
        ledger,
        visits=tuple(
            replace(visit, entries=tuple(known[e.ref] for e in visit.entries if e.ref in known))
            for visit in visits
        ),
        setpoints={machine: drive for machine, drive in drives.items() if drive.changes},
        corrections={
            original: known[later.ref]
            for original, later in ledger.corrections.items()
            if later.ref in known
        },
    )


def _known_from(ledger: Ledger, visit: Visit) -> date:
    if visit.entered_at is None:
        return visit.day
    return max(visit.day, visit.entered_at.astimezone(ledger.site.zone).date())


def _entries_on(visits: Iterable[Visit]) -> dict[EntryRef, Entry]:
    """The entries of the visits, as far as what they refer to is known.

    A visit may be written down days after one that corrects or closes an entry of it.
    """
    known: dict[EntryRef, Entry] = {}
    for visit in visits:
        for entry in visit.entries:
            if entry.corrects is None or entry.corrects in known:
                known[entry.ref] = entry
    return {
        ref: entry if entry.closes is None or entry.closes in known else replace(entry, closes=None)
        for ref, entry in known.items()
    }


def _drive_on(drive: DriveSetpoints, day: date) -> DriveSetpoints:
    changes = tuple(
        _change_on(change, day)
        for change in drive.changes
        if change.proposed_on is None or change.proposed_on <= day
    )
    return replace(drive, changes=changes)


def _change_on(change: Change, day: date) -> Change:
    if change.approved_on is None or change.approved_on <= day:
        return change
    return replace(change, approved_by="", approved_on=None, flaws=())
