"""Whether a drive's ratio has moved since its first readings: wear of a motor, slip of a belt."""

from dataclasses import dataclass

from ledger.assess.ratios import DriveRatio, fit_of
from ledger.assess.speeds import SpeedResult
from ledger.compute.agreement import e_number
from ledger.compute.hydraulic import (
    NEW_MOTOR_RELATIVE_U,
    Efficiency,
    EfficiencyChange,
    efficiency_change,
    efficiency_of,
)
from ledger.compute.ratio import RatioFit
from ledger.model.machines import HydraulicDrive, Machine

WINDOW_READINGS = 6
"""Readings at either end that are held against each other; common practice, no source."""

MOVED_E_NUMBER = 1.5
"""E_n from which a ratio is said to have moved: three standard uncertainties.

With two, one steady drive in twenty would be accused; wear is watched by control charts besides.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class OilMotorWear:
    """Volumetric efficiency now, as the maker's file states it new, and as it was read first.

    `since_first` is None where there are too few readings to part the first from the last. A
    nameplate displacement that is off puts `now` off by the same share, but not `since_first`.
    """

    now: Efficiency
    new: Efficiency
    against_new: EfficiencyChange
    first: Efficiency | None
    since_first: EfficiencyChange | None

    @property
    def is_worn(self) -> bool:
        """Whether it has fallen since the first readings, by more than chance would make."""
        return self.since_first is not None and self.since_first.e_number < -MOVED_E_NUMBER


@dataclass(frozen=True, slots=True, kw_only=True)
class RatioChange:
    """The ratio of the last readings against the first since the mechanics were changed.

    `fraction` is the change as a share of the first ratio, `e_number` that of ISO 13528, both None
    where there are too few readings. `oil_motor` for a hydraulic drive only.
    """

    first: RatioFit | None
    last: RatioFit
    first_reading: SpeedResult
    last_reading: SpeedResult
    fraction: float | None
    e_number: float | None
    oil_motor: OilMotorWear | None

    @property
    def has_moved(self) -> bool:
        """Whether the difference is more than chance would make of a steady shaft."""
        return self.e_number is not None and abs(self.e_number) > MOVED_E_NUMBER


def ratio_change(machine: Machine, ratio: DriveRatio) -> RatioChange | None:
    """First against last readings since the last change of the mechanics; None without any."""
    since = (*ratio.outgrown, *ratio.used)
    last = fit_of(since[-WINDOW_READINGS:])
    if last is None:
        return None
    first = fit_of(since[:WINDOW_READINGS]) if len(since) >= 2 * WINDOW_READINGS else None
    return RatioChange(
        first=first,
        last=last,
        first_reading=since[0],
        last_reading=since[-1],
        fraction=None if first is None else last.rpm_per_unit / first.rpm_per_unit - 1,
        e_number=None
        if first is None
        else e_number(last.rpm_per_unit, last.expanded(), first.rpm_per_unit, first.expanded()),
        oil_motor=_oil_motor(machine.drive, first, last)
        if isinstance(machine.drive, HydraulicDrive)
        else None,
    )


def _oil_motor(drive: HydraulicDrive, first: RatioFit | None, last: RatioFit) -> OilMotorWear:
    now = efficiency_of(last, drive.motor_cm3, reduction=drive.reduction)
    stated = drive.volumetric_efficiency
    new = Efficiency(fraction=stated, u_fraction=NEW_MOTOR_RELATIVE_U * stated)
    was = (
        None if first is None else efficiency_of(first, drive.motor_cm3, reduction=drive.reduction)
    )
    return OilMotorWear(
        now=now,
        new=new,
        against_new=efficiency_change(new, now),
        first=was,
        since_first=None if was is None else efficiency_change(was, now),
    )
