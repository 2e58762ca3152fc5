"""Findings that announced a failure: how long the site was warned."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from ledger.assess.findings import Finding
from ledger.model.visits import Entry


@dataclass(frozen=True, slots=True, kw_only=True)
class Sign:
    """The first finding, still open, at a place that later failed; `days` lie between the two."""

    finding: Entry
    failure: Entry
    days: float


def signs_before(found: Sequence[Finding], failures: Sequence[Entry]) -> tuple[Sign, ...]:
    """The sign before each failure that had one, by the time of the failure.

    The time from a sign to the failure is the site's own P-F interval, cut short where the sign
    could have been seen before somebody looked.
    """
    signs = []
    for failure in failures:
        earlier = [
            finding.entry
            for finding in found
            if not finding.entry.failed
            and finding.entry.places[:1] == failure.places[:1]
            and finding.entry.when < failure.when
            and (finding.closed_by is None or finding.closed_by.when >= failure.when)
        ]
        if earlier:
            first = min(earlier, key=lambda entry: (entry.when, entry.ref))
            days = (failure.when - first.when) / timedelta(days=1)
            signs.append(Sign(finding=first, failure=failure, days=days))
    return tuple(signs)
