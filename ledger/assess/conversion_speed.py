"""What a change of speed does to the flow, pressure and power of a site's machines."""

import enum
from dataclasses import dataclass

from ledger.compute.affinity import DutyPoint, centrifugal_at_speed, constant_torque_power
from ledger.model.machines import ElectricDrive, Machine


class LoadLaw(enum.StrEnum):
    """How a load answers to speed."""

    FAN = "fan"
    CONSTANT_TORQUE = "constant-torque"


_LAW_OF_KIND = {
    "blower": LoadLaw.FAN,
    **dict.fromkeys(
        (
            *("conveyor", "curtain", "wrap", "side-brush", "low-brush", "top-brush", "buffer"),
            # Plunger pumps and piston compressors work against a held pressure.
            *("pump-stand", "compressor", "hydraulic-unit"),
        ),
        LoadLaw.CONSTANT_TORQUE,
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedChange:
    """A machine at another speed; flow, pressure and power as shares of what they were.

    `power_kw` is what a motor fully loaded at full speed gives there, an upper bound; None where
    power or full speed are not known.
    """

    machine: Machine
    law: LoadLaw
    from_speed: float
    to_speed: float
    flow_share: float
    pressure_share: float
    power_share: float
    power_kw: float | None


def law_of(machine: Machine) -> LoadLaw | None:
    """How the machine's load answers to speed, by its kind; None where the kind does not tell."""
    return _LAW_OF_KIND.get(machine.kind)


def speed_change(
    machine: Machine,
    law: LoadLaw,
    *,
    from_speed: float,
    to_speed: float,
    full_speed: float | None = None,
) -> SpeedChange:
    """The machine at another speed; `full_speed` is that of rated power, all in one unit.

    Raises:
        ValueError: the first or the full speed is not above 0, or the second is negative.
    """
    duty = _shares(law, from_speed, to_speed)
    rated = machine.drive.motor_kw if isinstance(machine.drive, ElectricDrive) else None
    power_kw = None
    if rated is not None and full_speed is not None:
        power_kw = rated * _shares(law, full_speed, to_speed).power
    return SpeedChange(
        machine=machine,
        law=law,
        from_speed=from_speed,
        to_speed=to_speed,
        flow_share=duty.flow,
        pressure_share=duty.pressure,
        power_share=duty.power,
        power_kw=power_kw,
    )


def _shares(law: LoadLaw, from_speed: float, to_speed: float) -> DutyPoint:
    if law is LoadLaw.FAN:
        whole = DutyPoint(flow=1.0, pressure=1.0, power=1.0)
        return centrifugal_at_speed(whole, from_speed=from_speed, to_speed=to_speed)
    power = constant_torque_power(1.0, from_speed=from_speed, to_speed=to_speed)
    return DutyPoint(flow=power, pressure=1.0, power=power)
