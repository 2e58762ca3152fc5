"""Figures: water and chemistry, pumps and nozzles, worn cloth, and energy.

Every formula takes plain numbers; `numbers.worked_out` carries the uncertainties of what was read
through it.
"""

import math
from collections.abc import Sequence

from ledger.compute.numbers import Estimate, NotEnoughData, check_above_zero, check_not_negative


def softener_run_l(capacity_g: float, reserve_percent: float, hardness_mg_l: float) -> float:
    """Litres between two regenerations: capacity less reserve, divided by the raw hardness.

    Both as calcium carbonate. It is their definition; iron and manganese load the resin besides.

    Raises:
        ValueError: capacity or hardness is not above 0.
    """
    check_above_zero(capacity_g=capacity_g, hardness_mg_l=hardness_mg_l)
    return 1000 * capacity_g * (1 - reserve_percent / 100) / hardness_mg_l


def recovery(product: float, reject: float) -> float:
    """Share of a membrane's feed that becomes product, from the two flows in one unit.

    Definition, as ASTM D4516 has it.

    Raises:
        ValueError: a flow is not above 0.
    """
    check_above_zero(product=product, reject=reject)
    return product / (product + reject)


def rejection(feed: float, product: float) -> float:
    """Share of the salt that a membrane holds back, from two conductivities of one meter.

    1 - C_product/C_feed, as ASTM D4516 has it.

    Raises:
        ValueError: the feed is not above 0.
    """
    check_above_zero(feed=feed)
    return 1 - product / feed


def feed_side_factor(share: float) -> float:
    """Mean concentration along a membrane's feed side over that of the feed: ln(1/(1-Y))/Y.

    `share` is the recovery Y (ASTM D4516).

    Raises:
        ValueError: the recovery is not between 0 and 1.
    """
    if not 0 < share < 1:
        raise ValueError(f"expected a recovery between 0 and 1, not {share!r}")
    return -math.log1p(-share) / share


_K_COLD, _K_WARM, _REFERENCE_K = 3020.0, 2640.0, 298.15


def temperature_factor(celsius: float) -> float:
    """A polyamide membrane's flow at a temperature over that at 25 °C.

    exp(K (1/298.15 - 1/(273.15 + t))), K 3020 below 25 °C and 2640 from there on (membrane makers'
    manuals).

    Raises:
        ValueError: the water would be ice or steam.
    """
    if not 0 <= celsius <= 100:
        raise ValueError(f"expected water of 0 to 100 °C, not {celsius!r}")
    k = _K_COLD if celsius < 25 else _K_WARM
    return math.exp(k * (1 / _REFERENCE_K - 1 / (273.15 + celsius)))


# 0.01 psi for each mg/L of dissolved solids, which are 0.64 mg/L for each µS/cm in most waters.
_KPA_PER_MG_L = 0.01 * 6.894757
_MG_L_PER_US_CM = 0.64


def net_pressure_kpa(feed: float, reject: float, conductivity: float, share: float) -> float:
    """The net pressure of a stage in kPa, for product that runs off without pressure.

    Feed less half of the pressure drop less the osmotic pressure (ASTM D4516), which is about
    1 psi for 100 mg/L of the mean feed side; `conductivity` of the feed in µS/cm at 25 °C, `share`
    the recovery.
    """
    osmotic = conductivity * _MG_L_PER_US_CM * feed_side_factor(share) * _KPA_PER_MG_L
    return feed - (feed - reject) / 2 - osmotic


def normalised_flow(flow: float, celsius: float, net: float, reference: float) -> float:
    """A membrane's flow as it would be at 25 °C and at the reference net pressure.

    Q (P_reference/P_net)/TCF, in the unit of the flow (ASTM D4516).

    Raises:
        ValueError: a pressure is not above 0.
    """
    check_above_zero(net=net, reference=reference)
    return flow * reference / net / temperature_factor(celsius)


def percent_of_dilution(parts_water: float) -> float:
    """The share of product in percent, `parts_water` being parts of water to one of product.

    n to 1 is one part in n + 1. Who means one part in n says n - 1 to 1; the two differ by
    1/(n + 1).

    Raises:
        ValueError: the parts are negative.
    """
    check_not_negative(parts_water=parts_water)
    return 100 / (parts_water + 1)


DROP_U = 0.5 / math.sqrt(3)
"""Standard uncertainty of a drop count."""


def parts_by_titration(drops: float, blank: float, reference: float, parts: float) -> float:
    """Parts of water to one of product, against a sample mixed of `parts` to one.

    Strength goes with the drops less those of plain water, which both samples hold, so
    n + 1 = (parts + 1) (reference - blank)/(drops - blank) (trade magazine on titration kits). A
    count is right to half a drop either way, u = 0.5/√3 (JCGM 100:2008, 4.3.7).

    Raises:
        ValueError: the blank takes as many drops as a sample, so that nothing is left.
    """
    check_above_zero(drops_less_blank=drops - blank, reference_less_blank=reference - blank)
    return (parts + 1) * (reference - blank) / (drops - blank) - 1


def dose_ml(flow_l_min: float, seconds: float, parts_water: float) -> float:
    """Product in mL in what an arch sprays in so many seconds: its definition.

    Raises:
        ValueError: as `percent_of_dilution`.
    """
    return 10 * flow_l_min * seconds / 60 * percent_of_dilution(parts_water)


def drum_l(depth_mm: float, inside_mm: float) -> float:
    """Litres in an upright round drum, or in a slice of it: π d²/4 times its depth, by geometry."""
    return math.pi * inside_mm**2 / 4 * depth_mm / 1e6


def per_vehicle(amount: float, vehicles: float) -> float:
    """What one vehicle takes on the mean: an amount divided by the vehicles it went to.

    Raises:
        ValueError: there was no vehicle.
    """
    check_above_zero(vehicles=vehicles)
    return amount / vehicles


def reclaim_share(fresh: float, reclaim: float) -> float:
    """Share of the water used that was used before, both by their own meter: its definition.

    Raises:
        ValueError: no water ran.
    """
    check_above_zero(water=fresh + reclaim)
    return reclaim / (fresh + reclaim)


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
