"""What a change of speed does to fans, pumps and brushes."""

from dataclasses import dataclass

from ledger.compute.quantities import check_above_zero, check_not_negative


@dataclass(frozen=True, slots=True, kw_only=True)
class DutyPoint:
    """Flow, pressure (or head) and shaft power at a speed, each in any unit of the caller's."""

    flow: float
    pressure: float
    power: float


def centrifugal_at_speed(duty: DutyPoint, *, from_speed: float, to_speed: float) -> DutyPoint:
    """A fan or centrifugal pump at another speed: Q ~ n, H ~ n², P ~ n³ (the affinity laws).

    Both speeds in one unit, Hz of a drive included where slip is small. Holds for like flow in a
    system without static head: a pump that lifts water or feeds against a held pressure moves off
    this point, and may give nothing below some speed. Positive-displacement pumps are not
    centrifugal: see `constant_torque_power`. Raises ValueError for a negative quantity, a speed
    from which is not above zero, or a speed to which is negative.
    """
    ratio = _ratio(from_speed, to_speed)
    for name, quantity in (("flow", duty.flow), ("pressure", duty.pressure), ("power", duty.power)):
        check_not_negative(name, quantity)
    return DutyPoint(
        flow=duty.flow * ratio,
        pressure=duty.pressure * ratio**2,
        power=duty.power * ratio**3,
    )


def constant_torque_power(power: float, *, from_speed: float, to_speed: float) -> float:
    """Shaft power of a load whose torque does not change with speed, P ~ n.

    So are brushes and conveyors, and positive-displacement pumps at a held pressure, whose flow
    goes with n as well. Errors as for `centrifugal_at_speed`.
    """
    check_not_negative("power", power)
    return power * _ratio(from_speed, to_speed)


def _ratio(from_speed: float, to_speed: float) -> float:
    check_above_zero("from_speed", from_speed)
    check_not_negative("to_speed", to_speed)
    return to_speed / from_speed
