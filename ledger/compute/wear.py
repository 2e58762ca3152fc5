"""Chain, belts and dampers: readings against the limits of the trade."""

import math
from dataclasses import dataclass
from enum import StrEnum

from ledger.compute.band import SURE, Band, Verdict, p_in_band, verdict
from ledger.compute.quantities import check_above_zero, check_not_negative, check_whole

# Roller chain: 3 %, or 1.5 % where the centres are fixed, chains run in parallel or the drive must
# run smoothly; 200/N % on a wheel of N teeth where that is less. Chain makers' maintenance pages,
# which refer to ASME B29.1.
ADJUSTABLE_LIMIT_PERCENT, FIXED_LIMIT_PERCENT = 3.0, 1.5
TEETH_LIMIT_PERCENT = 200.0

# Both ends of a tape in millimetres are read to half a graduation: the difference of two rectangles
# is a triangle of half-width 1 mm (JCGM 100:2008, 4.3.9).
TAPE_U_MM = 1 / math.sqrt(6)

# Belt: 1/64 of the span, and from the normal force to half as much again. Source:
# US Army TM 5-4310-339-15, 5-5.1.
DEFLECTION_PER_SPAN = 1 / 64
MOST_FORCE_PER_NORMAL = 1.5


class WearVerdict(StrEnum):
    """Whether wear has reached its limit."""

    WITHIN = "within its limit"
    WORN = "worn: replace"
    CANNOT_TELL = "cannot tell: measure over more pitches"


class BeltVerdict(StrEnum):
    """What the force says that deflects a belt by its due distance."""

    GOOD = "tension good"
    SLACK = "slack"
    TIGHT = "too tight"
    CANNOT_TELL = "cannot tell"


class DamperVerdict(StrEnum):
    """What the arm does when it is let go."""

    GOOD = "returns without bouncing"
    BOUNCES = "bounces: damper weak"


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainWear:
    """A chain's elongation with its standard uncertainty, its limit, and the verdict."""

    elongation_percent: float
    u_percent: float
    limit_percent: float
    verdict: WearVerdict


def chain_limit_percent(*, adjustable: bool, most_teeth: int | None = None) -> float:
    """The elongation at which a roller chain is replaced, by drive and largest wheel.

    Source: chain makers' maintenance pages, as at the constants above. The maker's limit for the
    chain in hand comes first. Raises ValueError for a wheel of no teeth.
    """
    limit = ADJUSTABLE_LIMIT_PERCENT if adjustable else FIXED_LIMIT_PERCENT
    if most_teeth is None:
        return limit
    check_whole("most_teeth", most_teeth)
    return min(limit, TEETH_LIMIT_PERCENT / most_teeth)


def chain_wear(
    *,
    measured_mm: float,
    pitches: int,
    pitch_mm: float,
    limit_percent: float,
    u_measured_mm: float = TAPE_U_MM,
) -> ChainWear:
    """Elongation over so many pitches of a taut chain, 100 (L - n P)/(n P), against its limit.

    Measured from pin to pin with the drive locked out; more pitches make it surer. The tape is
    taken as graduated in millimetres unless an uncertainty is given. A verdict is given from 95 %
    probability (after JCGM 106:2012, clause 8). A negative elongation is a wrong pitch or count,
    and shows as one. Raises ValueError for lengths, counts or limits not above zero.
    """
    check_above_zero("measured_mm", measured_mm)
    check_whole("pitches", pitches)
    check_above_zero("pitch_mm", pitch_mm)
    check_above_zero("limit_percent", limit_percent)
    new_mm = pitches * pitch_mm
    elongation = 100 * (measured_mm - new_mm) / new_mm
    u_percent = 100 * u_measured_mm / new_mm
    p_within = p_in_band(elongation, u_percent, Band(low=-math.inf, high=limit_percent))
    if p_within >= SURE:
        found = WearVerdict.WITHIN
    else:
        found = WearVerdict.WORN if p_within <= 1 - SURE else WearVerdict.CANNOT_TELL
    return ChainWear(
        elongation_percent=elongation,
        u_percent=u_percent,
        limit_percent=limit_percent,
        verdict=found,
    )


def belt_deflection_mm(span_mm: float) -> float:
    """How far to push a V-belt at mid-span: 1/64 of the span (TM 5-4310-339-15, 5-5.1)."""
    check_above_zero("span_mm", span_mm)
    return span_mm * DEFLECTION_PER_SPAN


def belt_verdict(*, force_n: float, normal_force_n: float, u_force_n: float = 0.0) -> BeltVerdict:
    """Whether the force that gives the due deflection lies in one to one and a half of normal.

    `normal_force_n` is the belt maker's for this belt and sheave. Source: TM 5-4310-339-15,
    5-5.1; a new belt may be set to twice normal to run in, and is not judged by this. Raises
    ValueError for a normal force not above zero.
    """
    check_above_zero("normal_force_n", normal_force_n)
    band = Band(low=normal_force_n, high=MOST_FORCE_PER_NORMAL * normal_force_n)
    match verdict(force_n, u_force_n, band):
        case Verdict.IN_BAND:
            return BeltVerdict.GOOD
        case Verdict.OUT_OF_BAND:
            return BeltVerdict.SLACK if force_n < band.low else BeltVerdict.TIGHT
        case Verdict.CANNOT_TELL:
            return BeltVerdict.CANNOT_TELL


def damper_verdict(bounces: int, *, allowed: int = 0) -> DamperVerdict:
    """What counted bounces of an arm say of its damper; none are allowed unless the maker does.

    Common practice, no source: the damper returns the arm with no bouncing. Raises ValueError for
    a negative count.
    """
    check_not_negative("bounces", bounces)
    check_not_negative("allowed", allowed)
    return DamperVerdict.GOOD if bounces <= allowed else DamperVerdict.BOUNCES
