"""Shaft speed with its uncertainty, from what a person can count, time, tap, film or read off.

Uncertainties follow the GUM (JCGM 100:2008). A reading is n = 60 N/(T p) r/min for N passes of
p evenly spaced marks in T seconds, with (u(n)/n)² = (u(N)/N)² + (u(T)/T)² (GUM 5.1.6). What
several readings err by together (a hand, a scale) is kept apart, as repeating does not help it.
How a hand times: Am. J. Phys. 87(2) 110, 2019.
"""

import enum
import itertools
import math
from collections.abc import Sequence
from typing import Literal, NamedTuple

from ledger.compute.distributions import normal_cdf, t_quantile
from ledger.compute.numbers import check_above_zero, check_level, check_not_negative, check_whole
from ledger.compute.wander import MOST_CORRELATION, Wander, wander
from ledger.values import dataclass, replace


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


def own_u_rpm(speed: "Speed") -> float:
    """What a speed errs by alone; few degrees of freedom widen it to U/2."""
    return speed.u_own_rpm if speed.shared else speed.expanded() / 2


CountStart = Literal["random", "on-pass"]
"""When the watch was started: at a random moment, or on a pass that is not counted."""


HAND_TIMING_U_S = 0.10
"""Start-to-stop standard uncertainty of a hand-held stop-watch, in seconds.

One press scatters by 0.07 s and its lateness of 0.11 s cancels between start and stop
(Am. J. Phys. 87(2) 110, 2019): 0.07 √2 = 0.10.
"""


COVERAGE = 2 * normal_cdf(2) - 1
"""The coverage probability of k = 2 for a normal distribution: 95.45 % (GUM G.6.6, table G.2)."""


PRESS_BIAS_SHARE = 0.5
"""What one person's presses err by in all their timings, as a share of the timing uncertainty.

By default 0.05 s. The tool's own figure, no source.
"""


PRESS_LATE_S = 0.11
"""How late a person starts a watch on a pass (Am. J. Phys. 87(2) 110, 2019).

Nothing cancels it where the end is read off the clock.
"""


_LATENESS_SHARE = 0.6
"""Doubt of that lateness from person to person, likewise: 0.06 s by default. No source."""


_TACHOMETER_STEP_RPM = 0.1
"""The last digit of a tachometer of which nothing else is known. No source."""


_TACHOMETER_REPEAT = 0.002
"""How far a tachometer held to a shaft repeats itself, as a share of the speed. No source."""


_NOMINAL_RATE_U, _EXACT_RATE_U = 0.001 / math.sqrt(3), 0.0001
"""Doubt of a film's frame rate: a whole number may stand for one 0.1 % off (29.97 for 30).

A rate with decimals is taken to one part in ten thousand: the tool's own figure, no source.
"""


_COUNT_U = {
    # A count of whole passes in a window laid at random errs by a triangle of half-width 1.
    "random": 1 / math.sqrt(6),
    # Started on a pass, it lacks between nought and one pass: a rectangle, centred by adding half.
    "on-pass": 1 / math.sqrt(12),
}

_COUNT_OFFSET = {"random": 0.0, "on-pass": 0.5}

_START_LATE_S = {"random": 0.0, "on-pass": PRESS_LATE_S}

# A frame holds the start and the stop each to half a frame either way: a triangle of half-width 1.
_FRAME_U = 1 / math.sqrt(6)


class ErrorSource(enum.StrEnum):
    """What readings of one kind may err by together."""

    PRESS = "press"
    PHASE = "phase"
    SCALE = "scale"
    RATE = "rate"


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedError:
    """A part of a speed's uncertainty that other readings of the same hand or instrument share.

    `u_rpm` is its standard uncertainty here; it grows with the speed where `is_relative`.
    """

    source: ErrorSource
    u_rpm: float
    is_relative: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Speed:
    """A shaft speed, its combined standard uncertainty and the degrees of freedom of that.

    `shared` are the parts of the uncertainty that do not average out.
    """

    rpm: float
    u_rpm: float
    dof: float = math.inf
    shared: tuple[SharedError, ...] = ()

    @property
    def u_shared_rpm(self) -> float:
        return math.hypot(*(part.u_rpm for part in self.shared))

    @property
    def u_own_rpm(self) -> float:
        """The part that is this reading's alone."""
        return math.sqrt(max(self.u_rpm**2 - math.fsum(p.u_rpm**2 for p in self.shared), 0.0))

    def expanded(self, coverage: float = COVERAGE) -> float:
        """The expanded uncertainty U = k u in r/min, k from `coverage_factor`."""
        return coverage_factor(self.dof, coverage) * self.u_rpm


def of_repeats(speed: Speed) -> Speed:
    """The speed with all that repeats from day to day scatter by as its own part.

    A count that starts on a pass jumps by a whole one now and then: over all speeds by s/√π of the
    variance, for a hand that scatters by s passes, from the mean of |j₁ - j₂|/2 over two normal j.
    """

    def left(phase_u: float) -> float:
        jumps = phase_u * speed.u_own_rpm * math.sqrt(12 / math.pi)
        return math.sqrt(phase_u**2 - max(jumps - speed.u_own_rpm**2, 0.0))

    shared = (
        replace(part, u_rpm=left(part.u_rpm)) if part.source is ErrorSource.PHASE else part
        for part in speed.shared
    )
    return replace(speed, shared=tuple(shared))


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
    counted, half a pass is added and u(N) = 1/√12 (GUM 4.3.7), the same in every count of that
    length at that speed; the late press adds `PRESS_LATE_S` to the time. Counting that first
    pass as one is the fence-post fault. The scatter of repeated counts is no substitute: for one
    speed and one window it is √(f(1-f)) with f the fraction of a pass left over, and may be nought.

    Raises:
        ValueError: fewer than one pass, a part of a pass, a time or number of marks not above 0,
            a negative timing uncertainty, or an unknown start. No pass at all is no speed: a
            shaft that stands still is a finding.
    """
    check_whole(passes=passes, passes_per_turn=passes_per_turn)
    check_above_zero(seconds=seconds)
    check_not_negative(u_seconds=u_seconds)
    if start not in _COUNT_U:
        raise ValueError(f"expected the start 'random' or 'on-pass', not {start!r}")
    counted = passes + _COUNT_OFFSET[start]
    rpm = 60 * counted / ((seconds + _START_LATE_S[start]) * passes_per_turn)
    return _of_count(rpm, seconds, passes_per_turn, start, u_seconds)


def _of_count(
    rpm: float, seconds: float, passes_per_turn: int, start: CountStart, u_seconds: float
) -> Speed:
    """A speed that was counted, with what the count errs by alone and with others.

    The others are all presses of the hand; and on a pass the part of a turn left over.
    """
    window = seconds + _START_LATE_S[start]
    count_u = 60 / (window * passes_per_turn) * _COUNT_U[start]
    timing_u = rpm * u_seconds / window
    if start == "random":
        press = SharedError(source=ErrorSource.PRESS, u_rpm=PRESS_BIAS_SHARE * timing_u)
        return _with_parts(rpm, math.hypot(count_u, timing_u), press)
    press = SharedError(source=ErrorSource.PRESS, u_rpm=_LATENESS_SHARE * timing_u)
    phase = SharedError(source=ErrorSource.PHASE, u_rpm=count_u, is_relative=False)
    return _with_parts(rpm, timing_u, press, phase)


def _with_parts(rpm: float, u_own_rpm: float, *shared: SharedError) -> Speed:
    u_rpm = math.hypot(u_own_rpm, *(part.u_rpm for part in shared))
    return Speed(rpm=rpm, u_rpm=u_rpm, shared=shared)


def from_timed_turns(
    turns: int,
    seconds: float,
    *,
    passes_per_turn: int = 1,
    u_seconds: float = HAND_TIMING_U_S,
) -> Speed:
    """Speed from the time of whole turns, the watch started on a pass and stopped on a pass.

    The starting pass is number nought. There is no counting term: u(n)/n = u(T)/T, with what the
    hand errs by each time and what it always errs by. Where several marks pass in a turn, `turns`
    is the number of passes timed.

    Raises:
        ValueError: fewer than one turn, a part of a turn, a time or number of marks not above 0,
            or a negative timing uncertainty.
    """
    check_whole(turns=turns, passes_per_turn=passes_per_turn)
    check_above_zero(seconds=seconds)
    rpm = 60 * turns / (seconds * passes_per_turn)
    u_press = rpm * PRESS_BIAS_SHARE * u_seconds / seconds
    press = SharedError(source=ErrorSource.PRESS, u_rpm=u_press)
    u_rpm = u_of_timed_turns(rpm, seconds, u_seconds=u_seconds)
    return Speed(rpm=rpm, u_rpm=u_rpm, shared=(press,))


def from_tachometer(
    rpm: float,
    *,
    accuracy_percent: float = 0.0,
    accuracy_rpm: float = 0.0,
    step_rpm: float = _TACHOMETER_STEP_RPM,
) -> Speed:
    """Speed from an instrument with its own stated accuracy.

    The maker's limits, percent of reading and r/min, are each the half-width of a rectangle:
    a/√3 (GUM 4.3.7), and no reading with it errs less. Its display's step adds q/√12
    (GUM F.2.2.1), and the hand that holds it `_TACHOMETER_REPEAT`, anew each time.

    Raises:
        ValueError: the speed is not above 0, an accuracy or the step is negative, or no accuracy
            is given.
    """
    check_above_zero(rpm=rpm)
    check_not_negative(
        accuracy_percent=accuracy_percent, accuracy_rpm=accuracy_rpm, step_rpm=step_rpm
    )
    if accuracy_percent == accuracy_rpm == 0:
        raise ValueError("expected the stated accuracy of the instrument, in percent or r/min")
    halves = ((rpm * accuracy_percent / 100, True), (accuracy_rpm, False))
    shared = tuple(
        SharedError(source=ErrorSource.SCALE, u_rpm=half / math.sqrt(3), is_relative=is_relative)
        for half, is_relative in halves
        if half
    )
    own = math.hypot(step_rpm / math.sqrt(12), _TACHOMETER_REPEAT * rpm)
    return _with_parts(rpm, own, *shared)


def from_video(
    turns: int,
    frames: int,
    frames_per_second: float,
) -> Speed:
    """Speed from whole turns between two frames of a film: n = 60 N fps/F.

    The start and the stop are each known to half a frame, so u(F) = 1/√6. The doubt of the frame
    rate is shared by all films of a camera, and that of a nominal rate where it is a whole number,
    as 30 often stands for 29.97.

    Raises:
        ValueError: fewer than one turn or frame, parts of them, or a frame rate not above 0.
    """
    check_whole(turns=turns, frames=frames)
    check_above_zero(frames_per_second=frames_per_second)
    u_relative_rate = _NOMINAL_RATE_U if frames_per_second % 1 == 0 else _EXACT_RATE_U
    rpm = 60 * turns * frames_per_second / frames
    rate = SharedError(source=ErrorSource.RATE, u_rpm=rpm * u_relative_rate)
    return _with_parts(rpm, rpm * _FRAME_U / frames, rate)


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
    return _of_count(rpm, seconds, passes_per_turn, start, u_seconds).u_rpm


def u_of_timed_turns(rpm: float, seconds: float, *, u_seconds: float = HAND_TIMING_U_S) -> float:
    """The standard uncertainty in r/min of timing whole turns for this long at this speed.

    Raises:
        ValueError: as `from_timed_turns`.
    """
    check_above_zero(seconds=seconds)
    check_not_negative(u_seconds=u_seconds)
    timing_u = rpm * u_seconds / seconds
    return math.hypot(timing_u, PRESS_BIAS_SHARE * timing_u)


OWN_BEAT = "the finger keeps its own beat: tap again watching the mark, or time the turns"

WANDERS = "the taps wander together, so the ± is only about right"
"""U held the truth in 95 to 99 % of simulated rows whose taps go together by up to 0.9, and in 80
to 90 % where each tap was timed from the one before."""

COARSE = "the taps are timed in whole seconds: the ± allows for that, and tenths would tell more"

FEW_TAPS = 10
"""Fewer taps tell their own scatter too poorly for U to hold the truth in 95 % of cases."""

RHYTHM_SHOWS_TAPS = 30
"""In a shorter row a rhythm of the finger's own often does not show: at 20 taps that go together by
0.5 in one row of two."""

LEAST_TAPS = 5
"""Fewer taps leave too little to tell a missed tap from a slow shaft."""


CLOCK_RESOLUTION_S = 0.01
"""Assumed step of the clock that stamped the taps; perfect taps still carry u = step/√12."""


PRESS_SCATTER_S = 0.07
"""Standard deviation of one press of a hand, in seconds (Am. J. Phys. 87(2) 110, 2019)."""


_BEYOND_95 = 1.96

_LONGEST_GAP_IN_PASSES = 3.5

_WORST_REPAIRED_SHARE = 0.25

_WORST_JITTER_SHARE = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class TappedSpeed:
    """The speed that a row of taps gives, and what had to be repaired to get it.

    `kept` taps went into the fit; `missed` passes had no tap; `doubled` taps were left out;
    `jitter_s` is the standard deviation of one tap about the fitted line, in seconds; `wander` is
    what the uncertainty grew by, as neighbouring taps err together; `wanders` where that shows
    beyond chance. With `own_beat` the finger kept a rhythm of its own instead of watching the
    mark: tap again. `is_coarse` where all times are whole seconds.
    """

    speed: Speed
    kept: int
    missed: int
    doubled: int
    jitter_s: float
    wander: float
    wanders: bool
    own_beat: bool
    is_coarse: bool

    @property
    def doubt(self) -> str:
        """Why the stated uncertainty is only about right; nothing where it holds."""
        if self.own_beat:
            return OWN_BEAT
        if self.is_coarse:
            return COARSE
        if self.kept < FEW_TAPS:
            return f"with fewer than {FEW_TAPS} taps the ± is only about right"
        return WANDERS if self.wanders else ""


def from_taps(
    times_s: Sequence[float],
    *,
    passes_per_turn: int = 1,
    clock_resolution_s: float = CLOCK_RESOLUTION_S,
) -> TappedSpeed:
    """Speed from the instants of taps, by least squares of t_k = a + P k.

    var(P) = s²/Σ(k - mean k)², which is 12 s²/(m (m² - 1)) for m taps without a gap; s comes from
    the residuals (GUM H.3). Taps follow one another, so that u(P) always grows by what their
    correlation makes of it, with whole effective degrees of freedom (GUM G.4.1). Where it shows,
    and in fewer than `RHYTHM_SHOWS_TAPS` taps, where it would not, U is at least that of the first
    tap and the last alone. A steady lateness drops into a. A tap
    less than half a median gap after the one before is a doubled tap and is left out; a gap near
    two or three median gaps holds missed taps, and the numbering k skips them.

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
    is_coarse = all(time % 1 == 0 for time in kept)
    if is_coarse:
        clock_resolution_s = max(clock_resolution_s, 1.0)
    line = _line(passes, kept, clock_resolution_s)
    period_s, jitter_s, found = line.period_s, line.jitter_s, line.wander
    wanders = found is not None and found.is_shown
    if jitter_s > _WORST_JITTER_SHARE * period_s and is_coarse:
        raise ValueError(
            f"whole seconds are too coarse for a pass every {period_s:.2f} s: give the taps in "
            "tenths, or time whole turns"
        )
    if jitter_s > _WORST_JITTER_SHARE * period_s:
        raise ValueError(
            f"the taps scatter by {jitter_s:.2f} s about a pass every {period_s:.2f} s: tap again"
        )
    rpm = 60 / (period_s * passes_per_turn)
    return TappedSpeed(
        speed=Speed(rpm=rpm, u_rpm=rpm * line.u_period_s / period_s, dof=line.dof),
        kept=len(kept),
        missed=missed,
        doubled=doubled,
        jitter_s=jitter_s,
        wander=found.factor if found else 1.0,
        wanders=wanders,
        own_beat=wanders and found is not None and found.correlation >= MOST_CORRELATION,
        is_coarse=is_coarse,
    )


def u_of_taps(rpm: float, taps: int, *, jitter_s: float, passes_per_turn: int = 1) -> float:
    """The standard uncertainty in r/min that `taps` even taps have at this speed.

    u(P) = jitter √(12/(m (m² - 1))), or more as `from_taps` says, and u(n) = n u(P)/P.

    Raises:
        ValueError: fewer than `LEAST_TAPS` taps.
    """
    if taps < LEAST_TAPS:
        raise ValueError(f"expected at least {LEAST_TAPS} taps, not {taps!r}")
    period_s = 60 / (rpm * passes_per_turn)
    u_period_s = jitter_s * slope_factor(taps)
    if taps < RHYTHM_SHOWS_TAPS:
        u_period_s = max(u_period_s, _by_ends_s(jitter_s, taps - 1) / coverage_factor(math.inf))
    return rpm * u_period_s / period_s


def _by_ends_s(jitter_s: float, passes: int) -> float:
    """U of the period by the first tap and the last alone, in seconds."""
    return _BEYOND_95 * math.sqrt(2) * max(jitter_s, PRESS_SCATTER_S) / passes


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
    from statistics import median  # noqa: PLC0415 - slow to import, and taps alone need it

    return median(b - a for a, b in itertools.pairwise(times_s))


class _Line(NamedTuple):
    """The line through taps: period and its uncertainty, jitter of one tap, in seconds.

    There is no wander in what is finer than the clock, whose rounding is all that is left.
    """

    period_s: float
    jitter_s: float
    u_period_s: float
    dof: float
    wander: Wander | None


def _line(passes: Sequence[int], times_s: Sequence[float], clock_resolution_s: float) -> _Line:
    mean_pass = math.fsum(passes) / len(passes)
    mean_time = math.fsum(times_s) / len(times_s)
    away = [k - mean_pass for k in passes]
    spread = math.fsum(d**2 for d in away)
    products = (d * (t - mean_time) for d, t in zip(away, times_s, strict=True))
    period_s = math.fsum(products) / spread
    residuals = [t - mean_time - period_s * d for d, t in zip(away, times_s, strict=True)]
    scatter = math.sqrt(math.fsum(e * e for e in residuals) / (len(passes) - 2))
    step_u = clock_resolution_s / math.sqrt(12)
    jitter_s = max(scatter, step_u)
    u_period_s = jitter_s / math.sqrt(spread)
    dof = float(len(passes) - 2)
    found = None if scatter <= step_u else wander(away, residuals)
    if found is not None:
        dof = float(max(1, math.floor(found.dof)))
        u_period_s *= found.factor
        if found.is_shown or len(passes) < RHYTHM_SHOWS_TAPS:
            u_period_s = max(u_period_s, _by_ends_s(jitter_s, passes[-1]) / coverage_factor(dof))
    return _Line(period_s, jitter_s, u_period_s, dof, found)
