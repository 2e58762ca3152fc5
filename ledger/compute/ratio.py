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
from functools import lru_cache

from ledger.compute.distributions import normal_quantile
from ledger.compute.numbers import (
    Estimate,
    check_above_zero,
    check_not_negative,
    check_share,
    weighted_mean,
)
from ledger.compute.shared import Shared, SharedMean, SharingReading, by_key, shared_mean
from ledger.compute.speed import COVERAGE, Speed, coverage_factor, e_number, own_u_rpm
from ledger.values import dataclass, replace

MEASURED_ENOUGH = 2
"""From this many readings on, the prior no longer takes part."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedPart:
    """What a reading errs by together with all readings of the same `key`.

    `u` is a standard uncertainty: a share of the speed where `is_relative`, else in r/min. The
    doubt of a setting, such as a flow dial's step, is a share like any other. Keys of one `kin`
    may err alike (`Shared`).
    """

    key: str
    u: float
    is_relative: bool = True
    kin: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RatioReading:
    """A speed read at a setting. `key` names the reading.

    `u_rpm` is the standard uncertainty of its own; what it shares with others is in `shared`. The
    frequency of a drive is exact beside everything else.

    Raises:
        ValueError: the setting or u_rpm is not above 0, or a number is not finite.
    """

    setting: float
    rpm: float
    u_rpm: float
    key: str
    shared: tuple[SharedPart, ...] = ()

    def __post_init__(self) -> None:
        if not all(math.isfinite(number) for number in (self.setting, self.rpm, self.u_rpm)):
            raise ValueError(f"expected finite numbers in the reading {self.key}")
        if not (self.setting > 0 and self.u_rpm > 0 and all(p.u >= 0 for p in self.shared)):
            raise ValueError(
                f"expected a setting and an uncertainty above 0 in the reading {self.key}"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class RatioFit:
    """A fitted ratio, how sure it is, and whether its readings agree.

    `u_rpm_per_unit` already includes the Birge ratio when `inflated`; `dof` belongs to it.
    `u_shared` is the part that more readings of the same kinds do not help, and `shares` each of
    its keys with the part it makes. `centre_setting` is where the readings lie, weighted as they
    weigh in the ratio. `disagreeing` names readings, sorted; `apart` the keys of groups of
    readings, such as instruments, that do not agree with the others. `prior_disagrees` says that
    the nameplate and the readings cannot both be right. `u_new_setting` is the doubt of a setting
    that a dial is put to anew. What is left out is as without readings.
    """

    rpm_per_unit: float
    u_rpm_per_unit: float
    u_shared: float = 0.0
    shares: tuple[tuple[str, float], ...] = ()
    dof: float = math.inf
    readings: int = 0
    centre_setting: float | None = None
    chi2: float = 0.0
    chi2_dof: int = 0
    birge_ratio: float = 1.0
    inflated: bool = False
    disagreeing: tuple[str, ...] = ()
    apart: tuple[str, ...] = ()
    used_prior: bool = False
    prior_disagrees: bool = False
    u_new_setting: float = 0.0

    def expanded(self) -> float:
        """The expanded uncertainty of the ratio, k by `coverage_factor`."""
        return coverage_factor(self.dof) * self.u_rpm_per_unit


def reading_of(
    key: str, setting: float, speed: Speed, shared: tuple[SharedPart, ...] = ()
) -> RatioReading:
    """A reading for the fit; few degrees of freedom widen its standard uncertainty to U/2."""
    u_rpm = own_u_rpm(speed) if shared else speed.expanded() / 2
    return RatioReading(key=key, setting=setting, rpm=speed.rpm, u_rpm=u_rpm, shared=shared)


def fit_ratio(readings: Sequence[RatioReading], prior: Estimate | None = None) -> RatioFit:
    """Weighted least squares of rpm = k setting: a mean of the ratios that share errors.

    The prior is what is known of the ratio before anything is read, with a wide uncertainty.
    Without shared errors u(k) = 1/√Σ(setting²/u²); with them `compute.shared.shared_mean` says
    how they count. Fewer than two readings are joined with the prior, if there is one, as if it
    were a reading;
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
        return RatioFit(rpm_per_unit=prior.value, u_rpm_per_unit=prior.u, used_prior=True)
    measured = _fit_alone(tuple(readings))
    if prior is None:
        return measured
    e = e_number(measured.rpm_per_unit, measured.expanded(), prior.value, 2 * prior.u)
    measured = replace(measured, prior_disagrees=abs(e) > 1)
    if len(readings) >= MEASURED_ENOUGH or measured.prior_disagrees:
        return measured
    ratio, u_ratio = weighted_mean(
        (measured.rpm_per_unit, prior.value), (measured.u_rpm_per_unit**2, prior.u**2)
    )
    return replace(measured, rpm_per_unit=ratio, u_rpm_per_unit=u_ratio, used_prior=True)


def predict(fit: RatioFit, setting: float, *, slip_rpm: float = 0.0) -> Speed:
    """The speed to expect at a setting, and how sure that is.

    The estimate is by ratio. An induction motor's slip adds a doubt away from where the readings
    lie: with the slip of `slip_rpm` at the shaft, constant slip instead of constant ratio would
    differ by slip_rpm (1 - setting/centre), and that is taken as the half-width a of a rectangle,
    a/√3 (GUM 4.3.7). What an oil motor on a dial leaks is much the same at every flow, so that the
    truth lies at an end of the bracket rather than within: a/√2. No term is added for a shaft that
    differs from day to day: it shows as readings that scatter, which the fit already answers, and
    a later reading brings its own uncertainty.
    """
    u_rpm = fit.u_rpm_per_unit * setting
    if fit.centre_setting is not None:
        bracket = slip_rpm * (1 - setting / fit.centre_setting)
        u_rpm = math.hypot(u_rpm, bracket / math.sqrt(2 if fit.u_new_setting else 3))
    u_rpm = math.hypot(u_rpm, fit.rpm_per_unit * fit.u_new_setting)
    return Speed(rpm=fit.rpm_per_unit * setting, u_rpm=u_rpm, dof=fit.dof)


def setting_for(fit: RatioFit, rpm: float) -> float:
    """The setting at which the fit predicts a speed, neither rounded nor held to limits."""
    return rpm / fit.rpm_per_unit


# The same readings are fitted with a nameplate and without.
@lru_cache(maxsize=32)
def _fit_alone(readings: tuple[RatioReading, ...]) -> RatioFit:
    plain = math.fsum(r.rpm for r in readings) / math.fsum(r.setting for r in readings)
    # A shared part is a share of the fitted speed, and the fit needs it: twice is enough.
    mean = shared_mean(_ratios(readings, shared_mean(_ratios(readings, plain)).value))
    ratios = _ratios(readings, mean.value)
    leverage = [weight / r.setting for weight, r in zip(mean.weights, readings, strict=True)]
    weighted = (share * r.setting for share, r in zip(leverage, readings, strict=True))
    named, apart = _disagreeing(readings, ratios, mean)
    return RatioFit(
        rpm_per_unit=mean.value,
        u_rpm_per_unit=mean.u,
        u_shared=mean.u_shared,
        shares=_shares(ratios, mean.weights),
        dof=mean.dof,
        readings=len(readings),
        centre_setting=math.fsum(weighted) / math.fsum(leverage),
        chi2=mean.chi2,
        chi2_dof=mean.chi2_dof,
        birge_ratio=mean.birge_ratio,
        inflated=mean.inflated,
        disagreeing=named,
        apart=apart,
    )


def _ratios(readings: Sequence[RatioReading], ratio: float) -> list[SharingReading]:
    """Each reading's own ratio, with its shared parts at the ratio fitted."""
    return [
        SharingReading(
            value=r.rpm / r.setting,
            u_own=r.u_rpm / r.setting,
            shared=tuple(
                Shared(key=p.key, u=ratio * p.u if p.is_relative else p.u / r.setting, kin=p.kin)
                for p in r.shared
            ),
            u_apart=math.hypot(r.u_rpm, *(p.u for p in r.shared if not p.is_relative)) / r.setting,
        )
        for r in readings
    ]


def _shares(
    ratios: Sequence[SharingReading], weights: Sequence[float]
) -> tuple[tuple[str, float], ...]:
    """What each shared key makes of the uncertainty of the mean, the largest first."""
    parts = by_key((w, one) for w, r in zip(weights, ratios, strict=True) for one in r.shared)
    return tuple(sorted(parts.items(), key=lambda part: (-part[1], part[0])))


def _disagreeing(
    readings: Sequence[RatioReading], ratios: Sequence[SharingReading], mean: SharedMean
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Keys of single readings, and of groups, that do not agree with the fit of the others.

    Readings of one group are held against each other by what each errs by alone, groups by their
    whole uncertainty and without the readings named. A group of one reading is named as that
    reading.
    """
    named = {
        group.members[index]
        for group in mean.groups
        for index in apart_from_others(
            [(ratios[n].value, ratios[n].u_of_scatter) for n in group.members]
        )
    }
    values = []
    for group in mean.groups:
        agreeing = [ratios[n] for n in group.members if n not in named] or [
            ratios[n] for n in group.members
        ]
        value, _ = weighted_mean([r.value for r in agreeing], [r.u_own**2 for r in agreeing])
        values.append((value, group.u))
    apart = [mean.groups[index] for index in apart_from_others(values)]
    named |= {group.members[0] for group in apart if len(group.members) == 1}
    several = tuple(sorted(group.key for group in apart if len(group.members) > 1))
    return tuple(sorted(readings[n].key for n in named)), several


def apart_from_others(values: Sequence[tuple[float, float]]) -> tuple[int, ...]:
    """Numbers of the values, each with its u, that do not agree with the mean of the others.

    Found worst first. Each is judged by its E_n number (ISO 13528), with k raised so that the
    whole row, not each one, is wrongly accused in 4.55 % of cases (Šidák). The worst is set aside
    and the rest judged anew, so that one gross reading does not accuse its neighbours. Of two
    that disagree both are named.
    """
    left = list(range(len(values)))
    named: list[int] = []
    while len(left) > 1:
        comparisons = len(left) if len(left) > 2 else 1
        factor = normal_quantile((1 + COVERAGE ** (1 / comparisons)) / 2)
        scores = _e_against_others([values[number] for number in left], factor)
        worst, index = max((abs(score), index) for index, score in enumerate(scores))
        if worst <= 1:
            break
        if len(left) == 2:
            named.extend(left)
            break
        named.append(left.pop(index))
    return tuple(named)


def _e_against_others(values: Sequence[tuple[float, float]], factor: float) -> list[float]:
    """E_n of each value against the weighted mean of all others."""
    weighted = _sums_of_others([value / u**2 for value, u in values])
    weights = _sums_of_others([1 / u**2 for _, u in values])
    return [
        e_number(value, factor * u, product / weight, factor / math.sqrt(weight))
        for (value, u), product, weight in zip(values, weighted, weights, strict=True)
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


def nameplate_prior(rated_rpm: float, base_hz: float, reduction: float) -> Estimate:
    """Shaft r/min per Hz from the nameplates of motor and reduction, widely uncertain.

    Raises:
        ValueError: a quantity is not above 0.
    """
    check_above_zero(base_hz=base_hz, rated_rpm=rated_rpm)
    ratio = shaft_rpm(rated_rpm, reduction) / base_hz
    return Estimate(value=ratio, u=NAMEPLATE_RELATIVE_U * ratio)


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
    """A volumetric efficiency as a fraction, its standard uncertainty and degrees of freedom.

    `u_to_repeat` is the part that another reading with the same dial and motor does not share.
    """

    fraction: float
    u_fraction: float
    u_to_repeat: float = 0.0
    dof: float = math.inf

    def expanded(self, coverage: float = COVERAGE) -> float:
        """The expanded uncertainty, k by `coverage_factor`."""
        return coverage_factor(self.dof, coverage) * self.u_fraction

    def expanded_to_repeat(self) -> float:
        return coverage_factor(self.dof) * self.u_to_repeat


@dataclass(frozen=True, slots=True, kw_only=True)
class EfficiencyChange:
    """An efficiency now against that of its first readings."""

    first: Efficiency
    now: Efficiency
    e_number: float

    @property
    def worn(self) -> bool:
        """Whether it has fallen by more than both expanded uncertainties allow (E_n < -1)."""
        return self.e_number < -1


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


def motor_torque_nm(pressure_drop_bar: float, displacement_cm3: float) -> float:
    """Torque without losses T = Δp V/(20 π) in N·m, Δp in bar and V in cm³.

    Raises:
        ValueError: a quantity is negative.
    """
    check_not_negative(pressure_drop_bar=pressure_drop_bar)
    check_above_zero(displacement_cm3=displacement_cm3)
    return pressure_drop_bar * displacement_cm3 / (20 * math.pi)


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
    displacement_cm3: float, *, reduction: float = 1.0, efficiency: float = NEW_MOTOR_EFFICIENCY
) -> Estimate:
    """Shaft r/min per L/min from the nameplate displacement, widely uncertain.

    `reduction` is motor turns to one shaft turn, 1 for a motor on the shaft.

    Raises:
        ValueError: as `motor_rpm`, or reduction is not above 0.
    """
    check_above_zero(reduction=reduction)
    ratio = motor_rpm(1, displacement_cm3, efficiency) / reduction
    return Estimate(value=ratio, u=NEW_MOTOR_RELATIVE_U * ratio)


FLOW_SCALE_U = 0.02 / math.sqrt(3)

DISPLACEMENT_U = 0.01 / math.sqrt(3)
"""Relative standard uncertainty of a flow dial's scale and of a stated displacement.

2 % and 1 % either way: the tool's own figures, no source.
"""


def efficiency_of(fit: RatioFit, displacement_cm3: float, *, reduction: float = 1.0) -> Efficiency:
    """Volumetric efficiency from a fit of shaft r/min per L/min: η_v = k V i/1000.

    `reduction` i is motor turns to one shaft turn. The scale of the flow and the displacement are
    doubtful by `FLOW_SCALE_U` and `DISPLACEMENT_U`, and may even show more than 1; a change over
    time is free of both, which is why wear is judged by `efficiency_change`.

    Raises:
        ValueError: displacement or reduction not above 0.
    """
    check_above_zero(displacement_cm3=displacement_cm3, reduction=reduction)
    fraction = fit.rpm_per_unit * displacement_cm3 * reduction / 1000
    u_share = fit.u_rpm_per_unit / fit.rpm_per_unit
    return Efficiency(
        fraction=fraction,
        u_fraction=fraction * math.hypot(u_share, FLOW_SCALE_U, DISPLACEMENT_U),
        u_to_repeat=fraction * u_share,
        dof=fit.dof,
    )


def leakage_rpm(
    fit: RatioFit, displacement_cm3: float, efficiency: float, *, reduction: float = 1.0
) -> float:
    """Speed lost to leaking oil where the readings lie, n (1/η - 1), in r/min at the shaft.

    η is what the readings say, or what is stated where they say more than a whole one. At one
    pressure the leakage is about the same at every flow.

    Raises:
        ValueError: as `efficiency_of`, or an efficiency outside (0, 1].
    """
    check_share(efficiency=efficiency)
    read = efficiency_of(fit, displacement_cm3, reduction=reduction).fraction
    share = read if read <= 1 else efficiency
    return fit.rpm_per_unit * (fit.centre_setting or 0.0) * (1 / share - 1)


def efficiency_change(baseline: Efficiency, now: Efficiency) -> EfficiencyChange:
    """Wear of a motor: a falling speed at the same flow, told from chance by E_n (ISO 13528).

    Of one dial and one motor: what both efficiencies err by alike does not count.
    """
    e = e_number(
        now.fraction, now.expanded_to_repeat(), baseline.fraction, baseline.expanded_to_repeat()
    )
    return EfficiencyChange(first=baseline, now=now, e_number=e)
