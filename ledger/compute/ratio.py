"""Speed per unit of drive setting, from readings or nameplates: a line through the origin.

The setting is the frequency of an electric drive in Hz or the flow to a hydraulic motor in L/min;
the ratio is in r/min per that unit. The measured ratio rules: one worked out from nameplates hides
a slipping belt and a reduction of "about 20". After the fit stand the nameplates of induction
motors, then hydraulic motors and pumps: speed from flow, torque, power, and wear seen as
efficiency, with flow in L/min, displacement in cm³ a turn and pressure in bar (ISO 4391
quantities, in the working units that makers' catalogues use).
"""

import enum
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ledger.compute.distributions import chi2_quantile, normal_quantile
from ledger.compute.numbers import check_above_zero, check_not_negative, check_share, weighted_mean
from ledger.compute.speed import COVERAGE, Speed, coverage_factor, e_number

CONSISTENT = 0.95
"""Readings are called inconsistent when chi-square exceeds this quantile."""


MEASURED_ENOUGH = 2
"""From this many readings on, the prior no longer takes part."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RatioReading:
    """A speed read at a setting. `key` names the reading; `u_rpm` is a standard uncertainty.

    `u_setting` is the standard uncertainty of the setting itself, for a flow that is metered;
    the frequency of a drive is exact beside everything else.

    Raises:
        ValueError: the setting or u_rpm is not above 0, or a number is not finite.
    """

    setting: float
    rpm: float
    u_rpm: float
    key: str
    u_setting: float = 0.0

    def __post_init__(self) -> None:
        numbers = (self.setting, self.rpm, self.u_rpm, self.u_setting)
        if not all(math.isfinite(number) for number in numbers):
            raise ValueError(f"expected finite numbers in the reading {self.key}")
        if not (self.setting > 0 and self.u_rpm > 0 and self.u_setting >= 0):
            raise ValueError(
                f"expected a setting and an uncertainty above 0 in the reading {self.key}"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class RatioPrior:
    """What is known of the ratio before anything is read, with a wide standard uncertainty."""

    rpm_per_unit: float
    u_rpm_per_unit: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RatioFit:
    """A fitted ratio, how sure it is, and whether its readings agree.

    `u_rpm_per_unit` already includes the Birge ratio when `inflated`; `dof` belongs to it.
    `centre_setting` is where the readings lie, weighted as they weigh in the ratio. `disagreeing`
    names readings, sorted. `prior_disagrees` says that the nameplate and the readings cannot both
    be right. What is left out is as without readings.
    """

    rpm_per_unit: float
    u_rpm_per_unit: float
    dof: float = math.inf
    readings: int = 0
    centre_setting: float | None = None
    chi2: float = 0.0
    chi2_dof: int = 0
    birge_ratio: float = 1.0
    inflated: bool = False
    disagreeing: tuple[str, ...] = ()
    used_prior: bool = False
    prior_disagrees: bool = False

    def expanded(self) -> float:
        """The expanded uncertainty of the ratio, k by `coverage_factor`."""
        return coverage_factor(self.dof) * self.u_rpm_per_unit


def reading_of(key: str, setting: float, speed: Speed, u_setting: float = 0.0) -> RatioReading:
    """A reading for the fit; few degrees of freedom widen its standard uncertainty to U/2."""
    return RatioReading(
        key=key,
        setting=setting,
        rpm=speed.rpm,
        u_rpm=speed.expanded() / 2,
        u_setting=u_setting,
    )


def fit_ratio(readings: Sequence[RatioReading], prior: RatioPrior | None = None) -> RatioFit:
    """Weighted least squares of rpm = k setting, with u(k) = 1/√Σ(setting²/u²).

    Fewer than two readings are joined with the prior, if there is one, as if it were a reading;
    a single reading that disagrees with the prior rules alone. The readings are inconsistent
    when χ² is beyond its 95 % quantile; then u(k) grows by the Birge ratio √(χ²/ν) and gets
    ν = m - 1 degrees of freedom (R. T. Birge, Phys. Rev. 40, 1932, 207; the t distribution after
    O. Bodnar and C. Elster, Metrologia 51, 2014, 516). Nothing is left out of the fit: readings
    that disagree are named, and it is for a person to say which is wrong.

    Raises:
        ValueError: neither a reading nor a prior, or two readings of one key.
    """
    if len({reading.key for reading in readings}) < len(readings):
        raise ValueError("expected every reading to have a key of its own")
    if not readings:
        if prior is None:
            raise ValueError("expected at least one reading or a nameplate to go by")
        return RatioFit(
            rpm_per_unit=prior.rpm_per_unit, u_rpm_per_unit=prior.u_rpm_per_unit, used_prior=True
        )
    measured = _fit_alone(readings)
    if prior is None:
        return measured
    e = e_number(
        measured.rpm_per_unit, measured.expanded(), prior.rpm_per_unit, 2 * prior.u_rpm_per_unit
    )
    measured = replace(measured, prior_disagrees=abs(e) > 1)
    if len(readings) >= MEASURED_ENOUGH or measured.prior_disagrees:
        return measured
    ratio, u_ratio = weighted_mean(
        (measured.rpm_per_unit, prior.rpm_per_unit),
        (measured.u_rpm_per_unit**2, prior.u_rpm_per_unit**2),
    )
    return replace(measured, rpm_per_unit=ratio, u_rpm_per_unit=u_ratio, used_prior=True)


def predict(fit: RatioFit, setting: float, *, slip_rpm: float = 0.0) -> Speed:
    """The speed to expect at a setting, and how sure that is.

    The estimate is by ratio. An induction motor's slip adds a doubt away from where the readings
    lie: with the slip of `slip_rpm` at the shaft, constant slip instead of constant ratio would
    differ by slip_rpm (1 - setting/centre), and that is taken as the half-width of a rectangle
    (GUM 4.3.7). No term is added for a shaft that differs from day to day: it shows as readings
    that scatter, which the fit already answers, and a later reading brings its own uncertainty.
    """
    u_rpm = fit.u_rpm_per_unit * setting
    if fit.centre_setting is not None:
        bracket = slip_rpm * (1 - setting / fit.centre_setting)
        u_rpm = math.hypot(u_rpm, bracket / math.sqrt(3))
    return Speed(rpm=fit.rpm_per_unit * setting, u_rpm=u_rpm, dof=fit.dof)


def setting_for(fit: RatioFit, rpm: float) -> float:
    """The setting at which the fit predicts a speed, neither rounded nor held to limits."""
    return rpm / fit.rpm_per_unit


def _fit_alone(readings: Sequence[RatioReading]) -> RatioFit:
    ratio, u_ratio = _slope(readings)
    totals = [_u_total(reading, ratio) for reading in readings]
    chi2 = math.fsum(
        ((reading.rpm - ratio * reading.setting) / u) ** 2
        for reading, u in zip(readings, totals, strict=True)
    )
    chi2_dof = len(readings) - 1
    birge = math.sqrt(chi2 / chi2_dof) if chi2_dof else 1.0
    inflated = chi2_dof > 0 and chi2 > chi2_quantile(CONSISTENT, chi2_dof)
    leverage = [reading.setting / u**2 for reading, u in zip(readings, totals, strict=True)]
    return RatioFit(
        rpm_per_unit=ratio,
        u_rpm_per_unit=u_ratio * (birge if inflated else 1.0),
        dof=float(chi2_dof) if inflated else math.inf,
        readings=len(readings),
        centre_setting=math.fsum(
            share * reading.setting for share, reading in zip(leverage, readings, strict=True)
        )
        / math.fsum(leverage),
        chi2=chi2,
        chi2_dof=chi2_dof,
        birge_ratio=birge,
        inflated=inflated,
        disagreeing=_disagreeing(readings),
    )


def _slope(readings: Sequence[RatioReading]) -> tuple[float, float]:
    """Ratio and standard uncertainty; the doubt of a setting counts at the plain ratio first."""
    plain = _plain_ratio(readings)
    weighted = [(r, _u_total(r, plain)) for r in readings]
    square = math.fsum((r.setting / u) ** 2 for r, u in weighted)
    return math.fsum(r.setting * r.rpm / u**2 for r, u in weighted) / square, 1 / math.sqrt(square)


def _plain_ratio(readings: Sequence[RatioReading]) -> float:
    return math.fsum(r.rpm for r in readings) / math.fsum(r.setting for r in readings)


def _u_total(reading: RatioReading, ratio: float) -> float:
    return math.hypot(reading.u_rpm, ratio * reading.u_setting)


def _disagreeing(readings: Sequence[RatioReading]) -> tuple[str, ...]:
    """Keys of readings that do not agree with the fit of the others, found worst first.

    Each is judged by its E_n number (ISO 13528), with k raised so that the whole row of readings,
    not each one, is wrongly accused in 4.55 % of cases (Šidák). The worst is set aside and the
    rest judged anew, so that one gross reading does not accuse its neighbours. Of two that
    disagree both are named.
    """
    left = list(readings)
    named: list[str] = []
    while len(left) > 1:
        comparisons = len(left) if len(left) > 2 else 1
        factor = normal_quantile((1 + COVERAGE ** (1 / comparisons)) / 2)
        worst, index = max(
            (abs(score), index) for index, score in enumerate(_e_against_others(left, factor))
        )
        if worst <= 1:
            break
        if len(left) == 2:
            named.extend(reading.key for reading in left)
            break
        named.append(left.pop(index).key)
    return tuple(sorted(named))


def _e_against_others(readings: Sequence[RatioReading], factor: float) -> list[float]:
    """E_n of each reading against the ratio of all others."""
    plain = _plain_ratio(readings)
    totals = [_u_total(reading, plain) for reading in readings]
    products = [r.setting * r.rpm / u**2 for r, u in zip(readings, totals, strict=True)]
    squares = [(r.setting / u) ** 2 for r, u in zip(readings, totals, strict=True)]
    return [
        e_number(
            reading.rpm,
            factor * u,
            product / square * reading.setting,
            factor * reading.setting / math.sqrt(square),
        )
        for reading, u, product, square in zip(
            readings, totals, _sums_of_others(products), _sums_of_others(squares), strict=True
        )
    ]


def _sums_of_others(terms: Sequence[float]) -> list[float]:
    """For each term the sum of the others; subtracting from the total would lose small ones."""
    before = list(itertools.accumulate(terms[:-1], initial=0.0))
    after = list(itertools.accumulate(reversed(terms[1:]), initial=0.0))
    return [left + right for left, right in zip(before, reversed(after), strict=True)]


NAMEPLATE_RELATIVE_U = 0.05
"""Relative standard uncertainty of a ratio worked out from nameplates.

Common practice, no source: a reduction stated as "about 20", a belt's slip and a motor's load
together are trusted to one part in ten with two standard uncertainties.
"""


SELF_COOLED_LEAST_SHARE = 0.5
"""Share of base frequency below which a motor's own fan is in doubt (drive makers' guides)."""


class DriveCaution(enum.StrEnum):
    """What to ask the maker of the motor before running at a frequency."""

    SELF_COOLED_SLOW = (
        "below half of base frequency a motor cooled by its own fan may run hot on a constant "
        "load: ask the motor's maker"
    )
    ABOVE_BASE = (
        "above base frequency the motor gives less torque, and bearings and guards see more "
        "speed: ask the makers of motor and machine"
    )


def synchronous_rpm(hz: float, poles: int) -> float:
    """Synchronous speed n_s = 120 f/p (IEC 60034-1; NEMA MG 1).

    Raises:
        ValueError: the frequency is not above 0, or poles is not an even number of 2 or more.
    """
    check_above_zero(hz=hz)
    if poles < 2 or poles % 2:
        raise ValueError(f"expected an even number of poles, 2 or more, not {poles!r}")
    return 120 * hz / poles


def slip(rated_rpm: float, base_hz: float, poles: int) -> float:
    """Slip s = (n_s - n)/n_s as a fraction (IEC 60034-1; NEMA MG 1).

    Raises:
        ValueError: as `synchronous_rpm`, or the rated speed is not above 0.
    """
    check_above_zero(rated_rpm=rated_rpm)
    synchronous = synchronous_rpm(base_hz, poles)
    return (synchronous - rated_rpm) / synchronous


def shaft_rpm(motor_rpm: float, reduction: float) -> float:
    """Speed behind a reduction of motor turns to one shaft turn.

    Raises:
        ValueError: the reduction is not above 0.
    """
    check_above_zero(reduction=reduction)
    return motor_rpm / reduction


def slip_rpm_at_shaft(rated_rpm: float, base_hz: float, poles: int, reduction: float) -> float:
    """Speed lost to slip at rated load, seen behind the reduction, in r/min.

    Raises:
        ValueError: as `slip` and `shaft_rpm`.
    """
    lost = slip(rated_rpm, base_hz, poles) * synchronous_rpm(base_hz, poles)
    return shaft_rpm(lost, reduction)


def nameplate_prior(
    rated_rpm: float,
    base_hz: float,
    reduction: float,
    *,
    relative_u: float = NAMEPLATE_RELATIVE_U,
) -> RatioPrior:
    """Shaft r/min per Hz from the nameplates of motor and reduction, widely uncertain.

    Raises:
        ValueError: a quantity is not above 0.
    """
    check_above_zero(base_hz=base_hz, rated_rpm=rated_rpm, relative_u=relative_u)
    ratio = shaft_rpm(rated_rpm, reduction) / base_hz
    return RatioPrior(rpm_per_unit=ratio, u_rpm_per_unit=relative_u * ratio)


def drive_cautions(hz: float, base_hz: float, *, self_cooled: bool) -> tuple[DriveCaution, ...]:
    """What to beware of at a frequency; an empty answer does not say that it is safe.

    Raises:
        ValueError: a frequency is not above 0.
    """
    check_above_zero(hz=hz, base_hz=base_hz)
    found = []
    if self_cooled and hz < SELF_COOLED_LEAST_SHARE * base_hz:
        found.append(DriveCaution.SELF_COOLED_SLOW)
    if hz > base_hz:
        found.append(DriveCaution.ABOVE_BASE)
    return tuple(found)


NEW_MOTOR_EFFICIENCY = 0.93

NEW_MOTOR_RELATIVE_U = 0.05
"""Volumetric efficiency of a motor nothing is known of, and its relative standard uncertainty.

Common practice, no source.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Efficiency:
    """A volumetric efficiency as a fraction, its standard uncertainty and degrees of freedom."""

    fraction: float
    u_fraction: float
    dof: float = math.inf

    def expanded(self, coverage: float = COVERAGE) -> float:
        """The expanded uncertainty, k by `coverage_factor`."""
        return coverage_factor(self.dof, coverage) * self.u_fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class EfficiencyChange:
    """How far an efficiency has fallen since its baseline.

    `worn` is True when it has fallen by more than both expanded uncertainties allow (E_n < -1).
    """

    fall: float
    e_number: float
    worn: bool


def motor_rpm(flow_l_min: float, displacement_cm3: float, efficiency: float = 1.0) -> float:
    """Speed n = 1000 Q η_v/V in r/min; in US units n = 231 Q η_v/D with gpm and in³.

    Raises:
        ValueError: flow negative, displacement not above 0, or efficiency outside (0, 1].
    """
    check_not_negative(flow_l_min=flow_l_min)
    check_above_zero(displacement_cm3=displacement_cm3)
    check_share(efficiency=efficiency)
    return 1000 * flow_l_min * efficiency / displacement_cm3


def motor_flow_l_min(rpm: float, displacement_cm3: float, efficiency: float = 1.0) -> float:
    """The flow a motor takes at a speed: Q = n V/(1000 η_v) in L/min.

    Raises:
        ValueError: as `motor_rpm`.
    """
    check_not_negative(rpm=rpm)
    check_above_zero(displacement_cm3=displacement_cm3)
    check_share(efficiency=efficiency)
    return rpm * displacement_cm3 / (1000 * efficiency)


def motor_torque_nm(
    pressure_drop_bar: float, displacement_cm3: float, mechanical_efficiency: float = 1.0
) -> float:
    """Torque T = Δp V η_hm/(20 π) in N·m, Δp in bar and V in cm³.

    Raises:
        ValueError: a quantity is negative, or efficiency outside (0, 1].
    """
    check_not_negative(pressure_drop_bar=pressure_drop_bar)
    check_above_zero(displacement_cm3=displacement_cm3)
    check_share(mechanical_efficiency=mechanical_efficiency)
    return pressure_drop_bar * displacement_cm3 * mechanical_efficiency / (20 * math.pi)


def hydraulic_power_kw(pressure_bar: float, flow_l_min: float) -> float:
    """Power in the oil P = p Q/600 in kW, p in bar and Q in L/min.

    Raises:
        ValueError: a quantity is negative.
    """
    check_not_negative(pressure_bar=pressure_bar, flow_l_min=flow_l_min)
    return pressure_bar * flow_l_min / 600


def shaft_power_kw(torque_nm: float, rpm: float) -> float:
    """Power at a shaft P = 2 π n T/60 000 in kW.

    Raises:
        ValueError: a quantity is negative.
    """
    check_not_negative(torque_nm=torque_nm, rpm=rpm)
    return 2 * math.pi * rpm * torque_nm / 60_000


def displacement_prior(
    displacement_cm3: float,
    *,
    reduction: float = 1.0,
    efficiency: float = NEW_MOTOR_EFFICIENCY,
    relative_u: float = NEW_MOTOR_RELATIVE_U,
) -> RatioPrior:
    """Shaft r/min per L/min from the nameplate displacement, widely uncertain.

    `reduction` is motor turns to one shaft turn, 1 for a motor on the shaft.

    Raises:
        ValueError: as `motor_rpm`, or reduction or relative_u is not above 0.
    """
    check_above_zero(reduction=reduction, relative_u=relative_u)
    ratio = motor_rpm(1, displacement_cm3, efficiency) / reduction
    return RatioPrior(rpm_per_unit=ratio, u_rpm_per_unit=relative_u * ratio)


def efficiency_of(fit: RatioFit, displacement_cm3: float, *, reduction: float = 1.0) -> Efficiency:
    """Volumetric efficiency from a fit of shaft r/min per L/min: η_v = k V i/1000.

    `reduction` i is motor turns to one shaft turn.

    A displacement that is off by a share puts the efficiency off by the same share, and may even
    show more than 1; a change of efficiency over time is free of it, which is why wear is judged
    by `efficiency_change`.

    Raises:
        ValueError: displacement or reduction not above 0.
    """
    check_above_zero(displacement_cm3=displacement_cm3, reduction=reduction)
    scale = displacement_cm3 * reduction / 1000
    return Efficiency(
        fraction=fit.rpm_per_unit * scale, u_fraction=fit.u_rpm_per_unit * scale, dof=fit.dof
    )


def efficiency_change(baseline: Efficiency, now: Efficiency) -> EfficiencyChange:
    """Wear of a motor: a falling speed at the same flow, told from chance by E_n (ISO 13528)."""
    e = e_number(now.fraction, now.expanded(), baseline.fraction, baseline.expanded())
    return EfficiencyChange(fall=baseline.fraction - now.fraction, e_number=e, worn=e < -1)
