"""Shaft speeds as a series that shows wear and not the setting, and a hydraulic motor's efficiency.

A reading is turned into the speed at the setting in force by the ratio of the two settings, so
that a changed setpoint does not look like drift. In force is meant as of the last reading: a
setting that has been approved and not begun changes no speed yet.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ledger.assess.drift_series import (
    SPEED,
    Measured,
    Rebase,
    Series,
    SeriesReading,
    ordered,
    rebases_of,
)
from ledger.assess.ratios import drive_ratio
from ledger.assess.speeds import SpeedResult, band_of
from ledger.compute.hydraulic import Efficiency, EfficiencyChange, efficiency_change, efficiency_of
from ledger.compute.ratio import fit_ratio, reading_of
from ledger.compute.speed import Speed
from ledger.compute.stretch import BASELINE_READINGS
from ledger.model.ledger import Ledger
from ledger.model.machines import HydraulicDrive, Machine
from ledger.model.references import EntryRef, Place

# As few as tell the level now from the level then, as many as still mean now.
_NOW_READINGS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class EfficiencyFall:
    """Volumetric efficiency of a hydraulic motor: first readings since renewal against the last."""

    baseline: Efficiency
    now: Efficiency
    change: EfficiencyChange
    baseline_entries: tuple[EntryRef, ...]
    now_entries: tuple[EntryRef, ...]


def speed_series(ledger: Ledger, results: Sequence[SpeedResult]) -> tuple[Series, ...]:
    """One series for each machine whose speed was read, in walking order.

    A drive that can be set needs the setting noted beside the reading; those without are left
    out. The limits are the speed band at the line rate of the setting in force.
    """
    own: dict[str, list[SpeedResult]] = {}
    for result in results:
        if result.speed is not None:
            own.setdefault(result.machine, []).append(result)
    return tuple(
        _series(ledger, machine, own[machine.ident])
        for machine in ledger.machines.values()
        if machine.ident in own
    )


def efficiency_fall(
    ledger: Ledger,
    series: Series,
    readings: Sequence[SeriesReading],
    results: Sequence[SpeedResult],
) -> EfficiencyFall | None:
    """The fall of a hydraulic motor's efficiency over the readings; None for other series.

    None too where first and last readings would overlap.
    """
    drive = ledger.machines[series.place.machine].drive
    if series.kind != SPEED or not isinstance(drive, HydraulicDrive):
        return None
    if len(readings) < BASELINE_READINGS + _NOW_READINGS:
        return None
    of_ref = {result.entry.ref: result for result in results}
    then = [of_ref[reading.entry.ref] for reading in readings[:BASELINE_READINGS]]
    now = [of_ref[reading.entry.ref] for reading in readings[-_NOW_READINGS:]]
    if any(not result.setting for result in (*then, *now)):
        return None
    baseline, last = _efficiency(then, drive), _efficiency(now, drive)
    return EfficiencyFall(
        baseline=baseline,
        now=last,
        change=efficiency_change(baseline, last),
        baseline_entries=tuple(result.entry.ref for result in then),
        now_entries=tuple(result.entry.ref for result in now),
    )


def _series(ledger: Ledger, machine: Machine, own: Sequence[SpeedResult]) -> Series:
    drive = ledger.setpoints.get(machine.ident)
    last_day = max(result.entry.day for result in own)
    in_force = None if drive is None else drive.on(last_day) or drive.in_force
    unit = "L/min" if isinstance(machine.drive, HydraulicDrive) else "Hz"
    noted = [result for result in own if result.setting and result.unit == unit]
    if not machine.has_setpoint:
        setting = None
    elif in_force is not None:
        setting = in_force.value
    else:
        setting = noted[-1].setting if noted else None
    slip_rpm = drive_ratio(ledger, machine, own).slip_rpm
    chosen = noted if machine.has_setpoint else own
    readings = [
        SeriesReading(
            entry=result.entry,
            measured=_at_setting(result.speed, result.setting, setting, slip_rpm),
        )
        for result in chosen
        if result.speed is not None
    ]
    rate = in_force.line_rate_per_h if in_force else ledger.site.line.line_rate_per_h
    band, _ = band_of(machine, rate)
    place = Place(machine.ident)
    set_anew = [
        Rebase(
            day=change.first_day,
            what="new setting",
            ends_trend=False,
            evidence=change.evidence,
        )
        for change in (drive.changes if drive else ())
        if change.is_approved
    ]
    return Series(
        kind=SPEED,
        place=place,
        readings=ordered(readings),
        lower=band.low if band else None,
        upper=band.high if band else None,
        rebases=tuple(
            sorted((*rebases_of(ledger, SPEED, place), *set_anew), key=lambda r: (r.day, r.what))
        ),
    )


def _at_setting(
    speed: Speed, read_at: float | None, setting: float | None, slip_rpm: float
) -> Measured:
    """The speed that a reading means at another setting of the drive.

    An induction motor's slip may stay constant instead of going with the setting; the difference
    is the half-width of a rectangle (GUM 4.3.7), as in `compute.ratio.predict`.
    """
    # Half the expanded uncertainty, so that few degrees of freedom count as they should.
    u_rpm = speed.expanded() / 2
    if setting is None or not read_at:
        return Measured(value=speed.rpm, u=u_rpm)
    scale = setting / read_at
    bracket = slip_rpm * (1 - scale)
    return Measured(value=speed.rpm * scale, u=math.hypot(u_rpm * scale, bracket / math.sqrt(3)))


def _efficiency(results: Sequence[SpeedResult], drive: HydraulicDrive) -> Efficiency:
    fit = fit_ratio(
        [
            reading_of(str(result.entry.ref), result.setting, result.speed)
            for result in results
            if result.speed is not None and result.setting
        ]
    )
    return efficiency_of(fit, drive.motor_cm3, reduction=drive.reduction)
