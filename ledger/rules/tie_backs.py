"""Machines filed as tied back that cannot be, or already were."""

from ledger.model.visits import TieBack
from ledger.rules.site_check import SiteCheck

_THE_LINE_ITSELF = frozenset({"conveyor", "safety-circuit"})


def tie_back_warnings(check: SiteCheck) -> None:
    """What the line cannot run without, tied back twice, and a day after the visit."""
    last: dict[str, TieBack] = {}
    for one in check.ledger.tie_backs:
        if check.ledger.machines[one.machine].kind in _THE_LINE_ITSELF:
            check.warn_of_entry(
                one.entry,
                "at",
                rule="line-tied-back",
                message=f"the line does not run while `{one.machine}` is out of action",
                expected="a machine beside which the line runs on",
                remedy="file a finding, with `failed` and `stopped_minutes` where the line stopped",
            )
        before = last.get(one.machine)
        if before is not None and (before.closed_by is None or before.closed_by.when > one.since):
            check.warn_of_entry(
                one.entry,
                "tied_back",
                rule="tied-back-twice",
                message=f"`{one.machine}` is tied back already, by `{before.ref}`",
                expected="one entry until it is closed",
                remedy="close the earlier entry, or void this one by a correction",
            )
        if one.since > one.entry.when:
            check.warn_of_entry(
                one.entry,
                "since",
                rule="tied-back-later",
                message="`since` is after the visit that files it",
                expected="the time of the visit, or one before it",
                remedy="correct the time, or leave `since` out",
            )
        last[one.machine] = one
