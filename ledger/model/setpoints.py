"""Settings of drives: what was proposed, agreed and withdrawn."""

from datetime import date

from ledger.model.policy import Approval, ApprovalFlaw
from ledger.model.references import EntryRef
from ledger.values import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change of a drive's setting; `unit` is `Hz` or `L/min`, `number` counts from 1.

    `flaws` are the rules of the site that `approved_by` breaks: with any, nobody has approved.
    With `taken_over` it is what the drive was set to when its file was begun.
    """

    number: int
    first_day: date = field(metadata={"key": "from"})
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
    taken_over: bool = False
    flaws: tuple[ApprovalFlaw, ...] = ()

    @property
    def approval(self) -> Approval:
        """What the file says of the approval; only where `approved_by` names somebody."""
        return Approval(
            proposer=self.proposed_by,
            approver=self.approved_by,
            stated_on=self.approved_on,
            first_day=self.first_day,
        )

    @property
    def approval_day(self) -> date:
        """The day of the approval; where none is given, the first day of the setting."""
        return self.approved_on or self.first_day

    @property
    def is_approved(self) -> bool:
        """Whether somebody who may has approved it."""
        return bool(self.approved_by) and not self.withdrawn and not self.flaws

    @property
    def is_only_claimed(self) -> bool:
        """Whether the file names an approver whose approval does not count."""
        return bool(self.approved_by) and not self.withdrawn and bool(self.flaws)

    @property
    def is_open_proposal(self) -> bool:
        return not self.approved_by and not self.withdrawn

    @property
    def may_be_taken_over(self) -> bool:
        """Whether it may be the value found on the drive when its file was begun.

        Only the first change of a file: it needs no reading and is no step from another.
        """
        return self.number == 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """The approved changes of a drive as they stand on a day: the one in force, and those to come.

    `coming` begin only after the day, by number.
    """

    change: Change | None = None
    coming: tuple[Change, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveSetpoints:
    """All changes of one machine's drive, newest last."""

    machine: str
    path: str
    changes: tuple[Change, ...]

    @property
    def evidence(self) -> frozenset[EntryRef]:
        """The entries that its changes name, without their steps."""
        return frozenset(ref.whole for change in self.changes for ref in change.evidence)

    @property
    def in_force(self) -> Change | None:
        """The newest approved change, begun already or not; `standing` tells what is on a day."""
        approved = [change for change in self.changes if change.is_approved]
        return approved[-1] if approved else None

    @property
    def only_taken_over(self) -> Change | None:
        """What the drive was set to when its file was begun, while no setting is approved."""
        first = self.changes[0] if self.changes and self.in_force is None else None
        return first if first is not None and first.taken_over and not first.withdrawn else None

    @property
    def proposals(self) -> tuple[Change, ...]:
        return tuple(change for change in self.changes if change.is_open_proposal)

    @property
    def claims(self) -> tuple[Change, ...]:
        """The changes whose approval does not count."""
        return tuple(change for change in self.changes if change.is_only_claimed)

    @property
    def pending_claims(self) -> tuple[Change, ...]:
        """The claims newer than what is in force: none has been approved properly since."""
        number = self.in_force.number if self.in_force else 0
        return tuple(change for change in self.claims if change.number > number)

    def on(self, day: date) -> Change | None:
        """The approved change in force on a day, from its first day on."""
        return self.standing(day).change

    def standing(self, day: date | None) -> Standing:
        """What is in force on a day and what comes after it: the one rule for every page.

        A change is in force from its first day on, that day included, until the next approved one
        begins. Without a day, as on a site that has filed nothing yet, the newest approved holds.
        """
        approved = [change for change in self.changes if change.is_approved]
        begun = [change for change in approved if day is None or change.first_day <= day]
        return Standing(
            change=begun[-1] if begun else None,
            coming=tuple(change for change in approved if change not in begun),
        )
