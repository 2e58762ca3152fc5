"""Shaft speed with its uncertainty, from what a person can count, time, film or read off.

Uncertainties follow the GUM (JCGM 100:2008). A reading is n = 60 N/(T p) r/min for N passes of
p evenly spaced marks in T seconds, with (u(n)/n)² = (u(N)/N)² + (u(T)/T)² (GUM 5.1.6).
"""

import math
from dataclasses import dataclass
from typing import Literal

from ledger.compute.distributions import normal_cdf, t_quantile
from ledger.compute.quantities import check_above_zero, check_not_negative, check_whole

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
    if not 0 < coverage < 1:
        raise ValueError(f"expected a coverage between 0 and 1, not {coverage!r}")
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
    check_whole("passes", passes)
    check_above_zero("seconds", seconds)
    if start not in _COUNT_U:
        raise ValueError(f"expected the start 'random' or 'on-pass', not {start!r}")
    counted = passes + _COUNT_OFFSET[start]
    rpm = 60 * counted / (seconds * _checked_marks(passes_per_turn))
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
    check_whole("turns", turns)
    check_above_zero("seconds", seconds)
    rpm = 60 * turns / (seconds * _checked_marks(passes_per_turn))
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
    check_above_zero("rpm", rpm)
    check_not_negative("accuracy_percent", accuracy_percent)
    check_not_negative("accuracy_rpm", accuracy_rpm)
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
    check_whole("turns", turns)
    check_whole("frames", frames)
    check_above_zero("frames_per_second", frames_per_second)
    check_not_negative("u_relative_rate", u_relative_rate)
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
    check_above_zero("seconds", seconds)
    check_not_negative("u_seconds", u_seconds)
    count_term = 60 * _COUNT_U[start] / (seconds * _checked_marks(passes_per_turn))
    return math.hypot(count_term, rpm * u_seconds / seconds)


def u_of_timed_turns(rpm: float, seconds: float, *, u_seconds: float = HAND_TIMING_U_S) -> float:
    """The standard uncertainty in r/min of timing whole turns for this long at this speed.

    Raises:
        ValueError: as `from_timed_turns`.
    """
    check_above_zero("seconds", seconds)
    check_not_negative("u_seconds", u_seconds)
    return rpm * u_seconds / seconds


def _checked_marks(passes_per_turn: int) -> int:
    check_whole("passes_per_turn", passes_per_turn)
    return passes_per_turn
