"""Lockout sheets as rows for JSON."""

from collections.abc import Sequence

from ledger.book.flat import JsonRow
from ledger.model.ledger import Ledger
from ledger.upkeep.lockout.found import Sheet, steps_of


def sheet_rows(ledger: Ledger, found: Sequence[Sheet]) -> list[JsonRow]:
    """One row an isolation, by the machine that the sheet is for."""
    return [
        {
            "for": sheet.machine.ident,
            "lock": step.name,
            "because": step.why or None,
            "energy": step.energy,
            "isolate_at": step.how.isolate_at,
            "device": step.how.device,
            "release": step.how.release or None,
            "wait_minutes": step.how.wait_minutes,
            "prove": step.how.prove,
        }
        for sheet in found
        for step in steps_of(ledger, sheet)
    ]
