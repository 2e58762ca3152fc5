"""Machines out of action while the line runs: tied back, until a later entry closes that."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta

from ledger.model.machines import Absence
from ledger.model.references import EntryRef
from ledger.model.site import Site
from ledger.model.visits import Entry
from ledger.values import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class TieBack:
    """One machine, out of action from `since` until the visit of `closed_by`; open where None.

    `ref` is what closes it: the entry as first filed. `first_day` is that of `since` at the site.
    """

    entry: Entry
    ref: EntryRef
    machine: str
    since: datetime
    first_day: date
    closed_by: Entry | None

    @property
    def why(self) -> str:
        return self.entry.tied_back

    def is_open(self, as_of: date) -> bool:
        """Whether the machine is out of action at the end of the day."""
        return self.first_day <= as_of and (self.closed_by is None or self.closed_by.day > as_of)

    @property
    def away(self) -> Absence:
        """The days on which the machine was out of action to the end."""
        last = None if self.closed_by is None else self.closed_by.day - timedelta(days=1)
        return Absence(first=self.first_day, last=last)


def tie_backs_of(
    tied: Iterable[tuple[EntryRef, Entry]], closed_by: Mapping[EntryRef, Entry], site: Site
) -> tuple[TieBack, ...]:
    """By time. `tied` are standing entries, each with the reference of what was filed first."""
    found = []
    for ref, entry in tied:
        if entry.tied_back and entry.places:
            since = entry.content.since or entry.when
            found.append(
                TieBack(
                    entry=entry,
                    ref=ref,
                    machine=entry.places[0].machine,
                    since=since,
                    first_day=since.astimezone(site.zone).date(),
                    closed_by=closed_by.get(ref),
                )
            )
    return tuple(sorted(found, key=lambda one: (one.since, one.ref)))
