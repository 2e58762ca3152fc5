"""What was found wrong, and whether it has been put right."""

from datetime import date

from ledger.model.ledger import Ledger
from ledger.model.visits import Entry
from ledger.values import dataclass

_URGENCY_RANK = {"now": 0, "soon": 1, "planned": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One finding; open until a later entry closes it."""

    entry: Entry
    closed_by: Entry | None

    @property
    def is_open(self) -> bool:
        return self.closed_by is None

    def days_open(self, as_of: date) -> int:
        until = self.closed_by.day if self.closed_by else as_of
        return (until - self.entry.day).days


def findings(ledger: Ledger) -> tuple[Finding, ...]:
    """Every finding that stands, by time."""
    return tuple(
        Finding(entry=entry, closed_by=ledger.closed_by.get(ledger.origin(entry).ref))
        for entry in ledger.events
        if entry.finding
    )


def open_findings(ledger: Ledger, as_of: date | None = None) -> tuple[Finding, ...]:
    """Findings open on a day (by default: by all that is filed), the most urgent first."""
    day = as_of or date.max
    found = [
        one
        for one in findings(ledger)
        if one.entry.day <= day and (one.closed_by is None or one.closed_by.day > day)
    ]
    found.sort(key=lambda f: (_URGENCY_RANK[f.entry.urgency], f.entry.when, f.entry.ref))
    return tuple(found)
