"""The register as plain names and values, for JSON; settings in their own unit."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from ledger.assess.register import RegisterLine
from ledger.proof.review_rows import outlook_row


def register_rows(lines: Sequence[RegisterLine], day: date | None = None) -> list[dict[str, Any]]:
    """One row a drive: what is in force, since when, by whom, on what, and what it should give.

    `in_force` knows no day: it may begin after `day`. With a day, `in_force_that_day` is the
    setting that had begun by then.
    """
    return [_row(line) | _that_day(line, day) for line in lines]


def _that_day(line: RegisterLine, day: date | None) -> dict[str, Any]:
    if day is None:
        return {}
    then = None if line.setpoints is None else line.setpoints.on(day)
    told = None if then is None else {"setting": then.value, "since": then.first_day.isoformat()}
    return {"in_force_that_day": told}


def _row(line: RegisterLine) -> dict[str, Any]:
    return {
        "machine": line.machine.ident,
        "unit": line.ratio.unit,
        "in_force": None
        if line.in_force is None
        else {
            **outlook_row(line.in_force),
            "since": line.in_force.change.first_day.isoformat(),
            "line_rate_per_h": line.in_force.change.line_rate_per_h,
            "proposed_by": line.in_force.change.proposed_by,
            "approved_by": line.in_force.change.approved_by,
            "evidence": [str(ref) for ref in line.in_force.change.evidence],
        },
        "proposed": [outlook_row(outlook) for outlook in line.proposals],
        "claimed": [
            {
                **outlook_row(outlook),
                "number": outlook.change.number,
                "from": outlook.change.first_day.isoformat(),
                "proposed_by": outlook.change.proposed_by,
                "claimed_approved_by": outlook.change.approved_by,
                "does_not_count": [flaw.value for flaw in outlook.change.flaws],
            }
            for outlook in line.claims
        ],
    }
