"""Drift signals from readings whose uncertainties differ, against a frozen baseline.

Two charts of standardised residuals, the individuals chart with a rule on runs, and the EWMA.
Of the patterns ISO 7870-2 lists, two are used: a point beyond the limits, and a run on one side
of the centre, nine long (L. S. Nelson, J. Quality Technology 16(4), 1984, test 2). The rule on
steadily rising points is left out on purpose: it adds false alarms and finds a linear drift no
sooner (R. B. Davis and W. H. Woodall, J. Quality Technology 20(4), 1988, recalled, not read);
`trend` judges slopes. How often each chart alarms is worked out in `tests/run_length.py`.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from itertools import groupby
from statistics import median

from ledger.compute.distributions import chi2_upper_tail, normal_cdf, t_quantile
from ledger.compute.numbers import NotEnoughData, bracketed_root, weighted_mean
from ledger.compute.trend import TimedReading, sign

# From 7 readings a standard deviation is still about 36 % uncertain and 3-sigma limits mislead;
# ISO 7870-2 asks for far more. 8 is the project's own floor.
MIN_BASELINE = 8


# A scatter this unlikely under the stated uncertainties is taken as real. At 5 % a baseline of
# ten would miss an excess as large as the uncertainties themselves too often, and alarm falsely.
_EXCESS_LEVEL = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftBaseline:
    """The level of a steady stretch of readings and what scatters about it.

    `centre` and `centre_uncertainty` (standard) and `excess_sd` are in the unit of the readings.
    `excess_sd` is the scatter between readings beyond their own uncertainties, 0 where those
    explain it; `dof` are its degrees of freedom, infinite where there is none.
    """

    count: int
    centre: float
    centre_uncertainty: float
    excess_sd: float
    dof: float


def drift_baseline(readings: Sequence[TimedReading]) -> DriftBaseline | NotEnoughData:
    """Freeze a baseline: the weighted mean, and the scatter beyond the stated uncertainties.

    The excess is looked for only where chi-square finds the scatter too large for the stated
    uncertainties at 20 %, and then by R. C. Paule and J. Mandel, J. Res. NBS 87(5), 1982, 377.
    Undefined (`NotEnoughData`) below 8 readings.
    """
    count = len(readings)
    if count < MIN_BASELINE:
        return NotEnoughData(
            what="baseline readings",
            have=count,
            need=MIN_BASELINE,
            why="a level from fewer is too uncertain to alarm by",
        )
    excess = 0.0
    if chi2_upper_tail(_generalised_chi2(readings, 0.0), count - 1) < _EXCESS_LEVEL:
        values = [r.value for r in readings]
        # With an excess of the whole squared range the sum cannot reach its mean.
        high = count * (max(values) - min(values)) ** 2
        excess = bracketed_root(lambda v: _generalised_chi2(readings, v) - (count - 1), 0.0, high)
    centre, centre_uncertainty = _weighted_mean(readings, excess)
    return DriftBaseline(
        count=count,
        centre=centre,
        centre_uncertainty=centre_uncertainty,
        excess_sd=math.sqrt(excess),
        dof=math.inf if excess == 0 else count - 1,
    )


def _weighted_mean(readings: Sequence[TimedReading], excess: float) -> tuple[float, float]:
    variances = [r.standard_uncertainty**2 + excess for r in readings]
    return weighted_mean([r.value for r in readings], variances)


def _generalised_chi2(readings: Sequence[TimedReading], excess: float) -> float:
    centre, _ = _weighted_mean(readings, excess)
    return math.fsum(
        (r.value - centre) ** 2 / (r.standard_uncertainty**2 + excess) for r in readings
    )


SIGMAS = 3.0

RUN = 9

# Lucas and Saccucci (1990): this pair has a mean run length of 500 readings in control.
EWMA_WEIGHT = 0.2

EWMA_WIDTH = 2.962


class Rule(StrEnum):
    """The rules that can raise a signal."""

    BEYOND_LIMIT = "beyond-limit"
    RUN_ON_ONE_SIDE = "run-on-one-side"
    EWMA_BEYOND_LIMIT = "ewma-beyond-limit"


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """A rule that spoke: at which reading and of what value.

    `index` counts the readings after the baseline from 0, in the order of their days.

    `value` is the reading, or for the EWMA the average, in the unit of the readings.
    """

    rule: Rule
    index: int
    value: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """A centre line and the control limits about it, in the unit of the readings."""

    lower: float
    centre: float
    upper: float

    def hold(self, value: float) -> bool:
        """Whether the value is within the limits or on one."""
        return self.lower <= value <= self.upper


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartPoint:
    """One reading on both charts, everything in the unit of the readings."""

    index: int
    day: float
    value: float
    limits: Limits
    average: float
    average_limits: Limits


def chart_points(
    baseline: DriftBaseline, readings: Sequence[TimedReading]
) -> tuple[ChartPoint, ...]:
    """The readings after the baseline, by day, each with its own limits on both charts.

    Limits hold the uncertainty of the reading, the excess scatter and the uncertainty of the
    centre, so a single steady reading falls outside as often as the published rule says
    (0.27 % at 3 sigma), however few readings made the baseline. Where the scatter was estimated
    the factor is Student's. The EWMA runs on residuals over their standard deviations
    (NIST/SEMATECH 6.3.2.4 with the centre's share added) and is drawn at the reading's scale.
    """
    centre = baseline.centre
    factor = _widened(SIGMAS, baseline.dof)
    ewma_factor = _widened(EWMA_WIDTH, baseline.dof)
    average = variance = share = 0.0
    points = []
    for index, reading in enumerate(sorted(readings, key=lambda r: r.day)):
        spread = math.hypot(reading.standard_uncertainty, baseline.excess_sd)
        half = factor * math.hypot(spread, baseline.centre_uncertainty)
        average += EWMA_WEIGHT * ((reading.value - centre) / spread - average)
        variance = (1 - EWMA_WEIGHT) ** 2 * variance + EWMA_WEIGHT**2
        share += EWMA_WEIGHT * (1 / spread - share)
        ewma_half = ewma_factor * math.hypot(
            math.sqrt(variance), share * baseline.centre_uncertainty
        )
        points.append(
            ChartPoint(
                index=index,
                day=reading.day,
                value=reading.value,
                limits=_about(centre, half),
                average=centre + average / share,
                average_limits=_about(centre, ewma_half / share),
            )
        )
    return tuple(points)


def drift_signals(baseline: DriftBaseline, readings: Sequence[TimedReading]) -> tuple[Signal, ...]:
    """Every signal of the readings after the baseline, by reading, then by rule.

    A reading beyond its limits signals each time; a run once, when it is complete; the EWMA each
    time it goes out.
    """
    points = chart_points(baseline, readings)
    signals = [
        *_beyond_limits(points),
        *_runs(points, baseline.centre, _run_needed(baseline, readings)),
        *_ewma_outside(points),
    ]
    return tuple(sorted(signals, key=lambda s: (s.index, s.rule)))


def run_for_centre(centre_share: float) -> int:
    """How many readings on one side are as unlikely as nine about a centre that is known.

    `centre_share` is the standard uncertainty of the centre over the standard deviation of a
    reading. A baseline of ten puts the centre off by a third of a sigma, and nine on one side
    would then be common; the run is lengthened to keep the published chance of 2 · 0.5⁹.

    Raises:
        ValueError: the share is negative.
    """
    if centre_share < 0:
        raise ValueError(f"expected a share of 0 or more, not {centre_share!r}")
    return _run_for_centre(round(centre_share, 3))


@lru_cache(maxsize=256)
def _run_for_centre(centre_share: float) -> int:
    most = 2 * 0.5**RUN * (1 + 1e-9)
    # The chance falls only as a power of the run for a poor centre: then never.
    runs = (run for run in range(RUN, 101) if _same_side_chance(run, centre_share) <= most)
    return next(runs, 101)


def _same_side_chance(run: int, centre_share: float) -> float:
    """2 ∫ φ(z) Φ(z · share)^run dz by the trapezoid rule, exact here to many digits."""
    step = 0.05
    knots = (k * step for k in range(-160, 161))
    total = math.fsum(math.exp(-z * z / 2) * normal_cdf(z * centre_share) ** run for z in knots)
    return 2 * step * total / math.sqrt(2 * math.pi)


def _run_needed(baseline: DriftBaseline, readings: Sequence[TimedReading]) -> int:
    spreads = [math.hypot(r.standard_uncertainty, baseline.excess_sd) for r in readings]
    if not spreads:
        return RUN
    return run_for_centre(baseline.centre_uncertainty / median(spreads))


def _widened(sigmas: float, dof: float) -> float:
    return t_quantile(normal_cdf(sigmas), dof) if math.isfinite(dof) else sigmas


def _about(centre: float, half: float) -> Limits:
    return Limits(lower=centre - half, centre=centre, upper=centre + half)


def _beyond_limits(points: Sequence[ChartPoint]) -> Iterator[Signal]:
    for point in points:
        if not point.limits.hold(point.value):
            yield Signal(
                rule=Rule.BEYOND_LIMIT,
                index=point.index,
                value=point.value,
                text=f"one reading {_side(point.value, point.limits.centre)} its normal range",
            )


def _runs(points: Sequence[ChartPoint], centre: float, needed: int) -> Iterator[Signal]:
    for side, stretch in groupby(points, lambda p: sign(p.value - centre)):
        run = list(stretch)
        if side and len(run) >= needed:
            last = run[needed - 1]
            yield Signal(
                rule=Rule.RUN_ON_ONE_SIDE,
                index=last.index,
                value=last.value,
                text=f"{needed} readings in a row {_side(last.value, centre)} their first level",
            )


def _ewma_outside(points: Sequence[ChartPoint]) -> Iterator[Signal]:
    inside_before = True
    for point in points:
        inside = point.average_limits.hold(point.average)
        if inside_before and not inside:
            side = _side(point.average, point.average_limits.centre)
            yield Signal(
                rule=Rule.EWMA_BEYOND_LIMIT,
                index=point.index,
                value=point.average,
                text=f"the weighted average of the readings is {side} its normal range",
            )
        inside_before = inside


def _side(value: float, centre: float) -> str:
    return "above" if value > centre else "below"
