"""Rating life of rolling bearings, turning and swinging (ISO 281).

It is the life against fatigue alone. In a wash, water ends bearings before fatigue does, so it is
an upper bound to what can be hoped for.
"""

import math
from dataclasses import dataclass
from enum import Enum

from ledger.compute.quantities import check_above_zero

# ISO 281:2007, table of the life modification factor for reliability. Tables older than that
# edition give 0.21 at 99 %.
RELIABILITY_FACTORS = {90: 1.0, 95: 0.64, 96: 0.55, 97: 0.47, 98: 0.37, 99: 0.25}

# Below this swing the maker's manual cited at `swinging_life` warns of fretting.
FRETTING_SWEEP_DEG = 5.0


class RollingElement(Enum):
    """What rolls, with the exponent p of the life equation (ISO 281)."""

    BALL = 3.0
    ROLLER = 10 / 3


@dataclass(frozen=True, slots=True, kw_only=True)
class SwingingLife:
    """Hours of swinging, and whether the swing is so small that fretting rules instead."""

    hours: float
    fretting: bool


def rating_life_mrev(
    *,
    dynamic_rating_kn: float,
    load_kn: float,
    element: RollingElement,
    reliability_percent: int = 90,
) -> float:
    """Millions of turns that a share of like bearings reach, a1 (C/P)^p (ISO 281:2007).

    `load_kn` is the equivalent dynamic load. Reliabilities are those of the standard's table, 90
    and 95 to 99 %; ValueError for others, and for ratings and loads not above zero.
    """
    check_above_zero("dynamic_rating_kn", dynamic_rating_kn)
    check_above_zero("load_kn", load_kn)
    factor = RELIABILITY_FACTORS.get(reliability_percent)
    if factor is None:
        raise ValueError(
            f"reliability must be one of {', '.join(map(str, RELIABILITY_FACTORS))} %, "
            f"not {reliability_percent}"
        )
    return factor * math.pow(dynamic_rating_kn / load_kn, element.value)


def rating_life_hours(*, life_mrev: float, speed_rpm: float) -> float:
    """Hours of a life in millions of turns at a steady speed, 10⁶ L/(60 n) (ISO 281)."""
    check_above_zero("speed_rpm", speed_rpm)
    return 1e6 * life_mrev / (60 * speed_rpm)


def equivalent_speed_rpm(*, swings_per_min: float, sweep_deg: float) -> float:
    """The turning speed that covers as many degrees as swinging does, n φ/180.

    φ is the whole sweep from end to end, and a swing goes there and back, 2 φ. Catalogues that
    give the angle to one side of the middle, γ = φ/2, write the same as n γ/90.
    """
    check_above_zero("swings_per_min", swings_per_min)
    if not 0 < sweep_deg <= 360:
        raise ValueError(f"sweep_deg is the whole sweep, above 0 to 360, not {sweep_deg}")
    return swings_per_min * sweep_deg / 180


def swinging_life(*, life_mrev: float, swings_per_min: float, sweep_deg: float) -> SwingingLife:
    """Hours of a bearing that swings, 10⁶/(60 n) (180/φ) L with φ the whole sweep.

    Source: life for oscillating motion in a drive maker's manual (1021387, 12/2018, equation
    44.1), where one oscillation means 2 φ; its warning of fretting below 5° is passed on. It
    counts degrees only: O. Menck and M. Stammler, Wind Energ. Sci. 9, 777 (2024), review what it
    leaves out. Errors as for `equivalent_speed_rpm`.
    """
    speed_rpm = equivalent_speed_rpm(swings_per_min=swings_per_min, sweep_deg=sweep_deg)
    return SwingingLife(
        hours=rating_life_hours(life_mrev=life_mrev, speed_rpm=speed_rpm),
        fretting=sweep_deg < FRETTING_SWEEP_DEG,
    )
