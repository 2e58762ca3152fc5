"""Hydraulic motors and pumps: speed from flow, torque, power, and wear seen as efficiency.

Flow in L/min, displacement in cm³ a turn, pressure in bar; gallons, cubic inches and psi are
converted by `ledger.compute.units`. Formulas: ISO 4391 quantities, in the working units that
makers' catalogues use.
"""

import math
from dataclasses import dataclass

from ledger.compute.agreement import e_number
from ledger.compute.quantities import check_above_zero, check_not_negative
from ledger.compute.ratio import RatioFit, RatioPrior
from ledger.compute.speed import COVERAGE, coverage_factor

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
    check_not_negative("flow_l_min", flow_l_min)
    check_above_zero("displacement_cm3", displacement_cm3)
    _check_efficiency(efficiency)
    return 1000 * flow_l_min * efficiency / displacement_cm3


def motor_flow_l_min(rpm: float, displacement_cm3: float, efficiency: float = 1.0) -> float:
    """The flow a motor takes at a speed: Q = n V/(1000 η_v) in L/min.

    Raises:
        ValueError: as `motor_rpm`.
    """
    check_not_negative("rpm", rpm)
    check_above_zero("displacement_cm3", displacement_cm3)
    _check_efficiency(efficiency)
    return rpm * displacement_cm3 / (1000 * efficiency)


def motor_torque_nm(
    pressure_drop_bar: float, displacement_cm3: float, mechanical_efficiency: float = 1.0
) -> float:
    """Torque T = Δp V η_hm/(20 π) in N·m, Δp in bar and V in cm³.

    Raises:
        ValueError: a quantity is negative, or efficiency outside (0, 1].
    """
    check_not_negative("pressure_drop_bar", pressure_drop_bar)
    check_above_zero("displacement_cm3", displacement_cm3)
    _check_efficiency(mechanical_efficiency)
    return pressure_drop_bar * displacement_cm3 * mechanical_efficiency / (20 * math.pi)


def hydraulic_power_kw(pressure_bar: float, flow_l_min: float) -> float:
    """Power in the oil P = p Q/600 in kW, p in bar and Q in L/min.

    Raises:
        ValueError: a quantity is negative.
    """
    check_not_negative("pressure_bar", pressure_bar)
    check_not_negative("flow_l_min", flow_l_min)
    return pressure_bar * flow_l_min / 600


def shaft_power_kw(torque_nm: float, rpm: float) -> float:
    """Power at a shaft P = 2 π n T/60 000 in kW.

    Raises:
        ValueError: a quantity is negative.
    """
    check_not_negative("torque_nm", torque_nm)
    check_not_negative("rpm", rpm)
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
    check_above_zero("reduction", reduction)
    check_above_zero("relative_u", relative_u)
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
    check_above_zero("displacement_cm3", displacement_cm3)
    check_above_zero("reduction", reduction)
    scale = displacement_cm3 * reduction / 1000
    return Efficiency(
        fraction=fit.rpm_per_unit * scale, u_fraction=fit.u_rpm_per_unit * scale, dof=fit.dof
    )


def efficiency_change(baseline: Efficiency, now: Efficiency) -> EfficiencyChange:
    """Wear of a motor: a falling speed at the same flow, told from chance by E_n (ISO 13528)."""
    e = e_number(now.fraction, now.expanded(), baseline.fraction, baseline.expanded())
    return EfficiencyChange(
        fall=baseline.fraction - now.fraction,
        e_number=e,
        worn=e < -1,
    )


def _check_efficiency(fraction: float) -> None:
    if not 0 < fraction <= 1:
        raise ValueError(f"expected an efficiency above 0 and at most 1, not {fraction!r}")
