"""Shaft speed with its uncertainty, from what a person can count, time, tap, film or read off.

Uncertainties follow the GUM (JCGM 100:2008). A reading is n = 60 N/(T p) r/min for N passes of
p evenly spaced marks in T seconds, with (u(n)/n)² = (u(N)/N)² + (u(T)/T)² (GUM 5.1.6).
"""

import itertools
import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from ledger.compute.distributions import normal_cdf, t_quantile
from ledger.compute.numbers import check_above_zero, check_level, check_not_negative, check_whole


def e_number(value: float, expanded: float, reference: float, expanded_reference: float) -> float:
    """The E_n number (x - X)/√(U(x)² + U(X)²) of ISO 13528, with expanded uncertainties.

    Infinite where both uncertainties are zero and the values differ, zero where they are equal.

    Raises:
        ValueError: a value is not finite, or an uncertainty is negative.
    """
    if not (math.isfinite(value) and math.isfinite(reference)):
        raise ValueError(f"expected finite values, not {value!r} and {reference!r}")
    if not (expanded >= 0 and expanded_reference >= 0):
        raise ValueError("expected expanded uncertainties of 0 or more")
    difference = value - reference
    width = math.hypot(expanded, expanded_reference)
    if width == 0:
        return math.copysign(math.inf, difference) if difference else 0.0
    return difference / width


CountStart = Literal["random", "on-pass"]
"""When the watch was started: at a random moment, or on a pass that is not counted."""


HAND_TIMING_U_S = 0.10
"""Start-to-stop standard uncertainty of a hand-held stop-watch, in seconds.

One press scatters by 0.07 s and its lateness of 0.11 s cancels between start and stop
(Am. J. Phys. 87(2) 110, 2019): 0.07 √2 = 0.10.
"""


COVERAGE = 2 * normal_cdf(2) - 1
"""The coverage probability of k = 2 for a normal distribution: 95.45 % (GUM G.6.6, table G.2)."""


_COUNT_U = {
    # A count of whole passes in a window laid at random errs by a triangle of half-width 1.
    "random": 1 / math.sqrt(6),
    # Started on a pass, it lacks between nought and one pass: a rectangle, centred by adding half.
    "on-pass": 1 / math.sqrt(12),
}

_COUNT_OFFSET = {"random": 0.0, "on-pass": 0.5}

# A frame holds the start and the stop each to half a frame either way: a triangle of half-width 1.
_FRAME_U = 1 / math.sqrt(6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Speed:
    """A shaft speed, its combined standard uncertainty and the degrees of freedom of that."""

    rpm: float
    u_rpm: float
    dof: float = math.inf

    def expanded(self, coverage: float = COVERAGE) -> float:
        """The expanded uncertainty U = k u in r/min, k from `coverage_factor`."""
        return coverage_factor(self.dof, coverage) * self.u_rpm


def coverage_factor(dof: float, coverage: float = COVERAGE) -> float:
    """The factor k for a coverage probability, from Student's t (GUM G.3.2, G.6.4).

    The default of 95.45 % gives k = 2 for infinitely many degrees of freedom and the last but
    one column of GUM table G.2 for fewer, so that one rule serves counts and taps.

    Raises:
        ValueError: coverage outside (0, 1), or dof not positive.
    """
    check_level(coverage=coverage)
    if math.isinf(dof) and coverage == COVERAGE:
        return 2.0
    return t_quantile((1 + coverage) / 2, dof)


def from_pass_count(
    passes: int,
    seconds: float,
    *,
    passes_per_turn: int = 1,
    start: CountStart = "random",
    u_seconds: float = HAND_TIMING_U_S,
) -> Speed:
    """Speed from whole passes counted in a set time.

    With a random start u(N) = 1/√6 (GUM 4.3.9). With the watch started on a pass that is not
    counted, half a pass is added and u(N) = 1/√12 (GUM 4.3.7); counting that first pass as one is
    the fence-post fault. The scatter of repeated counts is no substitute: for one speed and one
    window it is √(f(1-f)) with f the fraction of a pass left over, and may be nought.

    Raises:
        ValueError: fewer than one pass, a part of a pass, a time or number of marks not above 0,
            a negative timing uncertainty, or an unknown start. No pass at all is no speed: a
            shaft that stands still is a finding.
    """
    check_whole(passes=passes, passes_per_turn=passes_per_turn)
    check_above_zero(seconds=seconds)
    if start not in _COUNT_U:
        raise ValueError(f"expected the start 'random' or 'on-pass', not {start!r}")
    counted = passes + _COUNT_OFFSET[start]
    rpm = 60 * counted / (seconds * passes_per_turn)
    return Speed(
        rpm=rpm,
        u_rpm=u_of_pass_count(
            rpm, seconds, passes_per_turn=passes_per_turn, start=start, u_seconds=u_seconds
        ),
    )


def from_timed_turns(
    turns: int,
    seconds: float,
    *,
    passes_per_turn: int = 1,
    u_seconds: float = HAND_TIMING_U_S,
) -> Speed:
    """Speed from the time of whole turns, the watch started on a pass and stopped on a pass.

    The starting pass is number nought. There is no counting term: u(n)/n = u(T)/T. Where several
    marks pass in a turn, `turns` is the number of passes timed.

    Raises:
        ValueError: fewer than one turn, a part of a turn, a time or number of marks not above 0,
            or a negative timing uncertainty.
    """
    check_whole(turns=turns, passes_per_turn=passes_per_turn)
    check_above_zero(seconds=seconds)
    rpm = 60 * turns / (seconds * passes_per_turn)
    return Speed(rpm=rpm, u_rpm=u_of_timed_turns(rpm, seconds, u_seconds=u_seconds))


def from_tachometer(
    rpm: float, *, accuracy_percent: float = 0.0, accuracy_rpm: float = 0.0
) -> Speed:
    """Speed from an instrument with its own stated accuracy.

    The maker's limits, percent of reading and r/min together, are taken as the half-width of a
    rectangle: u = a/√3 (GUM 4.3.7).

    Raises:
        ValueError: the speed is not above 0, an accuracy is negative, or none is given.
    """
    check_above_zero(rpm=rpm)
    check_not_negative(accuracy_percent=accuracy_percent, accuracy_rpm=accuracy_rpm)
    half_width = rpm * accuracy_percent / 100 + accuracy_rpm
    if half_width == 0:
        raise ValueError("expected the stated accuracy of the instrument, in percent or r/min")
    return Speed(rpm=rpm, u_rpm=half_width / math.sqrt(3))


def from_video(
    turns: int, frames: int, frames_per_second: float, *, u_relative_rate: float = 0.0
) -> Speed:
    """Speed from whole turns between two frames of a film: n = 60 N fps/F.

    The start and the stop are each known to half a frame, so u(F) = 1/√6. `u_relative_rate` is
    the relative standard uncertainty of the frame rate; 29.97 is not 30, and taking one for the
    other is a fault of 0.1 %, not an uncertainty.

    Raises:
        ValueError: fewer than one turn or frame, parts of them, or a frame rate not above 0.
    """
    check_whole(turns=turns, frames=frames)
    check_above_zero(frames_per_second=frames_per_second)
    check_not_negative(u_relative_rate=u_relative_rate)
    rpm = 60 * turns * frames_per_second / frames
    return Speed(rpm=rpm, u_rpm=rpm * math.hypot(_FRAME_U / frames, u_relative_rate))


def u_of_pass_count(
    rpm: float,
    seconds: float,
    *,
    passes_per_turn: int = 1,
    start: CountStart = "random",
    u_seconds: float = HAND_TIMING_U_S,
) -> float:
    """The standard uncertainty in r/min that a pass count of this length has at this speed.

    Raises:
        ValueError: as `from_pass_count`.
    """
    check_whole(passes_per_turn=passes_per_turn)
    check_above_zero(seconds=seconds)
    check_not_negative(u_seconds=u_seconds)
    count_term = 60 * _COUNT_U[start] / (seconds * passes_per_turn)
    return math.hypot(count_term, rpm * u_seconds / seconds)


def u_of_timed_turns(rpm: float, seconds: float, *, u_seconds: float = HAND_TIMING_U_S) -> float:
    """The standard uncertainty in r/min of timing whole turns for this long at this speed.

    Raises:
        ValueError: as `from_timed_turns`.
    """
    check_above_zero(seconds=seconds)
    check_not_negative(u_seconds=u_seconds)
    return rpm * u_seconds / seconds


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
    check_whole(passes_per_turn=passes_per_turn)
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
