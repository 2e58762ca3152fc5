"""Power at a shaft: panels and their motors, oil against electricity, and another speed.

Full-load amps of three-phase motors and the load of a panel go by the NEC's tables. For planning
only: the nameplate rules for overload protection, and a licensed electrician and the local code
decide what is built.
"""

import enum
import math
from collections.abc import Sequence
from typing import NamedTuple

from ledger.compute import numbers, ratio
from ledger.compute.numbers import NoAnswer
from ledger.values import dataclass

LARGEST_MOTOR_SHARE = 1.25


TABLE_VOLTS = (200, 208, 230, 460, 575)


# NEC (NFPA 70) Table 430.250, induction type, squirrel cage and wound rotor, amperes by
# horsepower at the voltages above.
FULL_LOAD_AMPS = {
    0.5: (2.5, 2.4, 2.2, 1.1, 0.9),
    0.75: (3.7, 3.5, 3.2, 1.6, 1.3),
    1.0: (4.8, 4.6, 4.2, 2.1, 1.7),
    1.5: (6.9, 6.6, 6.0, 3.0, 2.4),
    2.0: (7.8, 7.5, 6.8, 3.4, 2.7),
    3.0: (11.0, 10.6, 9.6, 4.8, 3.9),
    5.0: (17.5, 16.7, 15.2, 7.6, 6.1),
    7.5: (25.3, 24.2, 22.0, 11.0, 9.0),
    10.0: (32.2, 30.8, 28.0, 14.0, 11.0),
    15.0: (48.3, 46.2, 42.0, 21.0, 17.0),
    20.0: (62.1, 59.4, 54.0, 27.0, 22.0),
    25.0: (78.2, 74.8, 68.0, 34.0, 27.0),
    30.0: (92.0, 88.0, 80.0, 40.0, 32.0),
    40.0: (120.0, 114.0, 104.0, 52.0, 41.0),
    50.0: (150.0, 143.0, 130.0, 65.0, 52.0),
    60.0: (177.0, 169.0, 154.0, 77.0, 62.0),
    75.0: (221.0, 211.0, 192.0, 96.0, 77.0),
    100.0: (285.0, 273.0, 248.0, 124.0, 99.0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelLoad:
    """A panel's connected amps, the amps its feeder must carry by 430.24, and what is spare.

    `spare_a` is the rating less the required amps, and negative where the rating is exceeded.
    """

    connected_a: float
    required_a: float
    rating_a: float
    spare_a: float


def full_load_amps(motor_hp: float, volts: int) -> float | NoAnswer:
    """Amps of a motor by NEC Table 430.250, for a size and a rated voltage that it lists.

    Nothing is interpolated: `motor_size_hp` gives the size to ask for. The table's 230, 460 and
    575 V stand for systems of 220-240, 440-480 and 550-600 V. Raises KeyError for a size that is
    not in the table.
    """
    if volts not in TABLE_VOLTS:
        return NoAnswer(
            f"Table 430.250 has no column for {volts} V: "
            f"it has {', '.join(map(str, TABLE_VOLTS))} V"
        )
    return FULL_LOAD_AMPS[motor_hp][TABLE_VOLTS.index(volts)]


def motor_size_hp(power_kw: float) -> float | NoAnswer:
    """The least motor of the table's sizes, in hp, that gives a power at its shaft.

    Raises ValueError for a power not above zero.
    """
    numbers.check_above_zero(power_kw=power_kw)
    # A power that came from a size by conversion should give that size back.
    wanted_hp = numbers.convert(power_kw, "kw", "hp") * (1 - 1e-9)
    size = next((size for size in FULL_LOAD_AMPS if size >= wanted_hp), None)
    if size is None:
        return NoAnswer(f"{power_kw:.3g} kW is above the motor sizes kept here")
    return size


def panel_load(motor_amps: Sequence[float], *, rating_a: float) -> PanelLoad:
    """What a panel's feeder must carry: NEC 430.24 over its motors.

    125 % of the highest rated motor, plus all other motors. The exceptions for duty cycles and for
    interlocked motors are left to the electrician. Motor amps are those of the table (430.6(A)).
    Raises ValueError for negative amps or a rating not above zero.
    """
    numbers.check_above_zero(rating_a=rating_a)
    for amps in motor_amps:
        numbers.check_not_negative(amps=amps)
    connected_a = math.fsum(motor_amps)
    required_a = connected_a + (LARGEST_MOTOR_SHARE - 1) * max(motor_amps, default=0.0)
    return PanelLoad(
        connected_a=connected_a,
        required_a=required_a,
        rating_a=rating_a,
        spare_a=rating_a - required_a,
    )


def feeder_by_drive_inputs(
    direct_amps: Sequence[float], input_amps: Sequence[float]
) -> tuple[float, float]:
    """What a feeder with frequency drives must carry in amps, by two readings of the code.

    First NEC 430.24 with each drive at its rated input current; then 125 % of every drive's input
    (NEC 430.122(A)) beside 430.24 for the motors without a drive. Articles on the code put both
    side by side; which rules is for an electrician to decide.

    Raises:
        ValueError: amps are negative.
    """
    for amps in (*direct_amps, *input_amps):
        numbers.check_not_negative(amps=amps)
    extra = LARGEST_MOTOR_SHARE - 1
    every, direct = math.fsum((*direct_amps, *input_amps)), max(direct_amps, default=0.0)
    largest = max(*input_amps, direct, 0.0)
    return every + extra * largest, every + extra * (direct + math.fsum(input_amps))


CONVERSION_CAUTION = (
    "For planning only: a licensed electrician and the local code decide; the motor's nameplate "
    "rules for overload protection. Oil lines hold pressure after the pump stops and drives keep "
    "charge: lock out, release, wait as the labels say, and verify. Follow the makers' manuals."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ElectricInstead:
    """What an electric drive must give in place of a hydraulic one, and what it releases.

    `motor_kw` is the rated power wanted, `motor_hp` the next standard size and `full_load_a` its
    amps, each `NoAnswer` where the code's table has none. `oil_released_kw` is what the hydraulic
    unit no longer has to give.
    """

    shaft_rpm: float
    torque_nm: float
    shaft_kw: float
    motor_kw: float
    motor_hp: float | NoAnswer
    full_load_a: float | NoAnswer
    oil_released_kw: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HydraulicInstead:
    """What a hydraulic motor must be and take in place of an electric drive, and what it releases.

    `pump_kw` is the shaft power the pump needs for it; `amps_released` are the replaced motor's,
    `NoAnswer` where the code's table has none.
    """

    torque_nm: float
    shaft_kw: float
    displacement_cm3: float
    flow_l_min: float
    oil_kw: float
    pump_kw: float
    amps_released: float | NoAnswer


def torque_nm(power_kw: float, rpm: float) -> float:
    """Torque at a shaft, T = P/ω = 60 000 P/(2 π n) in N·m, from kW and r/min.

    Raises ValueError for a power or speed not above zero.
    """
    numbers.check_above_zero(power_kw=power_kw, rpm=rpm)
    return 60_000 * power_kw / (2 * math.pi * rpm)


def electric_instead(
    *,
    pressure_drop_bar: float,
    flow_l_min: float,
    displacement_cm3: float,
    volumetric_efficiency: float = 1.0,
    volts: int,
    share_of_base_frequency: float = 1.0,
) -> ElectricInstead:
    """The electric drive that does what a hydraulic motor, straight on its shaft, does.

    The motor's pressure drop is in bar, its flow in L/min, its displacement in cm³ a turn, and its
    volumetric efficiency a fraction.

    Shaft torque Δp V/(20 π) and speed 1000 Q η/V are the motor's (`ledger.compute.ratio`).
    The rated power wanted is the shaft's over the share of base frequency at which the drive will
    run, since below base frequency a motor's power falls with its speed while the torque a brush
    asks for stays. Working values: starting torque and shocks are the maker's to judge. Raises
    ValueError for an efficiency or share outside 0 to 1, or a pressure drop or flow of zero.
    """
    numbers.check_share(share_of_base_frequency=share_of_base_frequency)
    numbers.check_above_zero(pressure_drop_bar=pressure_drop_bar, flow_l_min=flow_l_min)
    rpm = ratio.motor_rpm(flow_l_min, displacement_cm3, volumetric_efficiency)
    torque = ratio.motor_torque_nm(pressure_drop_bar, displacement_cm3)
    shaft_kw = ratio.shaft_power_kw(torque, rpm)
    motor_kw = shaft_kw / share_of_base_frequency
    motor_hp = motor_size_hp(motor_kw)
    amps = motor_hp if isinstance(motor_hp, NoAnswer) else full_load_amps(motor_hp, volts)
    return ElectricInstead(
        shaft_rpm=rpm,
        torque_nm=torque,
        shaft_kw=shaft_kw,
        motor_kw=motor_kw,
        motor_hp=motor_hp,
        full_load_a=amps,
        oil_released_kw=ratio.hydraulic_power_kw(pressure_drop_bar, flow_l_min),
    )


def hydraulic_instead(
    *,
    motor_hp: float,
    volts: int,
    shaft_rpm: float,
    pressure_drop_bar: float,
    share_of_base_frequency: float = 1.0,
    volumetric_efficiency: float = 1.0,
    mechanical_efficiency: float = 1.0,
    pump_efficiency: float = 1.0,
) -> HydraulicInstead:
    """The hydraulic motor that does what an electric drive can do at a shaft speed.

    The shaft is taken to need all that the replaced motor could give there, its rated power times
    the share of base frequency: an upper bound, since motors are seldom fully loaded. Displacement
    V = 20 π T/(Δp η_hm), flow n V/(1000 η_v). Raises
    ValueError for an efficiency or share outside 0 to 1, or other quantities not above zero.
    """
    numbers.check_share(
        share_of_base_frequency=share_of_base_frequency,
        mechanical_efficiency=mechanical_efficiency,
        pump_efficiency=pump_efficiency,
    )
    numbers.check_above_zero(motor_hp=motor_hp, pressure_drop_bar=pressure_drop_bar)
    shaft_kw = numbers.convert(motor_hp, "hp", "kw") * share_of_base_frequency
    torque = torque_nm(shaft_kw, shaft_rpm)
    displacement_cm3 = 20 * math.pi * torque / (pressure_drop_bar * mechanical_efficiency)
    flow = ratio.motor_flow_l_min(shaft_rpm, displacement_cm3, volumetric_efficiency)
    oil_kw = ratio.hydraulic_power_kw(pressure_drop_bar, flow)
    return HydraulicInstead(
        torque_nm=torque,
        shaft_kw=shaft_kw,
        displacement_cm3=displacement_cm3,
        flow_l_min=flow,
        oil_kw=oil_kw,
        pump_kw=oil_kw / pump_efficiency,
        amps_released=full_load_amps(motor_hp, volts),
    )


class LoadLaw(enum.StrEnum):
    """How a load answers to speed."""

    FAN = "fan"
    CONSTANT_TORQUE = "constant-torque"


# The powers of the speed with which flow, pressure and shaft power go.
_POWERS = {LoadLaw.FAN: (1, 2, 3), LoadLaw.CONSTANT_TORQUE: (1, 0, 1)}


class SharesAtSpeed(NamedTuple):
    """Flow, pressure (or head) and shaft power at another speed, as shares of what they were."""

    flow: float
    pressure: float
    power: float


def shares_at_speed(law: LoadLaw, *, from_speed: float, to_speed: float) -> SharesAtSpeed:
    """A load at another speed, both in one unit, Hz of a drive included where slip is small.

    A fan or centrifugal pump goes by the affinity laws, Q ~ n, H ~ n², P ~ n³. They hold for like
    flow in a system without static head: a pump that lifts water or feeds against a held pressure
    moves off this point, and may give nothing below some speed. The torque of brushes and
    conveyors does not change, nor that of positive-displacement pumps at a held pressure, whose
    flow goes with n: P ~ n. Raises ValueError for a speed from which is not above zero, or a speed
    to which is negative.
    """
    numbers.check_above_zero(from_speed=from_speed)
    numbers.check_not_negative(to_speed=to_speed)
    return SharesAtSpeed(*((to_speed / from_speed) ** power for power in _POWERS[law]))
