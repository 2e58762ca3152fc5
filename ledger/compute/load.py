"""One machine turned by oil or by electricity, converted from the one to the other."""

import math
from dataclasses import dataclass

from ledger.compute.hydraulic import (
    hydraulic_power_kw,
    motor_flow_l_min,
    motor_rpm,
    motor_torque_nm,
    shaft_power_kw,
)
from ledger.compute.motor_amps import (
    ELECTRICAL_CAUTION,
    NotTabled,
    full_load_amps,
    motor_size_hp,
)
from ledger.compute.quantities import check_above_zero
from ledger.compute.units import convert

CONVERSION_CAUTION = (
    f"{ELECTRICAL_CAUTION} Oil lines hold pressure after the pump stops and drives keep charge: "
    "lock out, release, wait as the labels say, and verify. Follow the makers' manuals."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class HydraulicDrive:
    """A hydraulic motor at work, straight on its shaft.

    The pressure drop across it in bar, the flow in L/min, the displacement in cm³ a turn, and its
    volumetric and hydro-mechanical efficiencies as fractions.
    """

    pressure_drop_bar: float
    flow_l_min: float
    displacement_cm3: float
    volumetric_efficiency: float = 1.0
    mechanical_efficiency: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ElectricInstead:
    """What an electric drive must give in place of a hydraulic one, and what it releases.

    `motor_kw` is the rated power wanted, `motor_hp` the next standard size and `full_load_a` its
    amps, each `NotTabled` where the code's table has none. `flow_released_l_min` and
    `oil_released_kw` are what the hydraulic unit no longer has to give.
    """

    shaft_rpm: float
    torque_nm: float
    shaft_kw: float
    motor_kw: float
    motor_hp: float | NotTabled
    full_load_a: float | NotTabled
    flow_released_l_min: float
    oil_released_kw: float
    caution: str = CONVERSION_CAUTION


@dataclass(frozen=True, slots=True, kw_only=True)
class HydraulicInstead:
    """What a hydraulic motor must be and take in place of an electric drive, and what it releases.

    `pump_kw` is the shaft power the pump needs for it; `amps_released` are the replaced motor's,
    `NotTabled` where the code's table has none.
    """

    torque_nm: float
    shaft_kw: float
    displacement_cm3: float
    flow_l_min: float
    oil_kw: float
    pump_kw: float
    amps_released: float | NotTabled
    caution: str = CONVERSION_CAUTION


def torque_nm(power_kw: float, rpm: float) -> float:
    """Torque at a shaft, T = P/ω = 60 000 P/(2 π n) in N·m, from kW and r/min.

    Raises ValueError for a power or speed not above zero.
    """
    check_above_zero("power_kw", power_kw)
    check_above_zero("rpm", rpm)
    return 60_000 * power_kw / (2 * math.pi * rpm)


def electric_instead(
    drive: HydraulicDrive,
    *,
    volts: int,
    transmission_efficiency: float = 1.0,
    share_of_base_frequency: float = 1.0,
) -> ElectricInstead:
    """The electric drive that does what a hydraulic motor does at the same shaft speed.

    Shaft torque Δp V η/(20 π) and speed 1000 Q η/V are the motor's (`ledger.compute.hydraulic`).
    The rated power wanted is the shaft's over the transmission's efficiency, and over the share of
    base frequency at which the drive will run, since below base frequency a motor's power falls
    with its speed while the torque a brush asks for stays. Working values: starting torque and
    shocks are the maker's to judge. Raises ValueError for an efficiency or share outside 0 to 1,
    or a pressure drop or flow of zero.
    """
    _check_share("transmission_efficiency", transmission_efficiency)
    _check_share("share_of_base_frequency", share_of_base_frequency)
    check_above_zero("pressure_drop_bar", drive.pressure_drop_bar)
    check_above_zero("flow_l_min", drive.flow_l_min)
    rpm = motor_rpm(drive.flow_l_min, drive.displacement_cm3, drive.volumetric_efficiency)
    torque = motor_torque_nm(
        drive.pressure_drop_bar, drive.displacement_cm3, drive.mechanical_efficiency
    )
    shaft_kw = shaft_power_kw(torque, rpm)
    motor_kw = shaft_kw / transmission_efficiency / share_of_base_frequency
    motor_hp = motor_size_hp(motor_kw)
    amps = motor_hp if isinstance(motor_hp, NotTabled) else full_load_amps(motor_hp, volts)
    return ElectricInstead(
        shaft_rpm=rpm,
        torque_nm=torque,
        shaft_kw=shaft_kw,
        motor_kw=motor_kw,
        motor_hp=motor_hp,
        full_load_a=amps,
        flow_released_l_min=drive.flow_l_min,
        oil_released_kw=hydraulic_power_kw(drive.pressure_drop_bar, drive.flow_l_min),
    )


def hydraulic_instead(
    *,
    motor_hp: float,
    volts: int,
    shaft_rpm: float,
    pressure_drop_bar: float,
    transmission_efficiency: float = 1.0,
    share_of_base_frequency: float = 1.0,
    volumetric_efficiency: float = 1.0,
    mechanical_efficiency: float = 1.0,
    pump_efficiency: float = 1.0,
) -> HydraulicInstead:
    """The hydraulic motor that does what an electric drive can do at a shaft speed.

    The shaft is taken to need all that the replaced motor could give there, its rated power times
    the share of base frequency times the transmission's efficiency: an upper bound, since motors
    are seldom fully loaded. Displacement V = 20 π T/(Δp η_hm), flow n V/(1000 η_v). Raises
    ValueError for an efficiency or share outside 0 to 1, or other quantities not above zero.
    """
    for name, share in (
        ("transmission_efficiency", transmission_efficiency),
        ("share_of_base_frequency", share_of_base_frequency),
        ("mechanical_efficiency", mechanical_efficiency),
        ("pump_efficiency", pump_efficiency),
    ):
        _check_share(name, share)
    check_above_zero("motor_hp", motor_hp)
    check_above_zero("pressure_drop_bar", pressure_drop_bar)
    shaft_kw = convert(motor_hp, "hp", "kw") * share_of_base_frequency * transmission_efficiency
    torque = torque_nm(shaft_kw, shaft_rpm)
    displacement_cm3 = 20 * math.pi * torque / (pressure_drop_bar * mechanical_efficiency)
    flow = motor_flow_l_min(shaft_rpm, displacement_cm3, volumetric_efficiency)
    oil_kw = hydraulic_power_kw(pressure_drop_bar, flow)
    return HydraulicInstead(
        torque_nm=torque,
        shaft_kw=shaft_kw,
        displacement_cm3=displacement_cm3,
        flow_l_min=flow,
        oil_kw=oil_kw,
        pump_kw=oil_kw / pump_efficiency,
        amps_released=full_load_amps(motor_hp, volts),
    )


def _check_share(name: str, share: float) -> None:
    if not 0 < share <= 1:
        raise ValueError(f"expected {name} to lie above 0 and up to 1, not {share!r}")
