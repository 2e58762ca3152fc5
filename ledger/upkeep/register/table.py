"""The register as plain names and values, for JSON; settings in their own unit."""

from collections.abc import Sequence
from datetime import date

from ledger.book.flat import JsonRow, fields_of
from ledger.upkeep.register.found import FollowUp, FollowUpState, Outlook, RegisterLine


def follow_up_rows(follow_ups: Sequence[FollowUp]) -> list[JsonRow]:
    """One row a setting that no reading has confirmed, with the keys of `due_rows` and its own.

    Settings in Hz or L/min, speeds in r/min.
    """
    return [
        {
            "station": one.machine.station,
            "place": one.machine.ident,
            "task": None,
            "title": f"Confirm setting {one.change.number}",
            "state": "overdue" if one.overdue_days else "due",
            "due_on": one.due_on.isoformat(),
            "overdue_days": one.overdue_days,
            "because": None,
            "predicted": False,
            "last_done": None if last is None else last.result.entry.day.isoformat(),
            "put_off": None,
            "minutes": None,
            "lockout": False,
            "needs": [],
            "setting": one.change.value,
            "setting_unit": one.change.unit,
            "in_force_since": one.change.first_day.isoformat(),
            "expected_rpm": None if one.expected is None else one.expected.rpm,
            "expanded_uncertainty_rpm": None if one.expected is None else one.expected.expanded(),
            "last_e_number": None if last is None else last.e_number,
            "does_not_hold": one.state is FollowUpState.DOES_NOT_HOLD,
        }
        for one in follow_ups
        if one.is_open
        for last in (one.proof.last,)
    ]


def outlook_row(expected: Outlook) -> JsonRow:
    speed, band = expected.speed, expected.band
    return {
        "setting": expected.change.value,
        "predicted_rpm": None if speed is None else speed.rpm,
        "expanded_uncertainty_rpm": None if speed is None else speed.expanded(),
        "band_low_rpm": None if band is None else band.low,
        "band_high_rpm": None if band is None else band.high,
        "p_in_band": expected.p_in_band,
    }


def register_rows(lines: Sequence[RegisterLine], day: date | None = None) -> list[JsonRow]:
    """One row a drive: what is in force, since when, by whom, on what, and what it should give.

    `in_force` knows no day: it may begin after `day`. With a day, `in_force_that_day` is the
    setting that had begun by then.
    """
    return [_row(line) | (_that_day(line, day) if day else {}) for line in lines]


def _that_day(line: RegisterLine, day: date) -> JsonRow:
    then = None if line.setpoints is None else line.setpoints.on(day)
    setting = None if then is None else {"setting": then.value, "since": then.first_day.isoformat()}
    return {"in_force_that_day": setting}


def _row(line: RegisterLine) -> JsonRow:
    return {
        "machine": line.machine.ident,
        "unit": line.ratio.unit,
        "in_force": None if line.in_force is None else _in_force(line.in_force),
        "proposed": [outlook_row(outlook) for outlook in line.proposals],
        "claimed": [_claim(outlook) for outlook in line.claims],
    }


def _in_force(outlook: Outlook) -> JsonRow:
    change = outlook.change
    return {
        **outlook_row(outlook),
        "since": change.first_day.isoformat(),
        **fields_of(change, "line_rate_per_h", "proposed_by", "approved_by"),
        "evidence": [str(ref) for ref in change.evidence],
    }


def _claim(outlook: Outlook) -> JsonRow:
    change = outlook.change
    return {
        **outlook_row(outlook),
        "number": change.number,
        "from": change.first_day.isoformat(),
        "proposed_by": change.proposed_by,
        "claimed_approved_by": change.approved_by,
        "does_not_count": [flaw.value for flaw in change.flaws],
    }
