"""Lockout sheets with gaps in them, and machines tied back that cannot be, or already were."""

from ledger.files.names import SITE_FILE
from ledger.model.visits import TieBack
from ledger.rules.site_check import SiteCheck
from ledger.upkeep.lockout.found import inspected_by_users, sheets


def lockout_warnings(check: SiteCheck) -> None:
    """Gaps are asked about once a site has begun to write its energies down."""
    found = sheets(check.ledger)
    if any(sheet.machine.energy for sheet in found):
        for sheet in found:
            if not sheet.machine.energy:
                check.warn(
                    f"equipment/{sheet.machine.ident}.yaml",
                    ("kind",),
                    rule="energy-not-stated",
                    message="work here is done locked out, but no energy is written down",
                    expected="`energy` with everything that can move, press, burn or shock",
                    remedy="walk around the machine with its manual, and write down each source",
                )
        if check.ledger.site.automatic_start is None and any(one.is_in_tunnel for one in found):
            check.warn(
                SITE_FILE,
                (),
                rule="automatic-start-not-stated",
                message="no file says how the automatic start is locked for work in the tunnel",
                expected="`automatic_start`, with where it is isolated and how that is proved",
                remedy="find out what can start the line, and write it down",
            )
    for entry, machine in inspected_by_users(check.ledger):
        check.warn_of_entry(
            entry,
            rule="inspected-by-a-user",
            message=f"the lockout sheet of {machine.name} was inspected by somebody who "
            "worked with it in the last year",
            expected="an inspection by another person",
            remedy="ask somebody who does not use the sheet to inspect it",
        )


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
