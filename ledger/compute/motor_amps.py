"""Full-load amps of three-phase motors and the load a panel carries, by the NEC's tables.

For planning only. The nameplate rules for overload protection, and a licensed electrician and
the local code decide what is built.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ledger.compute.quantities import check_above_zero, check_not_negative
from ledger.compute.units import convert

ELECTRICAL_CAUTION = (
    "For planning only: a licensed electrician and the local code decide; the motor's nameplate "
    "rules for overload protection."
)

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
class NotTabled:
    """The table has no such row or column; `next_hp` is the next size up, where there is one."""

    text: str
    next_hp: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelLoad:
    """A panel's connected amps, the amps its feeder must carry by 430.24, and what is spare.

    `spare_a` is the rating less the required amps, and negative where the rating is exceeded.
    """

    connected_a: float
    required_a: float
    rating_a: float
    spare_a: float
    caution: str = ELECTRICAL_CAUTION


def full_load_amps(motor_hp: float, volts: int) -> float | NotTabled:
    """Amps of a motor by NEC Table 430.250, for a size and a rated voltage that it lists.

    Nothing is interpolated: between two sizes the answer names the next size up. The table's 230,
    460 and 575 V stand for systems of 220-240, 440-480 and 550-600 V. Raises ValueError for a
    size not above zero.
    """
    check_above_zero("motor_hp", motor_hp)
    if volts not in TABLE_VOLTS:
        return NotTabled(
            text=f"Table 430.250 has no column for {volts} V: "
            f"it has {', '.join(map(str, TABLE_VOLTS))} V"
        )
    row = FULL_LOAD_AMPS.get(motor_hp)
    if row is not None:
        return row[TABLE_VOLTS.index(volts)]
    next_hp = next((size for size in FULL_LOAD_AMPS if size > motor_hp), None)
    if next_hp is None:
        return NotTabled(
            text=f"{motor_hp:g} hp is above the sizes kept here: read the code's table"
        )
    return NotTabled(
        text=f"Table 430.250 has no {motor_hp:g} hp: the next size up is {next_hp:g} hp",
        next_hp=next_hp,
    )


def motor_size_hp(power_kw: float) -> float | NotTabled:
    """The least motor of the table's sizes, in hp, that gives a power at its shaft.

    Raises ValueError for a power not above zero.
    """
    check_above_zero("power_kw", power_kw)
    # A power that came from a size by conversion should give that size back.
    wanted_hp = convert(power_kw, "kw", "hp") * (1 - 1e-9)
    size = next((size for size in FULL_LOAD_AMPS if size >= wanted_hp), None)
    if size is None:
        return NotTabled(text=f"{power_kw:.3g} kW is above the motor sizes kept here")
    return size


def panel_load(
    motor_amps: Sequence[float],
    *,
    rating_a: float,
    continuous_a: float = 0.0,
    noncontinuous_a: float = 0.0,
) -> PanelLoad:
    """What a panel's feeder must carry: NEC 430.24 over its motors and other loads.

    125 % of the highest rated motor, plus all other motors, plus the other loads: 100 % of what
    does not run continuously and 125 % of what does. The exceptions for duty cycles and for
    interlocked motors are left to the electrician. Motor amps are those of the table (430.6(A)).
    Raises ValueError for negative amps or a rating not above zero.
    """
    check_above_zero("rating_a", rating_a)
    for amps in (*motor_amps, continuous_a, noncontinuous_a):
        check_not_negative("amps", amps)
    connected_a = math.fsum((*motor_amps, continuous_a, noncontinuous_a))
    extra_a = (LARGEST_MOTOR_SHARE - 1) * (max(motor_amps, default=0.0) + continuous_a)
    required_a = connected_a + extra_a
    return PanelLoad(
        connected_a=connected_a,
        required_a=required_a,
        rating_a=rating_a,
        spare_a=rating_a - required_a,
    )
