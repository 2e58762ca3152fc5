"""The limits that readings should keep: one place, so that every page holds them to the same."""

from typing import TypeAlias

from ledger.compute.spray import SOUND_SHARE
from ledger.compute.wear import MOST_FORCE_PER_NORMAL, belt_deflection_mm, chain_limit_percent
from ledger.model.machines import (
    BeltRating,
    ChainRating,
    ClothRating,
    ElectricDrive,
    Machine,
    Point,
)

Limits: TypeAlias = tuple[float | None, float | None]
"""The lowest and the highest value, in the unit of the kind; None where none is stated."""

# The force noted beside a belt is taken as the middle of the maker's range, which goes from the
# normal force to half as much again. Common practice, no source.
FORCE_PER_NORMAL = (1 + MOST_FORCE_PER_NORMAL) / 2


def no_limits(_machine: Machine, _point: Point | None) -> Limits:
    """For quantities of which the files state no limit."""
    return None, None


def full_load(machine: Machine, _point: Point | None) -> Limits:
    """At most the full-load current of the motor's nameplate, in A."""
    drive = machine.drive
    return None, drive.full_load_a if isinstance(drive, ElectricDrive) else None


def worn_length(_machine: Machine, point: Point | None) -> Limits:
    """At least the length at which strips are replaced, in mm."""
    rating = point.rating if point else None
    return rating.worn_length_mm if isinstance(rating, ClothRating) else None, None


def chain_limit(_machine: Machine, point: Point | None) -> Limits:
    """At most the elongation of `compute.wear.chain_limit_percent`, in %."""
    rating = point.rating if point else None
    if not isinstance(rating, ChainRating):
        return None, None
    return None, chain_limit_percent(adjustable=rating.adjustable)


def sound_flow(_machine: Machine, _point: Point | None) -> Limits:
    """Between the shares of its new flow that a sound nozzle gives, in %."""
    return 100 * SOUND_SHARE.low, 100 * SOUND_SHARE.high


def belt_limits(_machine: Machine, point: Point | None) -> Limits:
    """The deflections between which a belt's tension is good, under the force noted, in mm."""
    rating = point.rating if point else None
    return belt_limits_mm(rating.span_mm) if isinstance(rating, BeltRating) else (None, None)


def belt_limits_mm(span_mm: float) -> tuple[float, float]:
    """The deflections between which a belt of this span has good tension, in mm."""
    due = belt_deflection_mm(span_mm) * FORCE_PER_NORMAL
    return due / MOST_FORCE_PER_NORMAL, due
