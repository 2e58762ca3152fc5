"""Lockout sheets with gaps in them, and inspections by those who use them."""

from ledger.files.names import SITE_FILE
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
