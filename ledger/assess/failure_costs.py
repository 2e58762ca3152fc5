"""What the failures of a machine cost, as far as it was filed: line stopped and work done."""

from dataclasses import dataclass

from ledger.assess.reliability import MachineReliability
from ledger.model.ledger import Ledger


@dataclass(frozen=True, slots=True, kw_only=True)
class FailureCosts:
    """Minutes over all failures; the rates are those of the site, None where it states none."""

    failures: int
    stopped_minutes: float
    work_minutes: float
    down_per_h: float | None
    labour_per_h: float | None

    @property
    def total(self) -> float:
        """Money for the minutes that have a rate."""
        stopped = self.stopped_minutes / 60 * (self.down_per_h or 0.0)
        return stopped + self.work_minutes / 60 * (self.labour_per_h or 0.0)


def failure_costs(ledger: Ledger, found: MachineReliability) -> FailureCosts | None:
    """None where nothing that has a rate was filed of the failures.

    The work is that of the failures' own entries and of those that close them.
    """
    costs = ledger.site.costs
    if costs is None:
        return None
    failed = {failure.entry.ref for failure in found.failures}
    told = FailureCosts(
        failures=len(failed),
        stopped_minutes=sum(one.entry.stopped_minutes or 0.0 for one in found.failures),
        work_minutes=sum(
            entry.minutes or 0.0
            for entry in ledger.standing
            if entry.ref in failed or entry.closes in failed
        ),
        down_per_h=costs.down_per_h,
        labour_per_h=costs.labour_per_h,
    )
    return told if told.total > 0 else None
