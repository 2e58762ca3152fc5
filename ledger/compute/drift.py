"""Drift signals from readings whose uncertainties differ, against a frozen baseline.

Two charts of standardised residuals, the individuals chart and the EWMA (J. M. Lucas and M. S.
Saccucci, Technometrics 32(1), 1990, recalled, not read), with limits that follow from how many
false alarms a site will have in a year (run lengths: D. Brook and D. A. Evans, Biometrika 59(3),
1972, recalled, not read). Rules on runs are left out on purpose: runs
and rises add false alarms and find a shift or a linear drift hardly sooner (R. B. Davis and
W. H. Woodall, J. Quality Technology 20(4), 1988, recalled, not read); `trend` judges slopes.
"""

import math
from collections.abc import Sequence
from enum import StrEnum
from functools import lru_cache, partial
from statistics import median

from ledger.compute import numbers
from ledger.compute.distributions import chi2_upper_tail, normal_cdf, t_quantile
from ledger.compute.trend import EXCESS_LEVEL, TimedReading
from ledger.values import dataclass, replace

# From 7 readings a standard deviation is still about 36 % uncertain and 3-sigma limits mislead;
# ISO 7870-2 asks for far more. 8 is the project's own floor.
MIN_BASELINE = 8


STATED_WEIGHT = 5
"""The stated uncertainties weigh as much as so many readings against the scatter seen.

The project's own figure: with a baseline of ten that scatters twice as much as stated, the same
share of false alarms as by the scatter seen alone, and a step of one standard deviation is found
in 16 weeks instead of 80; without excess in 20 instead of 22 (17 by a scatter that is known).
"""


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


def drift_baseline(
    readings: Sequence[TimedReading], *, stated_weight: int = STATED_WEIGHT
) -> DriftBaseline | numbers.NotEnoughData:
    """Freeze a baseline: the weighted mean, and the scatter beyond the stated uncertainties.

    The excess is looked for only where chi-square finds the scatter too large for the stated
    uncertainties at 20 %, and then after R. C. Paule and J. Mandel, J. Res. NBS 87(5), 1982, 377,
    as if `stated_weight` further readings scattered as stated: none where what is stated says how
    finely an instrument is read, and nothing of what the reading itself does from day to day.
    Undefined (`NotEnoughData`) below 8 readings.
    """
    count = len(readings)
    if count < MIN_BASELINE:
        return numbers.NotEnoughData(
            what="baseline readings",
            have=count,
            need=MIN_BASELINE,
            why="a level from fewer is too uncertain to alarm by",
        )
    excess = 0.0
    if chi2_upper_tail(_generalised_chi2(readings, 0.0), count - 1) < EXCESS_LEVEL:
        values = [r.value for r in readings]
        # With an excess of the whole squared range the sum cannot reach its mean.
        high = count * (max(values) - min(values)) ** 2
        beyond = partial(_scatter_beyond, readings, stated_weight=stated_weight)
        excess = numbers.bracketed_root(beyond, 0.0, high)
    centre, centre_uncertainty = _weighted_mean(readings, excess)
    return DriftBaseline(
        count=count,
        centre=centre,
        centre_uncertainty=centre_uncertainty,
        excess_sd=math.sqrt(excess),
        dof=math.inf if excess == 0 else count - 1 + stated_weight,
    )


def _weighted_mean(readings: Sequence[TimedReading], excess: float) -> tuple[float, float]:
    variances = [r.standard_uncertainty**2 + excess for r in readings]
    return numbers.weighted_mean([r.value for r in readings], variances)


def _generalised_chi2(readings: Sequence[TimedReading], excess: float) -> float:
    centre, _ = _weighted_mean(readings, excess)
    return math.fsum(
        (r.value - centre) ** 2 / (r.standard_uncertainty**2 + excess) for r in readings
    )


def _scatter_beyond(readings: Sequence[TimedReading], excess: float, stated_weight: int) -> float:
    """How far chi-square with an excess lies above its mean, the stated scatter weighed in."""
    stated = [r.standard_uncertainty**2 for r in readings]
    as_stated = math.fsum(variance / (variance + excess) for variance in stated) / len(stated)
    seen = _generalised_chi2(readings, excess) - (len(readings) - 1)
    return seen + stated_weight * (as_stated - 1)


EWMA_WEIGHT = 0.2
"""Of the newest reading in the average; from 0.05 to 0.25 for small shifts (Lucas, Saccucci)."""


def chance_of_alarm(*, false_alarms_per_year: float, series: int) -> float:
    """The chance of a false alarm of one series in a year, so that all together have so many.

    1 - exp(-E/S) for E expected false alarms of S series: those of a steady site are about
    Poisson.

    Raises:
        ValueError: the rate or the number of series is not above 0.
    """
    numbers.check_above_zero(false_alarms_per_year=false_alarms_per_year, series=series)
    return -math.expm1(-false_alarms_per_year / series)


@dataclass(frozen=True, slots=True, kw_only=True)
class Widths:
    """Half-widths of the limits of both charts, in standard deviations."""

    reading: float
    average: float


@lru_cache(maxsize=1024)
def limit_widths(*, chance: float, readings_per_year: int, centre_share: float) -> Widths:
    """Limits by which a steady series raises a false alarm in a year with this `chance`.

    `centre_share` is the standard uncertainty of the centre over the standard deviation of a
    reading. Both charts get the same chance p = 0.55 α + 0.15 α², of which they share so much
    that together they make α. Given where the centre lies, readings leave their limits
    independently; averages do so in clusters, as if R readings were θ R + 1 independent ones,
    θ = 0.668 + 0.153 (L - 3). These numbers were fitted to exact run lengths and to simulation;
    the tests hold the chance to 10 % for 5 to 40 series of 12 to 260 readings a year.

    Raises:
        ValueError: the chance is not between 0 and 1, there is no reading, or the share is
            negative.
    """
    numbers.check_level(chance=chance)
    numbers.check_whole(readings_per_year=readings_per_year)
    numbers.check_not_negative(centre_share=centre_share)
    each = 0.55 * chance + 0.15 * chance**2
    # The average of many readings scatters by √(λ/(2 - λ)) of one.
    average_share = centre_share / math.sqrt(EWMA_WEIGHT / (2 - EWMA_WEIGHT))

    def width_of(share: float, *, clustered: bool) -> float:
        def excess(width: float) -> float:
            return each - _chance_outside(width, share, readings_per_year, clustered=clustered)

        return numbers.bracketed_root(excess, 0.0, 9.0)

    return Widths(
        reading=width_of(centre_share, clustered=False),
        average=width_of(average_share, clustered=True),
    )


def _chance_outside(width: float, share: float, readings: int, *, clustered: bool) -> float:
    """The chance of one or more of so many outside, over where the centre may lie."""
    half = width * math.hypot(1, share)
    total = weight = 0.0
    for knot in range(-20, 21):
        z = knot / 4
        density = math.exp(-z * z / 2)
        outside = 0.0
        for level in (half - share * z, half + share * z):
            effective = float(readings)
            if clustered:
                effective = readings * min(max(0.668 + 0.153 * (level - 3), 0.5), 1.0) + 1
            outside += effective * normal_cdf(-level)
        total += density * -math.expm1(-outside)
        weight += density
    return total / weight


class Rule(StrEnum):
    """The rules that can raise a signal."""

    BEYOND_LIMIT = "beyond-limit"
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

    def moved(self, by: float) -> "ChartPoint":
        """The point with its value and the value's limits higher by so much."""
        limits = Limits(
            lower=self.limits.lower + by,
            centre=self.limits.centre + by,
            upper=self.limits.upper + by,
        )
        return replace(self, value=self.value + by, limits=limits)


def chart_points(
    baseline: DriftBaseline,
    readings: Sequence[TimedReading],
    *,
    chance: float,
    readings_per_year: int,
) -> tuple[ChartPoint, ...]:
    """The readings after the baseline, by day, each with its own limits on both charts.

    Limits hold the uncertainty of the reading, the excess scatter and the uncertainty of the
    centre, and are as wide as `limit_widths` says, however few readings made the baseline. Where
    the scatter was estimated the factor is Student's. The EWMA runs on residuals over their
    standard deviations (NIST/SEMATECH 6.3.2.4 with the centre's share added) and is drawn at the
    reading's scale.
    """
    ordered = sorted(readings, key=lambda r: r.day)
    spreads = [math.hypot(r.standard_uncertainty, baseline.excess_sd) for r in ordered]
    if not spreads:
        return ()
    centre = baseline.centre
    widths = limit_widths(
        chance=chance,
        readings_per_year=readings_per_year,
        centre_share=round(baseline.centre_uncertainty / median(spreads), 2),
    )
    factor = _widened(widths.reading, baseline.dof)
    ewma_factor = _widened(widths.average, baseline.dof)
    average = variance = share = 0.0
    points = []
    for index, (reading, spread) in enumerate(zip(ordered, spreads, strict=True)):
        half = factor * math.hypot(spread, baseline.centre_uncertainty)
        average += EWMA_WEIGHT * ((reading.value - centre) / spread - average)
        variance = (1 - EWMA_WEIGHT) ** 2 * variance + EWMA_WEIGHT**2
        share += EWMA_WEIGHT * (1 / spread - share)
        ewma_half = ewma_factor * math.hypot(
            math.sqrt(variance), share * baseline.centre_uncertainty
        )
        point = ChartPoint(
            index=index,
            day=reading.day,
            value=reading.value,
            limits=_about(centre, half),
            average=centre + average / share,
            average_limits=_about(centre, ewma_half / share),
        )
        points.append(point)
    return tuple(points)


def drift_signals(points: Sequence[ChartPoint]) -> tuple[Signal, ...]:
    """Every signal of the readings after the baseline, by reading, then by rule.

    A reading beyond its limits signals each time; the EWMA each time it goes out.
    """
    signals = []
    was_inside = True
    for point in points:
        if not point.limits.hold(point.value):
            value, centre = point.value, point.limits.centre
            signals.append(_signal(Rule.BEYOND_LIMIT, point, value, centre, "one reading"))
        is_inside = point.average_limits.hold(point.average)
        if was_inside and not is_inside:
            value, centre = point.average, point.average_limits.centre
            average = "the weighted average of the readings is"
            signals.append(_signal(Rule.EWMA_BEYOND_LIMIT, point, value, centre, average))
        was_inside = is_inside
    return tuple(signals)


def _signal(rule: Rule, point: ChartPoint, value: float, centre: float, what: str) -> Signal:
    side = "above" if value > centre else "below"
    return Signal(rule=rule, index=point.index, value=value, text=f"{what} {side} its normal range")


def _widened(sigmas: float, dof: float) -> float:
    return t_quantile(normal_cdf(sigmas), dof) if math.isfinite(dof) else sigmas


def _about(centre: float, half: float) -> Limits:
    return Limits(lower=centre - half, centre=centre, upper=centre + half)
