"""Shaft speed per unit of a drive's setting, from the readings that still count."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from ledger.assess.speeds import SpeedResult
from ledger.compute.drive import nameplate_prior, slip_rpm_at_shaft
from ledger.compute.hydraulic import displacement_prior
from ledger.compute.mann_kendall import MannKendall, mann_kendall
from ledger.compute.ratio import RatioFit, RatioPrior, fit_ratio, predict, reading_of
from ledger.compute.speed import Speed
from ledger.model.ledger import Ledger
from ledger.model.machines import ElectricDrive, HydraulicDrive, Machine
from ledger.model.visits import Entry

RATIO_RESETS = frozenset(
    {"motor", "belt", "reduction", "gearbox", "hydraulic-motor", "brush-set", "drive"}
)
"""Changes after which earlier readings no longer tell the ratio."""

MOVES_BELOW_P = 0.05
"""Readings that cannot share one ratio and rise or fall with time at this p have moved."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveRatio:
    """What is known of one drive's ratio, in r/min per Hz or per L/min.

    `used` are the readings it rests on, by time; `since` is the change of the mechanics that set
    `set_aside` earlier ones aside. `outgrown` are readings since then that the shaft has moved
    away from, by time: a belt that slips, a motor that leaks. `fit` is None where there is neither
    a reading nor a nameplate.
    """

    machine: str
    unit: str
    used: tuple[SpeedResult, ...]
    outgrown: tuple[SpeedResult, ...]
    set_aside: tuple[SpeedResult, ...]
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
    ledger: Ledger,
    machine: Machine,
    results: Iterable[SpeedResult],
    before: Entry | None = None,
    as_of: date | None = None,
) -> DriveRatio:
    """The ratio of a machine's drive from its speed results.

    With `before`, only from what was read ahead of that entry: the prediction that the entry's
    own reading is held against. With `as_of`, only from what was known at the end of that day.
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
        and (as_of is None or result.entry.day <= as_of)
    ]
    since = last_reset(ledger, machine, before, as_of)
    counting = [result for result in own if since is None or _is_earlier(since, result.entry)]
    used = _as_it_runs_now(counting)
    prior = _prior(drive)
    return DriveRatio(
        machine=machine.ident,
        unit=unit,
        used=tuple(used),
        outgrown=tuple(counting[: len(counting) - len(used)]),
        set_aside=tuple(own[: len(own) - len(counting)]),
        since=since,
        prior=prior,
        slip_rpm=_slip_rpm(drive),
        fit=fit_of(used, prior),
    )


def fit_of(used: Sequence[SpeedResult], prior: RatioPrior | None = None) -> RatioFit | None:
    """The ratio of readings that have a speed and a setting; None without any and a prior."""
    readings = [
        reading_of(str(result.entry.ref), result.setting, result.speed)
        for result in used
        if result.speed is not None and result.setting is not None
    ]
    if not readings and prior is None:
        return None
    return fit_ratio(readings, prior)


def last_reset(
    ledger: Ledger, machine: Machine, before: Entry | None = None, as_of: date | None = None
) -> Entry | None:
    """The last change of the mechanics that the ratio depends on."""
    last = None
    for entry in ledger.standing_at(machine.ident):
        if (
            entry.changed in RATIO_RESETS
            and (before is None or _is_earlier(entry, before))
            and (as_of is None or entry.day <= as_of)
        ):
            last = entry
    return last


def _is_earlier(entry: Entry, other: Entry) -> bool:
    return (entry.when, entry.ref) < (other.when, other.ref)


def _as_it_runs_now(counting: Sequence[SpeedResult]) -> Sequence[SpeedResult]:
    """The latest readings that one ratio can explain, as far as time explains the others.

    Averaging over a shaft that slows month by month would predict a speed it no longer has. So
    where readings are inconsistent and their ratios rise or fall with time (Mann-Kendall), the
    earlier half is left behind, and the rest asked again. A single wild reading makes no trend
    and stays, to be named; steady shafts lose readings in about one case in 400.
    """
    left = counting
    while (fit := fit_of(left)) is not None and fit.inflated:
        ratios = [
            result.speed.rpm / result.setting for result in left if result.speed and result.setting
        ]
        trend = mann_kendall(ratios)
        if not isinstance(trend, MannKendall) or trend.p_value >= MOVES_BELOW_P:
            break
        left = left[len(left) // 2 :]
    return left


def _prior(drive: ElectricDrive | HydraulicDrive | None) -> RatioPrior | None:
    match drive:
        case ElectricDrive(rated_rpm=float(rated), base_hz=float(base), reduction=float(reduction)):
            return nameplate_prior(rated, base, reduction)
        case HydraulicDrive():
            return displacement_prior(
                drive.motor_cm3,
                reduction=drive.reduction,
                efficiency=drive.volumetric_efficiency,
            )
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
