"""The line and the cloth: vehicles an hour and what a stop costs, cloth past panels, rotation.

Convention: the vehicle faces along its travel, and where the driver sits on its left the driver
side is the left. A side brush touches the vehicle with the face that looks inward, a top brush
with its lower face, a brush under the vehicle with its upper face. *Against* means that the
touching face moves opposite to the vehicle's travel.
"""

import enum
import math
from collections.abc import Sequence

from ledger.compute.band import Band, BandPoint, band_at
from ledger.compute.numbers import Estimate, check_above_zero, check_not_negative, check_whole
from ledger.compute.speed import HAND_TIMING_U_S
from ledger.values import dataclass


class HeldBy(enum.StrEnum):
    """The side of the band that kept a speed from following the line."""

    LOW = "low limit"
    HIGH = "high limit"


@dataclass(frozen=True, slots=True, kw_only=True)
class ClothRow:
    """A brush speed for one line rate.

    `same_cloth_rpm` would keep cloth per vehicle as at the reference; `rpm` is that speed held in
    the band. `target_rpm` is the band's, and `band_clamped` tells that both were taken from the
    nearest line rate that they are given for.
    """

    line_rate_per_h: float
    band: Band
    target_rpm: float
    same_cloth_rpm: float
    rpm: float
    held_by: HeldBy | None
    band_clamped: bool

    @property
    def cloth_share(self) -> float:
        """Cloth per vehicle against that at the reference."""
        return self.rpm / self.same_cloth_rpm


def chain_speed_over_distance(
    distance_m: float,
    seconds: float,
    *,
    u_distance_m: float = 0.0,
    u_seconds: float = HAND_TIMING_U_S,
) -> Estimate:
    """Conveyor speed in m/s from a distance walked beside a roller: v = s/t (GUM 5.1.6 for u).

    Raises:
        ValueError: a quantity is not above 0, or an uncertainty is negative.
    """
    check_above_zero(distance_m=distance_m, seconds=seconds)
    check_not_negative(u_distance_m=u_distance_m, u_seconds=u_seconds)
    m_s = distance_m / seconds
    u_share = math.hypot(u_distance_m / distance_m, u_seconds / seconds)
    return Estimate(value=m_s, u=m_s * u_share)


def line_rate(chain_m_s: Estimate, pitch_m: float) -> Estimate:
    """Vehicles an hour = 3600 v/pitch, the pitch from front to front of following vehicles.

    Raises:
        ValueError: the speed or the pitch is not above 0.
    """
    check_above_zero(m_s=chain_m_s.value, pitch_m=pitch_m)
    per_h = 3600 * chain_m_s.value / pitch_m
    return Estimate(value=per_h, u=per_h * chain_m_s.u / chain_m_s.value)


def line_rate_of_timed_vehicles(
    gaps: int, seconds: float, *, u_seconds: float = HAND_TIMING_U_S
) -> Estimate:
    """Vehicles an hour from the time between the first and the last front: 3600 gaps/t.

    `gaps` is one less than the vehicles seen: counting the first one is the fence-post fault. The
    uncertainty is that of the timing; how evenly vehicles are loaded it does not say.

    Raises:
        ValueError: fewer than one gap, a part of one, or a time not above 0.
    """
    check_whole(gaps=gaps)
    check_above_zero(seconds=seconds)
    check_not_negative(u_seconds=u_seconds)
    per_h = 3600 * gaps / seconds
    return Estimate(value=per_h, u=per_h * u_seconds / seconds)


def edge_speed_m_s(diameter_m: float, rpm: float) -> float:
    """Speed of the cloth's edge on its circle: π D n/60 in m/s.

    Raises:
        ValueError: the diameter is not above 0, or the speed is negative.
    """
    check_above_zero(diameter_m=diameter_m)
    check_not_negative(rpm=rpm)
    return math.pi * diameter_m * rpm / 60


def cloth_speed_m_s(diameter_m: float, rpm: float, line_m_s: float, *, against: bool) -> float:
    """Speed at which cloth passes the panel: edge + line against the travel, edge - line with it.

    Negative, with the travel, when the vehicle overtakes the cloth.

    Raises:
        ValueError: as `edge_speed_m_s`, or the line speed is negative.
    """
    check_not_negative(line_m_s=line_m_s)
    edge = edge_speed_m_s(diameter_m, rpm)
    return edge + line_m_s if against else edge - line_m_s


def contacts_per_m(strips_around: int, rpm: float, line_m_s: float) -> float:
    """How many strips strike each metre of a vehicle that travels past: strips n/(60 v).

    Raises:
        ValueError: fewer than one strip, a negative speed, or a line that stands.
    """
    check_whole(strips_around=strips_around)
    check_not_negative(rpm=rpm)
    check_above_zero(line_m_s=line_m_s)
    return strips_around * rpm / (60 * line_m_s)


def same_cloth_table(
    line_rates_per_h: Sequence[float],
    points: Sequence[BandPoint],
    *,
    reference_rate_per_h: float,
    reference_rpm: float,
) -> tuple[ClothRow, ...]:
    """Brush speeds that keep cloth per vehicle the same at every line rate, inside the band.

    At one pitch the line speed goes with the line rate, so the brush speed does too:
    n = n_ref rate/rate_ref, held in the band of that rate. Rows are sorted by line rate.

    Raises:
        ValueError: a rate or speed is not above 0, or there is no band.
    """
    check_above_zero(reference_rate_per_h=reference_rate_per_h, reference_rpm=reference_rpm)

    def row(rate: float) -> ClothRow:
        check_above_zero(line_rate_per_h=rate)
        found = band_at(points, rate)
        wanted = reference_rpm * rate / reference_rate_per_h
        rpm = min(max(wanted, found.band.low), found.band.high)
        return ClothRow(
            line_rate_per_h=rate,
            band=found.band,
            target_rpm=found.target,
            same_cloth_rpm=wanted,
            rpm=rpm,
            held_by=HeldBy.LOW if rpm > wanted else HeldBy.HIGH if rpm < wanted else None,
            band_clamped=found.clamped,
        )

    return tuple(map(row, sorted(set(line_rates_per_h))))


SIDES = ("driver", "over", "passenger", "under")

TURNS = ("against", "with")


class Sense(enum.StrEnum):
    """A direction of rotation, as seen from a stated place."""

    CLOCKWISE = "clockwise"
    COUNTERCLOCKWISE = "counterclockwise"


class SeenFrom(enum.StrEnum):
    """Where a person looks from to judge a direction of rotation."""

    ABOVE = "above"
    DRIVER_SIDE = "the driver side"


@dataclass(frozen=True, slots=True, kw_only=True)
class Turning:
    """A direction of rotation and the place it is seen from."""

    sense: Sense
    seen_from: SeenFrom


def expected_turning(side: str, turns: str, *, driver_on_left: bool = True) -> Turning:
    """The sense in which a brush must be seen to turn.

    With the driver on the left and turning against the travel, seen from above: counterclockwise
    on the passenger side and clockwise on the driver side. Shafts that lie across the line, over
    or under the vehicle, are judged by a person on the driver side who looks across the line.
    With the driver on the right, or turning with the travel, each sense is the opposite.

    Raises:
        ValueError: an unknown side, or turns that are neither against nor with.
    """
    if turns not in TURNS:
        raise ValueError(f"expected turns to be 'against' or 'with', not {turns!r}")
    if side not in SIDES:
        raise ValueError(f"expected a side among {', '.join(SIDES)}, not {side!r}")
    is_clockwise = (side in ("driver", "under")) == ((turns == "against") == driver_on_left)
    return Turning(
        sense=Sense.CLOCKWISE if is_clockwise else Sense.COUNTERCLOCKWISE,
        seen_from=SeenFrom.DRIVER_SIDE if side in ("over", "under") else SeenFrom.ABOVE,
    )


def lost_vehicles(minutes: float, per_h: float, leaving: float) -> float:
    """Vehicles lost in a stop: those that would have come, times the share that drives away.

    The rest wait and are washed later. It is the definition; the share is the site's own figure.

    Raises:
        ValueError: a number is negative, or the share is above 1.
    """
    check_not_negative(minutes=minutes, per_h=per_h, leaving=leaving)
    if leaving > 1:
        raise ValueError(f"expected a share of at most 1, not {leaving!r}")
    return minutes / 60 * per_h * leaving


def stop_cost_per_h(
    per_h: float, margin: float, leaving: tuple[float, float]
) -> tuple[float, float]:
    """The least and the most that an hour of the line costs by the vehicles lost in it.

    `margin` is what is left of the price of one wash after water, product and power, and `leaving`
    the least and the greatest share that drives away. The cost is the product of the three, by
    definition; who pays by the month and comes again costs nothing at once.

    Raises:
        ValueError: as `lost_vehicles`, or the margin is negative.
    """
    check_not_negative(margin=margin)
    low, high = (margin * lost_vehicles(60, per_h, share) for share in leaving)
    return low, high
