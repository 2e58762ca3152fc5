"""Results as plain rows of names and values, for JSON and flat tables."""

from collections.abc import Sequence
from typing import Any

from ledger.assess.due import DueWork
from ledger.assess.follow_up import FollowUp, FollowUpState
from ledger.assess.speeds import SpeedResult, raw_words
from ledger.model.ledger import Ledger

Row = dict[str, Any]


def due_rows(ledger: Ledger, work: Sequence[DueWork]) -> list[Row]:
    """One row a task and place that may be done now; dates by ISO 8601."""
    return [
        {
            "station": ledger.machines[one.place.machine].station,
            "place": str(one.place),
            "task": one.task.ident,
            "title": one.task.title,
            "state": one.due.state.value,
            "due_on": None if one.due.due_on is None else one.due.due_on.isoformat(),
            "overdue_days": one.due.overdue_days,
            "because": None if one.due.because is None else str(one.due.because),
            "predicted": one.due.predicted,
            "last_done": None if one.last_done is None else one.last_done.day.isoformat(),
            "put_off": None if one.put_off is None else one.put_off.reason,
            "minutes": one.task.minutes,
            "lockout": one.task.lockout,
            "needs": sorted(one.task.needs),
        }
        for one in work
        if one.is_on_the_walk
    ]


def follow_up_rows(asked: Sequence[FollowUp]) -> list[Row]:
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
        for one in asked
        if one.is_open
        for last in (one.proof.last,)
    ]


def speed_rows(results: Sequence[SpeedResult]) -> list[Row]:
    """One row a speed reading; speeds in r/min, settings in their own unit."""
    return [
        {
            "entry": str(result.entry.ref),
            "day": result.entry.day.isoformat(),
            "machine": result.machine,
            "read": None if result.entry.speed is None else raw_words(result.entry.speed),
            "rpm": None if result.speed is None else result.speed.rpm,
            "standard_uncertainty_rpm": None if result.speed is None else result.speed.u_rpm,
            "expanded_uncertainty_rpm": None if result.speed is None else result.speed.expanded(),
            "setting": result.setting,
            "setting_unit": result.unit or None,
            "line_rate_per_h": result.line_rate_per_h,
            "band_low_rpm": None if result.band is None else result.band.low,
            "band_high_rpm": None if result.band is None else result.band.high,
            "verdict": None if result.verdict is None else result.verdict.value,
            "p_in_band": result.p_in_band,
            "flaw": result.flaw or None,
        }
        for result in results
    ]
