"""Shaft speed from tapped passes: one tap each time the mark goes by."""

import itertools
import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from ledger.compute.quantities import check_whole
from ledger.compute.speed import Speed

LEAST_TAPS = 5
"""Fewer taps leave too little to tell a missed tap from a slow shaft."""

CLOCK_RESOLUTION_S = 0.01
"""Assumed step of the clock that stamped the taps; perfect taps still carry u = step/√12."""

_LONGEST_GAP_IN_PASSES = 3.5
_WORST_REPAIRED_SHARE = 0.25
_WORST_JITTER_SHARE = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class TappedSpeed:
    """The speed that a row of taps gives, and what had to be repaired to get it.

    `kept` taps went into the fit; `missed` passes had no tap; `doubled` taps were left out;
    `jitter_s` is the standard deviation of one tap about the fitted line, in seconds.
    """

    speed: Speed
    kept: int
    missed: int
    doubled: int
    jitter_s: float


def from_taps(
    times_s: Sequence[float],
    *,
    passes_per_turn: int = 1,
    clock_resolution_s: float = CLOCK_RESOLUTION_S,
) -> TappedSpeed:
    """Speed from the instants of taps, by least squares of t_k = a + P k.

    var(P) = s²/Σ(k - mean k)², which is 12 s²/(m (m² - 1)) for m taps without a gap; s comes from
    the residuals with m - 2 degrees of freedom (GUM H.3). A steady lateness of the finger drops
    into a. A tap less than half a median gap after the one before is a doubled tap and is left
    out; a gap near two or three median gaps holds missed taps, and the numbering k skips them.

    Raises:
        ValueError: too few taps, times that do not rise, a pause too long to number, too many
            repairs, or taps too uneven to be one shaft. The text says what to do.
    """
    _check_times(times_s)
    check_whole("passes_per_turn", passes_per_turn)
    kept = _without_doubled(times_s)
    doubled = len(times_s) - len(kept)
    if len(kept) < LEAST_TAPS:
        raise ValueError(f"only {len(kept)} separate taps: tap at least {LEAST_TAPS} passes")
    passes = _numbered(kept)
    missed = passes[-1] - (len(kept) - 1)
    if doubled + missed > _WORST_REPAIRED_SHARE * len(times_s):
        raise ValueError(
            f"{missed} missed and {doubled} doubled taps out of {len(times_s)}: tap again"
        )
    period_s, jitter_s, u_period_s = _line(passes, kept, clock_resolution_s)
    if jitter_s > _WORST_JITTER_SHARE * period_s:
        raise ValueError(
            f"the taps scatter by {jitter_s:.2f} s about a pass every {period_s:.2f} s: tap again"
        )
    rpm = 60 / (period_s * passes_per_turn)
    return TappedSpeed(
        speed=Speed(rpm=rpm, u_rpm=rpm * u_period_s / period_s, dof=float(len(kept) - 2)),
        kept=len(kept),
        missed=missed,
        doubled=doubled,
        jitter_s=jitter_s,
    )


def u_of_taps(rpm: float, taps: int, *, jitter_s: float, passes_per_turn: int = 1) -> float:
    """The standard uncertainty in r/min that `taps` even taps have at this speed.

    u(P) = jitter √(12/(m (m² - 1))), and u(n) = n u(P)/P.

    Raises:
        ValueError: fewer than `LEAST_TAPS` taps.
    """
    if taps < LEAST_TAPS:
        raise ValueError(f"expected at least {LEAST_TAPS} taps, not {taps!r}")
    period_s = 60 / (rpm * passes_per_turn)
    return rpm * jitter_s * slope_factor(taps) / period_s


def slope_factor(taps: int) -> float:
    """√(12/(m (m² - 1))): the uncertainty of the period for a tap uncertainty of one."""
    return math.sqrt(12 / (taps * (taps * taps - 1)))


def _check_times(times_s: Sequence[float]) -> None:
    if len(times_s) < LEAST_TAPS:
        raise ValueError(f"only {len(times_s)} taps: tap at least {LEAST_TAPS} passes")
    if not all(math.isfinite(time) for time in times_s):
        raise ValueError("expected the time of every tap to be a finite number of seconds")
    if any(later <= earlier for earlier, later in itertools.pairwise(times_s)):
        raise ValueError("expected the times of the taps to rise from each to the next")


def _without_doubled(times_s: Sequence[float]) -> list[float]:
    shortest = 0.5 * _median_gap(times_s)
    kept = [times_s[0]]
    for time in times_s[1:]:
        if time - kept[-1] >= shortest:
            kept.append(time)
    return kept


def _numbered(times_s: Sequence[float]) -> list[int]:
    """The number of the pass that each tap belongs to, the first being nought."""
    usual = _median_gap(times_s)
    passes = [0]
    for earlier, later in itertools.pairwise(times_s):
        gap = (later - earlier) / usual
        if gap > _LONGEST_GAP_IN_PASSES:
            raise ValueError(f"a pause of {later - earlier:.1f} s between taps: tap again")
        passes.append(passes[-1] + max(1, math.floor(gap + 0.5)))
    return passes


def _median_gap(times_s: Sequence[float]) -> float:
    return statistics.median(b - a for a, b in itertools.pairwise(times_s))


def _line(
    passes: Sequence[int], times_s: Sequence[float], clock_resolution_s: float
) -> tuple[float, float, float]:
    """Period, jitter of one tap, and standard uncertainty of the period, in seconds."""
    mean_pass = statistics.fmean(passes)
    mean_time = statistics.fmean(times_s)
    spread = math.fsum((k - mean_pass) ** 2 for k in passes)
    period_s = (
        math.fsum((k - mean_pass) * (t - mean_time) for k, t in zip(passes, times_s, strict=True))
        / spread
    )
    squares = math.fsum(
        (t - mean_time - period_s * (k - mean_pass)) ** 2
        for k, t in zip(passes, times_s, strict=True)
    )
    scatter = math.sqrt(squares / (len(passes) - 2))
    jitter_s = max(scatter, clock_resolution_s / math.sqrt(12))
    return period_s, jitter_s, jitter_s / math.sqrt(spread)
