"""Duty of pumps and of worn cloth, and energy: nozzles against the pump, edge speed, idle load."""

import math
from collections.abc import Sequence

from ledger.compute.numbers import Estimate, NotEnoughData, check_above_zero

MIN_SPANS = 8
"""Stretches between two readings of an energy meter below which no idle load is told."""


def pressure_held(nozzles: float, pump: float) -> float:
    """Pressure as a share of before, where all of a pump's flow leaves by its nozzles.

    `nozzles` is their flow at one pressure and `pump` the pump's flow, each as a share of before.
    From q = q_r √(p/p_r): a pump of positive displacement keeps its flow, so p goes with its square
    and the same pressure comes from worn nozzles and from a worn pump.

    Raises:
        ValueError: a share is not above 0.
    """
    check_above_zero(nozzles=nozzles, pump=pump)
    return (pump / nozzles) ** 2


def hydraulic_kw(flow_l_min: float, pressure_kpa: float) -> float:
    """Power of a flow under pressure in kW: P = Q p, as (L/min)(bar)/600."""
    return flow_l_min * pressure_kpa / 60_000


def worn_diameter(new_diameter: float, new_length: float, length: float) -> float:
    """Diameter of a brush whose strips stand straight out: D = D0 - 2 (L0 - L), by geometry.

    An upper bound, as cloth bends; in the unit of the lengths.

    Raises:
        ValueError: nothing is left of it.
    """
    diameter = new_diameter - 2 * (new_length - length)
    check_above_zero(diameter=diameter)
    return diameter


def rpm_to_hold(rpm: float, new_diameter: float, diameter: float) -> float:
    """The speed at which a worn brush has the edge speed of a new one: n = n0 D0/D.

    Raises:
        ValueError: a diameter is not above 0.
    """
    check_above_zero(new_diameter=new_diameter, diameter=diameter)
    return rpm * new_diameter / diameter


def least_length(new_diameter: float, new_length: float, rpm: float, most_rpm: float) -> float:
    """The strip length below which the edge speed cannot be held within the limit of the speed.

    It solves n0 D0/D = n_max for the length. In the unit of the lengths.

    Raises:
        ValueError: the limit is not above 0.
    """
    check_above_zero(most_rpm=most_rpm)
    return new_length - new_diameter * (1 - rpm / most_rpm) / 2


def idle_and_each(
    spans: Sequence[tuple[float, float, float]],
) -> tuple[Estimate, Estimate] | NotEnoughData:
    """Energy a day that runs without a vehicle, and energy of one vehicle more.

    `spans` are (days, vehicles, energy) between two readings. Least squares of
    energy = a days + b vehicles, each stretch weighted by 1/days, with the uncertainty from the
    scatter about the line (JCGM 100:2008, H.3; the least squares of two inputs in place of one and
    a constant).

    Undefined (`NotEnoughData`) below `MIN_SPANS` stretches, or where vehicles a day never differ.
    """
    rows = [(d, v, e) for d, v, e in spans if d > 0]
    weights = [1 / d for d, _, _ in rows]

    def total(first: int, second: int) -> float:
        terms = zip(weights, rows, strict=True)
        return math.fsum(w * row[first] * row[second] for w, row in terms)

    dd, dv, vv, de, ve = total(0, 0), total(0, 1), total(1, 1), total(0, 2), total(1, 2)
    determinant = dd * vv - dv * dv
    if len(rows) < MIN_SPANS or determinant <= 1e-9 * dd * vv:
        return NotEnoughData(
            what="readings of the energy meter with different traffic between them",
            have=len(rows) if determinant > 0 else 0,
            need=MIN_SPANS,
            why="fewer cannot part what runs idle from what a vehicle takes",
        )
    idle = (de * vv - ve * dv) / determinant
    each = (ve * dd - de * dv) / determinant
    left = math.fsum(
        w * (e - idle * d - each * v) ** 2 for w, (d, v, e) in zip(weights, rows, strict=True)
    )
    scatter = left / (len(rows) - 2)
    return (
        Estimate(value=idle, u=math.sqrt(scatter * vv / determinant)),
        Estimate(value=each, u=math.sqrt(scatter * dd / determinant)),
    )
