"""Shaft speed per unit of a drive's setting, from the readings that still count."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ledger.assess.speeds import SpeedResult
from ledger.compute.drive import NAMEPLATE_RELATIVE_U, nameplate_prior, slip_rpm_at_shaft
from ledger.compute.ratio import RatioFit, RatioPrior, fit_ratio, predict, reading_of
from ledger.compute.speed import Speed
from ledger.model.ledger import Ledger
from ledger.model.machines import ElectricDrive, HydraulicDrive, Machine
from ledger.model.visits import Entry

RATIO_RESETS = frozenset(
    {"motor", "belt", "reduction", "gearbox", "hydraulic-motor", "brush-set", "drive"}
)
"""Changes after which earlier readings no longer tell the ratio."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveRatio:
    """What is known of one drive's ratio, in r/min per Hz or per L/min.

    `used` are the readings it rests on, by time; `since` is the change of the mechanics that set
    earlier ones aside. `fit` is None where there is neither a reading nor a nameplate.
    """

    machine: str
    unit: str
    used: tuple[SpeedResult, ...]
    set_aside: int
    since: Entry | None
    prior: RatioPrior | None
    slip_rpm: float
    fit: RatioFit | None

    def speed_at(self, setting: float) -> Speed | None:
        """The speed to expect at a setting, with its uncertainty."""
        if self.fit is None:
            return None
        return predict(self.fit, setting, slip_rpm=self.slip_rpm)


def drive_ratio(
    ledger: Ledger, machine: Machine, results: Iterable[SpeedResult], before: Entry | None = None
) -> DriveRatio:
    """The ratio of a machine's drive from its speed results.

    With `before`, only from what was read ahead of that entry: the prediction that the entry's
    own reading is held against.
    """
    drive = machine.drive
    unit = "L/min" if isinstance(drive, HydraulicDrive) else "Hz"
    own = [
        result
        for result in results
        if result.machine == machine.ident
        and result.speed is not None
        and result.setting
        and result.unit == unit
        and (before is None or _is_earlier(result.entry, before))
    ]
    since = last_reset(ledger, machine, before)
    used = [result for result in own if since is None or _is_earlier(since, result.entry)]
    prior = _prior(drive)
    return DriveRatio(
        machine=machine.ident,
        unit=unit,
        used=tuple(used),
        set_aside=len(own) - len(used),
        since=since,
        prior=prior,
        slip_rpm=_slip_rpm(drive),
        fit=_fit(used, prior),
    )


def last_reset(ledger: Ledger, machine: Machine, before: Entry | None = None) -> Entry | None:
    """The last change of the mechanics that the ratio depends on."""
    last = None
    for entry in ledger.standing_at(machine.ident):
        if entry.changed in RATIO_RESETS and (before is None or _is_earlier(entry, before)):
            last = entry
    return last


def _is_earlier(entry: Entry, other: Entry) -> bool:
    return (entry.when, entry.ref) < (other.when, other.ref)


def _fit(used: Sequence[SpeedResult], prior: RatioPrior | None) -> RatioFit | None:
    readings = [
        reading_of(str(result.entry.ref), result.setting, result.speed)
        for result in used
        if result.speed is not None and result.setting is not None
    ]
    if not readings and prior is None:
        return None
    return fit_ratio(readings, prior)


def _prior(drive: ElectricDrive | HydraulicDrive | None) -> RatioPrior | None:
    match drive:
        case ElectricDrive(rated_rpm=float(rated), base_hz=float(base), reduction=float(reduction)):
            return nameplate_prior(rated, base, reduction)
        case HydraulicDrive():
            ratio = 1000 * drive.volumetric_efficiency / (drive.motor_cm3 * drive.reduction)
            return RatioPrior(rpm_per_unit=ratio, u_rpm_per_unit=NAMEPLATE_RELATIVE_U * ratio)
        case _:
            return None


def _slip_rpm(drive: ElectricDrive | HydraulicDrive | None) -> float:
    match drive:
        case ElectricDrive(
            rated_rpm=float(rated),
            base_hz=float(base),
            poles=int(poles),
            reduction=float(reduction),
        ):
            return slip_rpm_at_shaft(rated, base, poles, reduction)
        case _:
            return 0.0
