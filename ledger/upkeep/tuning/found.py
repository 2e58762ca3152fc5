"""Which setting puts a machine's shaft in its band at a line rate, and how sure that is.

Also whether the drive's ratio has moved since its first readings: wear of a motor, slip of a belt.
"""

import math
from collections.abc import Sequence
from datetime import date
from functools import partial

from ledger.compute import tuning as formulas
from ledger.compute.band import Band, Verdict, p_in_band, verdict_of, wider_than
from ledger.compute.ratio import (
    NEW_MOTOR_RELATIVE_U,
    DriveCaution,
    Efficiency,
    EfficiencyChange,
    RatioFit,
    drive_cautions,
    efficiency_change,
    efficiency_of,
    predict,
    setting_for,
)
from ledger.compute.speed import Speed, e_number
from ledger.compute.tuning import NextReading, Recommendation, TimeAgain
from ledger.model.ledger import Ledger
from ledger.model.machines import ElectricDrive, HydraulicDrive, Machine
from ledger.model.setpoints import Change
from ledger.model.site import Policy
from ledger.upkeep.register.found import standing_of
from ledger.upkeep.speeds.found import SpeedResult, band_of, by_machine, target_of
from ledger.upkeep.speeds.ratios import (
    MOVED_E_NUMBER,
    DriveRatio,
    drive_ratio,
    fit_of,
    is_of_instrument,
)
from ledger.values import dataclass, replace

WINDOW_READINGS = 6
"""Readings at either end that are held against each other; common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveLimits:
    """What a drive can be set to, in its unit."""

    lowest: float
    highest: float
    step: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingOutlook:
    """What to expect of a setting at a line rate; `p_in_band` is None where there is no band."""

    setting: float
    line_rate_per_h: float
    speed: Speed
    band: Band | None
    p_in_band: float | None
    cautions: tuple[DriveCaution, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RateSetting:
    """The setting for one line rate.

    `exact` is the setting that gives the target by the measured ratio, before it is rounded and
    held in limits, and `range` how sure that is. `by_constant_slip` is the other bracket: what it
    would be if the motor's slip in r/min did not change with frequency. `step_in_force` is how far
    the recommended setting lies from the one in force, and `beyond_policy_step` whether that is
    more than the site allows in one change.
    """

    line_rate_per_h: float
    band: Band
    band_clamped: bool
    exact: float
    range: Band
    by_constant_slip: float | None
    recommended: Recommendation
    cautions: tuple[DriveCaution, ...]
    next_readings: tuple[NextReading, ...]
    step_in_force: float | None
    beyond_policy_step: bool

    @property
    def verdict(self) -> Verdict:
        """Whether the recommended setting puts the shaft in its band, as far as can be told."""
        return verdict_of(self.recommended.speed, self.band)


@dataclass(frozen=True, slots=True, kw_only=True)
class CountFirst:
    """Why no setting is worth trying yet, and what to count at `setting` before.

    `speed` is what is expected there, of `readings` counts; `disagree` where they are too few and
    disagree, otherwise they are wider than the band. `more` is None where counting alone will not
    settle it.
    """

    setting: float
    speed: Speed
    band: Band
    readings: int
    disagree: bool
    more: TimeAgain | None


@dataclass(frozen=True, slots=True, kw_only=True)
class OilMotorWear:
    """Volumetric efficiency now, as the maker's file states it new, and as it was read first.

    `since_first` is None where there are too few readings to part the first from the last. A
    nameplate displacement that is off puts `now` off by the same share, but not `since_first`.
    """

    now: Efficiency
    new: Efficiency
    since_first: EfficiencyChange | None

    @property
    def first(self) -> Efficiency | None:
        return self.since_first.first if self.since_first else None

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

    first_reading: SpeedResult
    last_reading: SpeedResult
    fraction: float | None
    e_number: float | None
    oil_motor: OilMotorWear | None

    @property
    def has_moved(self) -> bool:
        """Whether the difference is more than chance would make of a steady shaft."""
        return self.e_number is not None and abs(self.e_number) > MOVED_E_NUMBER


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuning:
    """All that can be said of one drive's setting.

    `limits` is None for a drive that nothing can be set on; `gap` says in words why there is no
    recommendation, where there is none; `count_first` that the readings are too doubtful for one.
    `change_in_force` and `coming` are the approved changes as they stand on the day asked for.
    `in_force` is what to expect of the one in force, at the line rate it was approved for.
    """

    machine: Machine
    ratio: DriveRatio
    limits: DriveLimits | None
    rates: tuple[RateSetting, ...]
    gap: str
    count_first: CountFirst | None
    change_in_force: Change | None
    coming: tuple[Change, ...]
    in_force: SettingOutlook | None
    ratio_change: RatioChange | None


def tune(
    ledger: Ledger,
    machine: Machine,
    results: Sequence[SpeedResult],
    *,
    line_rates_per_h: Sequence[float] = (),
    target_rpm: float | None = None,
    as_of: date | None = None,
) -> Tuning:
    """Settings for the line rates, by default those of the site, from the readings of the machine.

    With `target_rpm` that speed is aimed at, at every line rate, in place of the bands' targets.
    Steps are from the setting in force on `as_of`, by default on the last day on record. What is
    predicted of a shaft that drifts is for `as_of`, by default for the day of its last reading.

    Raises:
        ValueError: a line rate or the target is not above 0.
    """
    rates = sorted({*(line_rates_per_h or rates_of(ledger))})
    asked = rates if target_rpm is None else (*rates, target_rpm)
    if any(not (math.isfinite(number) and number > 0) for number in asked):
        raise ValueError("expected line rates and a target speed above 0")
    ratio = drive_ratio(ledger, machine, results).on(as_of)
    limits = drive_limits(machine)
    standing = standing_of(ledger, machine.ident, as_of)
    in_force = standing.change
    gap = _gap(machine, ratio, limits)
    count_first = None if gap else _count_first(machine, ratio, rates, in_force)
    policy, found = ledger.site.policy, []
    if not gap and count_first is None and limits is not None:
        at = partial(_for_rate, machine, ratio, limits, policy, in_force, target_rpm)
        found = [at(rate) for rate in rates]
    return Tuning(
        machine=machine,
        ratio=ratio,
        limits=limits,
        rates=tuple(found),
        gap=gap,
        count_first=count_first,
        change_in_force=in_force,
        coming=standing.coming,
        in_force=None
        if in_force is None
        else outlook_at(machine, ratio, in_force.value, in_force.line_rate_per_h),
        ratio_change=ratio_change(machine, ratio),
    )


def tunings(ledger: Ledger, results: Sequence[SpeedResult]) -> tuple[Tuning, ...]:
    """Every drive that can be set, in walking order; from the sources alone, on no day."""
    of_machine = by_machine(results)
    return tuple(
        tune(ledger, machine, of_machine[machine.ident])
        for machine in ledger.machines.values()
        if machine.has_setpoint
    )


def rates_of(ledger: Ledger) -> tuple[float, ...]:
    """The site's line rates, that in force among them, lowest first."""
    line = ledger.site.line
    return tuple(sorted({*line.line_rates_per_h, line.line_rate_per_h}))


def drive_limits(machine: Machine) -> DriveLimits | None:
    """What the machine's drive can be set to; None where nothing can be, or limits are reversed.

    Where the limits begin at nought the lowest setting is the first step: at nought nothing turns.
    """
    match machine.drive:
        case ElectricDrive(hz_limits=(low, high), hz_step=step):
            pass
        case HydraulicDrive(flow_limits_lpm=(low, high), flow_step_lpm=step):
            pass
        case _:
            return None
    lowest = max(low, step)
    if math.floor(high / step + 1e-9) < math.ceil(lowest / step - 1e-9):
        return None
    return DriveLimits(lowest=lowest, highest=high, step=step)


def _gap(machine: Machine, ratio: DriveRatio, limits: DriveLimits | None) -> str:
    if not machine.has_setpoint:
        return "its drive has no limits in its file, so there is nothing to set"
    if limits is None:
        return "no step of its drive lies between the limits in its file"
    if ratio.fit is not None and any(is_of_instrument(key) for key in ratio.fit.apart):
        return "what it was read with does not agree: find out first which instrument is right"
    if ratio.fit is None:
        return "neither a reading nor a nameplate tells its ratio: read the speed once"
    if band_of(machine, 1.0)[0] is None:
        return "its file states no speed band to aim at"
    return ""


def _count_first(
    machine: Machine, ratio: DriveRatio, rates: Sequence[float], in_force: Change | None
) -> CountFirst | None:
    """Asks of the narrowest band, at the setting that the drive stands at."""
    fit = ratio.fit
    bands = [band for rate in rates if (band := band_of(machine, rate)[0]) is not None]
    if fit is None or not bands:
        return None
    band = min(bands, key=lambda one: one.high - one.low)
    setting = fit.centre_setting if in_force is None else in_force.value
    if setting is None:
        setting = setting_for(fit, band.middle)
    speed = ratio.speed_at(setting) or predict(fit, setting)
    disagree = formulas.few_disagree(fit)
    if not disagree and not wider_than(speed, band):
        return None
    return CountFirst(
        setting=setting,
        speed=speed,
        band=band,
        readings=fit.readings,
        disagree=disagree,
        more=formulas.timings_to_settle(replace(fit, u_new_setting=0.0), band, setting),
    )


def _for_rate(
    machine: Machine,
    ratio: DriveRatio,
    limits: DriveLimits,
    policy: Policy,
    in_force: Change | None,
    target_rpm: float | None,
    line_rate_per_h: float,
) -> RateSetting:
    band, clamped = band_of(machine, line_rate_per_h)
    target = target_of(machine, line_rate_per_h) if target_rpm is None else target_rpm
    fit, slip = ratio.fit, ratio.slip_rpm
    if band is None or target is None or fit is None:
        raise ValueError(f"{machine.ident} has no speed band or no ratio")
    recommended = formulas.recommend(
        fit,
        band,
        step=limits.step,
        lowest=limits.lowest,
        highest=limits.highest,
        target_rpm=target,
        slip_rpm=slip,
    )
    step, allowed = None, math.inf
    if in_force is not None:
        if abs(recommended.setting - in_force.value) < limits.step / 1000:
            # One step of the drive's display, converted from another unit than the file's.
            recommended = replace(recommended, setting=in_force.value)
        step = recommended.setting - in_force.value
        allowed = largest_step(policy, ratio.unit, in_force.value)
    setting = recommended.setting
    return RateSetting(
        line_rate_per_h=line_rate_per_h,
        band=band,
        band_clamped=clamped,
        exact=setting_for(fit, target),
        range=setting_range(fit, target, slip_rpm=slip),
        by_constant_slip=_by_constant_slip(fit, target, slip),
        recommended=recommended,
        cautions=_cautions(machine, setting),
        next_readings=formulas.next_readings(fit, band, setting, slip_rpm=slip),
        step_in_force=step,
        beyond_policy_step=step is not None and abs(step) > allowed + limits.step * 1e-6,
    )


def largest_step(policy: Policy, unit: str, in_force: float) -> float:
    """The largest change of a setting that the site allows at once, in the setting's unit."""
    if unit == "Hz":
        return policy.max_step_hz
    return policy.max_step_flow_percent / 100 * in_force


def setting_range(fit: RatioFit, target_rpm: float, *, slip_rpm: float = 0.0) -> Band:
    """Between which settings the one lies that gives a speed, from the doubt of the prediction.

    At the setting s that should give the target t the speed is t ± U, so that the true ratio lies
    from (t - U)/s to (t + U)/s, and the true setting from s t/(t + U) to s t/(t - U) (coverage
    about 95 %). The end is infinite where the ratio is so vague that nothing bounds it.
    """
    exact = setting_for(fit, target_rpm)
    expanded = predict(fit, exact, slip_rpm=slip_rpm).expanded()
    return Band(
        low=exact * target_rpm / (target_rpm + expanded),
        high=exact * target_rpm / (target_rpm - expanded) if expanded < target_rpm else math.inf,
    )


def _by_constant_slip(fit: RatioFit, target_rpm: float, slip_rpm: float) -> float | None:
    """The setting if the shaft lost the same r/min to slip at every frequency.

    The line through the measured speed k c at the readings' centre c has then the slope of the
    synchronous speed, k + slip/c, instead of passing through the origin.
    """
    if fit.centre_setting is None or slip_rpm == 0:
        return None
    centre = fit.centre_setting
    slope = fit.rpm_per_unit + slip_rpm / centre
    return centre + (target_rpm - fit.rpm_per_unit * centre) / slope


def outlook_at(
    machine: Machine, ratio: DriveRatio, setting: float, line_rate_per_h: float
) -> SettingOutlook | None:
    """The speed to expect at a setting, limits or not; None where no ratio is known."""
    speed = ratio.speed_at(setting)
    if speed is None:
        return None
    band, _ = band_of(machine, line_rate_per_h)
    return SettingOutlook(
        setting=setting,
        line_rate_per_h=line_rate_per_h,
        speed=speed,
        band=band,
        p_in_band=None if band is None else p_in_band(speed.rpm, speed.u_rpm, band, speed.dof),
        cautions=_cautions(machine, setting),
    )


def _cautions(machine: Machine, setting: float) -> tuple[DriveCaution, ...]:
    match machine.drive:
        case ElectricDrive(base_hz=float(base), self_cooled=self_cooled) if setting > 0:
            return drive_cautions(setting, base, self_cooled=self_cooled)
        case _:
            return ()


def ratio_change(machine: Machine, ratio: DriveRatio) -> RatioChange | None:
    """First against last readings since the last change of the mechanics; None without any."""
    since = (*ratio.outgrown, *ratio.used)
    # A dial that nobody moved says the same all along.
    moved = len({result.setting for result in since}) > 1
    fit = partial(fit_of, dial_step=ratio.dial_step if moved else 0.0)
    last = fit(since[-WINDOW_READINGS:])
    if last is None:
        return None
    first = fit(since[:WINDOW_READINGS]) if len(since) >= 2 * WINDOW_READINGS else None
    fraction = apart = None
    if first is not None:
        k, was = last.rpm_per_unit, first.rpm_per_unit
        fraction, apart = k / was - 1, e_number(k, last.expanded(), was, first.expanded())
    drive = machine.drive
    return RatioChange(
        first_reading=since[0],
        last_reading=since[-1],
        fraction=fraction,
        e_number=apart,
        oil_motor=_oil_motor(drive, first, last) if isinstance(drive, HydraulicDrive) else None,
    )


def _oil_motor(drive: HydraulicDrive, first: RatioFit | None, last: RatioFit) -> OilMotorWear:
    def efficiency(fit: RatioFit) -> Efficiency:
        return efficiency_of(fit, drive.motor_cm3, reduction=drive.reduction)

    now, was = efficiency(last), None if first is None else efficiency(first)
    stated = drive.volumetric_efficiency
    return OilMotorWear(
        now=now,
        new=Efficiency(fraction=stated, u_fraction=NEW_MOTOR_RELATIVE_U * stated),
        since_first=None if was is None else efficiency_change(was, now),
    )
