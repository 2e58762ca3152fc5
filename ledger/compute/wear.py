"""Nozzles, chain, belts, cloth and dampers: readings against the limits of the trade.

A verdict is given from 95 % probability (after JCGM 106:2012, clause 8).
"""

import math
from collections.abc import Sequence
from enum import StrEnum

from ledger.compute.band import Band, Verdict, verdict
from ledger.compute.numbers import check_above_zero, check_not_negative, check_whole
from ledger.compute.shared import Shared, SharingReading, shared_mean
from ledger.compute.speed import HAND_TIMING_U_S
from ledger.values import dataclass

# Ten percent off the flow of a new nozzle at the same pressure, over or under, calls for a second
# look and a replacement: spray makers' manuals say so of both sides.
SOUND_SHARE = Band(low=0.9, high=1.1)


class WearVerdict(StrEnum):
    """What a reading says of a nozzle, a chain, a belt, a strip of cloth or a damper."""

    SOUND = "sound"
    WITHIN = "within its limit"
    GOOD = "tension good"
    RETURNS = "returns without bouncing"
    WORN = "worn: replace"
    CLOGGED = "clogged: clean and catch again"
    SLACK = "slack"
    TIGHT = "too tight"
    BOUNCES = "bounces: damper weak"
    TOO_SHORT = "shorter than new: count the pitches again"
    CANNOT_TELL = "cannot tell"
    CATCH_LONGER = "cannot tell: catch for longer"
    MORE_PITCHES = "cannot tell: measure over more pitches"
    MORE_STRIPS = "cannot tell: measure more strips"


@dataclass(frozen=True, slots=True, kw_only=True)
class CatchTest:
    """Water caught from one nozzle: millilitres, seconds, and the pressure at the nozzle in kPa.

    The volume is read to half a graduation of the jug. Raises ValueError for a volume below zero
    or a time, pressure or graduation not above zero.
    """

    volume_ml: float
    seconds: float
    pressure_kpa: float
    graduation_ml: float = 20.0
    u_seconds: float = HAND_TIMING_U_S
    u_pressure_kpa: float = 0.0

    def __post_init__(self) -> None:
        check_not_negative(volume_ml=self.volume_ml)
        check_above_zero(
            seconds=self.seconds, pressure_kpa=self.pressure_kpa, graduation_ml=self.graduation_ml
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class NozzleState:
    """A nozzle's flow at the rated pressure, as a share of new too, and the verdict.

    `share` has the standard uncertainty `u_share`; it is the mean of so many `catches`.
    """

    catches: int
    flow_at_rated_l_min: float
    share: float
    u_share: float
    verdict: WearVerdict


def flow_at_pressure(flow: float, *, from_pressure: float, to_pressure: float) -> float:
    """A nozzle's flow at another pressure, Q2 = Q1 √(p2/p1), in the unit of `flow`.

    Both pressures are drops across the nozzle in one unit. Holds for turbulent flow through a
    fixed opening, so not for hollow-cone or air-fed nozzles whose makers give another exponent.
    Raises ValueError for a negative flow or a pressure not above zero.
    """
    check_not_negative(flow=flow)
    check_above_zero(from_pressure=from_pressure, to_pressure=to_pressure)
    return flow * math.sqrt(to_pressure / from_pressure)


def catch_flow_l_min(volume_ml: float, seconds: float) -> float:
    """Q = V/t in litres a minute, from millilitres and seconds."""
    check_above_zero(seconds=seconds)
    return volume_ml / 1000 * 60 / seconds


def nozzle_state(
    tests: Sequence[CatchTest], *, new_flow_l_min: float, rated_pressure_kpa: float
) -> NozzleState:
    """Whether what was caught in one visit is the flow of a sound nozzle, by its rated pressure.

    The share of new flow q = (V/t) √(p_rated/p)/Q_new has (u(q)/q)² = (u(V)/V)² + (u(t)/t)² +
    (u(p)/2p)² (JCGM 100:2008, 5.1.6), with u(V) of a rectangle half a graduation to each side
    (4.3.7). Several catches are averaged; they share the gauge (`compute.shared.shared_mean`), and
    those that read alike are rounded alike and count once. Where they do not agree the last counts
    alone: the nozzle was cleaned between. A verdict is given from 95 % probability (after JCGM
    106:2012, clause 8). Nothing caught is clogged. Raises ValueError without a catch, or for a new
    flow or rated pressure not above zero.
    """
    check_above_zero(new_flow_l_min=new_flow_l_min, rated_pressure_kpa=rated_pressure_kpa)
    shares = [
        _share_caught(test, new_flow_l_min, rated_pressure_kpa) for test in dict.fromkeys(tests)
    ]
    mean, catches = shared_mean(shares), len(tests)
    if mean.inflated:
        mean, catches = shared_mean(shares[-1:]), 1
    return NozzleState(
        catches=catches,
        flow_at_rated_l_min=mean.value * new_flow_l_min,
        share=mean.value,
        u_share=mean.u,
        verdict=_verdict_by_side("nozzle", mean.value, mean.u, SOUND_SHARE),
    )


def _share_caught(
    test: CatchTest, new_flow_l_min: float, rated_pressure_kpa: float
) -> SharingReading:
    def share_of_new(volume_ml: float) -> float:
        flow = flow_at_pressure(
            catch_flow_l_min(volume_ml, test.seconds),
            from_pressure=test.pressure_kpa,
            to_pressure=rated_pressure_kpa,
        )
        return flow / new_flow_l_min

    share = share_of_new(test.volume_ml)
    return SharingReading(
        value=share,
        u_own=math.hypot(
            share_of_new(1) * test.graduation_ml / 2 / math.sqrt(3),
            share * test.u_seconds / test.seconds,
        ),
        shared=(Shared(key="gauge", u=share * test.u_pressure_kpa / (2 * test.pressure_kpa)),),
    )


def average_hides(nozzles: Sequence[NozzleState]) -> bool:
    """Whether the mean share of an arch looks sound while a nozzle of it is worn or clogged.

    A clogged nozzle hides the wear of the others in an average, so nozzles are judged one by one.
    """
    if not nozzles:
        return False
    mean = math.fsum(nozzle.share for nozzle in nozzles) / len(nozzles)
    faults = {WearVerdict.WORN, WearVerdict.CLOGGED}
    return mean in SOUND_SHARE and any(nozzle.verdict in faults for nozzle in nozzles)


# Of each kind of part the verdicts for: below the band, in it, above it, cannot tell.
_BY_SIDE = {
    "nozzle": (WearVerdict.CLOGGED, WearVerdict.SOUND, WearVerdict.WORN, WearVerdict.CATCH_LONGER),
    "chain": (WearVerdict.WITHIN, WearVerdict.WITHIN, WearVerdict.WORN, WearVerdict.MORE_PITCHES),
    "belt": (WearVerdict.SLACK, WearVerdict.GOOD, WearVerdict.TIGHT, WearVerdict.CANNOT_TELL),
    "cloth": (WearVerdict.WORN, WearVerdict.WITHIN, WearVerdict.WITHIN, WearVerdict.MORE_STRIPS),
}


def _verdict_by_side(kind: str, value: float, u: float, band: Band) -> WearVerdict:
    below, inside, above, unsure = _BY_SIDE[kind]
    found = verdict(value, u, band)
    if found is Verdict.CANNOT_TELL:
        return unsure
    if found is Verdict.IN_BAND:
        return inside
    return below if value < band.low else above


# Roller chain: 3 %, or 1.5 % where the centres are fixed, chains run in parallel or the drive must
# run smoothly; 200/N % on a wheel of N teeth is less only from 67 teeth on. Chain makers'
# maintenance pages, which refer to ASME B29.1.
ADJUSTABLE_LIMIT_PERCENT, FIXED_LIMIT_PERCENT = 3.0, 1.5

# Forged rivetless conveyor chain: ASME B29.22 states no limit of wear; makers of conveyor chain say
# 2 % in general. Look from there, renew at 3 %: an own rule, no source.
RIVETLESS_LIMIT_PERCENT = 3.0


# Both ends of a tape in millimetres are read to half a graduation: the difference of two rectangles
# is a triangle of half-width 1 mm (JCGM 100:2008, 4.3.9).
TAPE_U_MM = 1 / math.sqrt(6)


# Belt: 1/64 of the span, and from the normal force to half as much again. Source:
# US Army TM 5-4310-339-15, 5-5.1.
DEFLECTION_PER_SPAN = 1 / 64

MOST_FORCE_PER_NORMAL = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainWear:
    """A chain's elongation with its standard uncertainty, and the verdict."""

    elongation_percent: float
    u_percent: float
    verdict: WearVerdict


def chain_limit_percent(*, adjustable: bool) -> float:
    """The elongation at which a roller chain is replaced, by its drive.

    Source: chain makers' maintenance pages, as at the constants above. The maker's limit for the
    chain in hand comes first.
    """
    return ADJUSTABLE_LIMIT_PERCENT if adjustable else FIXED_LIMIT_PERCENT


def chain_wear(
    *, measured_mm: float, pitches: int, pitch_mm: float, limit_percent: float
) -> ChainWear:
    """Elongation over so many pitches of a taut chain, 100 (L - n P)/(n P), against its limit.

    Measured from pin to pin with the drive locked out; more pitches make it surer. The tape is
    taken as graduated in millimetres. A verdict is given from 95 %
    probability (after JCGM 106:2012, clause 8). A chain shorter than new by more than the tape can
    err (k = 2) is a wrong pitch or count, and is called so. Raises ValueError for lengths, counts
    or limits not above zero.
    """
    check_above_zero(measured_mm=measured_mm, pitch_mm=pitch_mm, limit_percent=limit_percent)
    check_whole(pitches=pitches)
    new_mm = pitches * pitch_mm
    elongation = 100 * (measured_mm - new_mm) / new_mm
    u_percent = 100 * TAPE_U_MM / new_mm
    band = Band(low=-math.inf, high=limit_percent)
    verdict = _verdict_by_side("chain", elongation, u_percent, band)
    if elongation + 2 * u_percent < 0:
        verdict = WearVerdict.TOO_SHORT
    return ChainWear(elongation_percent=elongation, u_percent=u_percent, verdict=verdict)


def belt_deflection_mm(span_mm: float) -> float:
    """How far to push a V-belt at mid-span: 1/64 of the span (TM 5-4310-339-15, 5-5.1)."""
    check_above_zero(span_mm=span_mm)
    return span_mm * DEFLECTION_PER_SPAN


def belt_verdict(*, force_n: float, normal_force_n: float, u_force_n: float = 0.0) -> WearVerdict:
    """Whether the force that gives the due deflection lies in one to one and a half of normal.

    `normal_force_n` is the belt maker's for this belt and sheave. Source: TM 5-4310-339-15,
    5-5.1; a new belt may be set to twice normal to run in, and is not judged by this. Raises
    ValueError for a normal force not above zero.
    """
    check_above_zero(normal_force_n=normal_force_n)
    band = Band(low=normal_force_n, high=MOST_FORCE_PER_NORMAL * normal_force_n)
    return _verdict_by_side("belt", force_n, u_force_n, band)


def strip_verdict(length_mm: float, u_mm: float, *, limit_mm: float) -> WearVerdict:
    """Whether strips of cloth have worn to the length at which they are replaced, all in mm."""
    return _verdict_by_side("cloth", length_mm, u_mm, Band(low=limit_mm, high=math.inf))


def damper_verdict(bounces: int, *, allowed: int = 0) -> WearVerdict:
    """What counted bounces of an arm say of its damper; none are allowed unless the maker does.

    Common practice, no source: the damper returns the arm with no bouncing. Raises ValueError for
    a negative count.
    """
    check_not_negative(bounces=bounces, allowed=allowed)
    return WearVerdict.RETURNS if bounces <= allowed else WearVerdict.BOUNCES
