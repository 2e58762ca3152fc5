"""Is a value in its band? Yes, no, or cannot tell; and how much counting it takes to tell."""

import enum
import math
from bisect import bisect_left
from collections.abc import Callable, Sequence
from functools import partial

from ledger.compute.distributions import t_cdf, t_upper_tail
from ledger.compute.speed import (
    HAND_TIMING_U_S,
    CountStart,
    Speed,
    u_of_pass_count,
    u_of_timed_turns,
)
from ledger.values import dataclass

SURE = 0.95
"""The probability from which a verdict is given."""


_STEP_S, _LONGEST_SENSIBLE_S = 5, 300


class Verdict(enum.StrEnum):
    """What a reading says about its band."""

    IN_BAND = "in band"
    OUT_OF_BAND = "out of band"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Limits of one quantity, both included; an infinite limit is no limit.

    Raises:
        ValueError: low is above high, or a limit is not a number.
    """

    low: float
    high: float

    def __post_init__(self) -> None:
        if not self.low <= self.high:
            raise ValueError(f"expected a band from low to high, not {self.low!r} to {self.high!r}")

    @property
    def middle(self) -> float:
        """Halfway between the limits; infinite or undefined (nan) where a limit is infinite."""
        return (self.low + self.high) / 2

    def __contains__(self, value: float) -> bool:
        return self.low <= value <= self.high


@dataclass(frozen=True, slots=True, kw_only=True)
class BandPoint:
    """The band that is wanted at one line rate; the target is its middle unless given."""

    line_rate_per_h: float
    band: Band
    target: float | None = None

    @property
    def aim(self) -> float:
        """The target, or the middle of the band."""
        return self.band.middle if self.target is None else self.target


@dataclass(frozen=True, slots=True, kw_only=True)
class BandAtRate:
    """A band and its target at a line rate; `clamped` when the rate lies outside the points."""

    band: Band
    target: float
    clamped: bool


def p_in_band(value: float, u: float, band: Band, dof: float = math.inf) -> float:
    """The probability that the measurand lies in its band (JCGM 106:2012, 7.2).

    Φ((high - y)/u) - Φ((low - y)/u) for a normal distribution; with finite degrees of freedom the
    distribution is the scaled and shifted t (JCGM 101:2008, 6.4.9.7). With u = 0 it is 1 or 0.

    Raises:
        ValueError: the value is not finite, or u is negative.
    """
    if not (math.isfinite(value) and u >= 0):
        raise ValueError(f"expected a finite value with an uncertainty, not {value!r} and {u!r}")
    if u == 0:
        return 1.0 if value in band else 0.0
    below = (band.low - value) / u
    above = (band.high - value) / u
    # Whichever tail is the smaller keeps its digits in the difference.
    if below > 0:
        return t_upper_tail(below, dof) - t_upper_tail(above, dof)
    return t_cdf(above, dof) - t_cdf(below, dof)


def verdict(value: float, u: float, band: Band, dof: float = math.inf) -> Verdict:
    """In band from 95 % probability, out of band when at least 95 % lies beyond one limit.

    Decision rule after JCGM 106:2012 clause 8 with a probability of 0.95 either way. "At most 5 %
    inside" alone would call a reading out of band that is merely so vague that no band could hold
    it; asking which side it is out on says *cannot tell* there.

    Raises:
        ValueError: as `p_in_band`.
    """
    if p_in_band(value, u, band, dof) >= SURE:
        return Verdict.IN_BAND
    p_below = p_in_band(value, u, Band(low=-math.inf, high=band.low), dof)
    p_above = p_in_band(value, u, Band(low=band.high, high=math.inf), dof)
    if max(p_below, p_above) >= SURE:
        return Verdict.OUT_OF_BAND
    return Verdict.CANNOT_TELL


def verdict_of(speed: Speed, band: Band) -> Verdict:
    """The verdict on a speed, by its own uncertainty and degrees of freedom."""
    return verdict(speed.rpm, speed.u_rpm, band, speed.dof)


def seconds_to_decide_by_count(
    rpm: float,
    band: Band,
    *,
    passes_per_turn: int = 1,
    start: CountStart = "random",
    u_seconds: float = HAND_TIMING_U_S,
) -> int | None:
    """The pass count, in whole steps of 5 s, that would decide if the speed is what it seems.

    None when the speed is too close to a limit for any count up to 300 s.
    """
    u_after = partial(
        u_of_pass_count, rpm, passes_per_turn=passes_per_turn, start=start, u_seconds=u_seconds
    )
    return _seconds_to_decide(rpm, band, u_after)


def seconds_to_decide_by_turns(
    rpm: float, band: Band, *, u_seconds: float = HAND_TIMING_U_S
) -> int | None:
    """The time over which to time whole turns, in steps of 5 s, that would decide.

    None when the speed is too close to a limit for any timing up to 300 s.
    """
    return _seconds_to_decide(rpm, band, partial(u_of_timed_turns, rpm, u_seconds=u_seconds))


def turns_to_decide(rpm: float, band: Band, *, u_seconds: float = HAND_TIMING_U_S) -> int | None:
    """The whole turns to time so as to decide; None as `seconds_to_decide_by_turns`."""
    seconds = seconds_to_decide_by_turns(rpm, band, u_seconds=u_seconds)
    return None if seconds is None else math.ceil(rpm * seconds / 60)


def band_at(points: Sequence[BandPoint], line_rate_per_h: float) -> BandAtRate:
    """Band and target at a line rate: linear between the points, held constant beyond them.

    Raises:
        ValueError: no points, two points at one rate, or a rate that is not finite.
    """
    if not points:
        raise ValueError("expected a band for at least one line rate")
    if not math.isfinite(line_rate_per_h):
        raise ValueError(f"expected a finite line rate, not {line_rate_per_h!r}")
    ordered = sorted(points, key=lambda point: point.line_rate_per_h)
    rates = [point.line_rate_per_h for point in ordered]
    if len(set(rates)) < len(rates):
        raise ValueError("expected one band for each line rate")
    held = min(max(line_rate_per_h, rates[0]), rates[-1])
    upper = bisect_left(rates, held)
    before, after = ordered[max(upper - 1, 0)], ordered[upper]
    step = after.line_rate_per_h - before.line_rate_per_h
    share = (held - before.line_rate_per_h) / step if step else 0.0
    low = _between(before.band.low, after.band.low, share)
    high = _between(before.band.high, after.band.high, share)
    target = _between(before.aim, after.aim, share)
    clamped = held != line_rate_per_h
    return BandAtRate(band=Band(low=low, high=high), target=target, clamped=clamped)


def _between(start: float, end: float, share: float) -> float:
    # At either end, and between alike or infinite ones, the point's own number to the last bit.
    return end if start == end or share == 1 else start + share * (end - start)


def _seconds_to_decide(rpm: float, band: Band, u_after: Callable[[float], float]) -> int | None:
    for seconds in range(_STEP_S, _LONGEST_SENSIBLE_S + _STEP_S, _STEP_S):
        if verdict(rpm, u_after(seconds), band) is not Verdict.CANNOT_TELL:
            return seconds
    return None


def wider_than(speed: Speed, band: Band) -> bool:
    """Whether the expanded uncertainty of a speed is wider than the band it should be in."""
    return speed.expanded() > band.high - band.low
