"""Settings of drives: what was proposed, agreed and withdrawn."""

from dataclasses import dataclass
from datetime import date

from ledger.model.references import EntryRef


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change of a drive's setting; `unit` is `Hz` or `L/min`, `number` counts from 1."""

    number: int
    first_day: date
    value: float
    unit: str
    line_rate_per_h: float
    why: str
    evidence: tuple[EntryRef, ...] = ()
    proposed_by: str
    proposed_on: date | None = None
    approved_by: str = ""
    approved_on: date | None = None
    withdrawn: str = ""

    @property
    def is_approved(self) -> bool:
        return bool(self.approved_by) and not self.withdrawn

    @property
    def is_open_proposal(self) -> bool:
        return not self.approved_by and not self.withdrawn


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveSetpoints:
    """All changes of one machine's drive, newest last."""

    machine: str
    path: str
    changes: tuple[Change, ...]

    @property
    def in_force(self) -> Change | None:
        """The newest approved change, whatever the day: the register knows no clock."""
        approved = [change for change in self.changes if change.is_approved]
        return approved[-1] if approved else None

    @property
    def proposals(self) -> tuple[Change, ...]:
        return tuple(change for change in self.changes if change.is_open_proposal)

    def on(self, day: date) -> Change | None:
        """The approved change in force on a day."""
        begun = [c for c in self.changes if c.is_approved and c.first_day <= day]
        return begun[-1] if begun else None
