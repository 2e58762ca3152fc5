"""How readings move: Mann-Kendall's test, the Theil-Sen slope, and when a limit is crossed.

Slopes and crossings hold where uncertainties differ. Brush strips shorten by vehicles washed, not
by days. Readings are parted at the changes that re-base a chart.
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from itertools import combinations, groupby

from ledger.compute.distributions import normal_cdf, normal_quantile
from ledger.compute.meter import MeterLog, day_reaching, total_on
from ledger.compute.numbers import NotEnoughData, check_level, weighted_mean

# With 4 readings even a perfect climb has p = 2/4! = 0.083; 5 is the first to get below 0.05.
MIN_TREND = 5

# From here on the normal approximation serves (Gilbert 1987, 16.4.1, takes it above 10).
EXACT_BELOW = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class MannKendall:
    """The Mann-Kendall test: `s` concordant minus discordant pairs, its variance, two-sided p."""

    s: float
    variance: float
    p_value: float
    is_exact: bool


def mann_kendall(values: Sequence[float]) -> MannKendall | NotEnoughData:
    """The Mann-Kendall test of values in the order of time.

    Below 10 values p is exact, ties included; from 10 on by the normal approximation with the
    correction for ties and for continuity. Undefined (`NotEnoughData`) below 5 values.
    Source: H. B. Mann, Econometrica 13, 1945; M. G. Kendall, Rank Correlation Methods;
    R. O. Gilbert, Statistical Methods for Environmental Pollution Monitoring, 1987, 16.4.
    """
    count = len(values)
    if count < MIN_TREND:
        return NotEnoughData(
            what="readings on different days",
            have=count,
            need=MIN_TREND,
            why="fewer cannot show a trend at 95 % however they lie",
        )
    s = sum(sign(b - a) for a, b in combinations(values, 2))
    ties = _tie_sizes(values)
    variance = (_kendall_term(count) - sum(_kendall_term(t) for t in ties)) / 18
    if count < EXACT_BELOW:
        p_value = _exact_p(abs(s), ties)
    else:
        p_value = two_sided_p(max(abs(s) - 1, 0), variance)
    return MannKendall(s=s, variance=variance, p_value=p_value, is_exact=count < EXACT_BELOW)


def exact_reach(values: Sequence[float], level: float) -> int:
    """The largest |S| that is not significant: pairs beyond it are what the bounds leave out."""
    ties = _tie_sizes(values)
    return max(s for s in _s_distribution(ties) if _exact_p(abs(s), ties) > 1 - level + 1e-12)


def sign(value: float) -> int:
    """-1, 0 or 1."""
    return (value > 0) - (value < 0)


def _kendall_term(n: int) -> int:
    return n * (n - 1) * (2 * n + 5)


def _tie_sizes(values: Sequence[float]) -> tuple[int, ...]:
    return tuple(sorted(values.count(v) for v in set(values)))


def two_sided_p(size: float, variance: float) -> float:
    """The two-sided normal p of a statistic of this size; 1 where it cannot vary."""
    if variance <= 0:
        return 1.0
    return 2 * normal_cdf(-size / math.sqrt(variance))


@lru_cache(maxsize=256)
def _s_distribution(ties: tuple[int, ...]) -> dict[int, float]:
    """The chance of each S over all orders of values with ties of these sizes.

    The number of inversions of a multiset has the Gaussian multinomial as generating function;
    it is built up one group at a time by Gaussian binomials.
    """
    counts = [1]
    placed = 0
    for size in ties:
        # Times Π (1 - q^(placed+i)) / (1 - q^i), i = 1 ... size, each step a polynomial.
        for i in range(1, size + 1):
            raised = counts + [0] * (placed + i)
            for place, count in enumerate(counts):
                raised[place + placed + i] -= count
            for place in range(i, len(raised)):
                raised[place] += raised[place - i]
            counts = raised[: len(counts) + placed]
        placed += size
    most = len(counts) - 1
    total = sum(counts)
    return {most - 2 * k: count / total for k, count in enumerate(counts)}


def _exact_p(size: int, ties: tuple[int, ...]) -> float:
    chances = _s_distribution(ties)
    return min(1.0, math.fsum(p for s, p in chances.items() if abs(s) >= size))


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedReading:
    """A value read on a day, counted in days (fractions allowed) from any fixed start.

    `value` may be in any unit, the same for all readings; `standard_uncertainty` is in that
    unit, an honest guess where it is not known, since limits and forecasts lean on it.

    Raises:
        ValueError: a number is not finite, or the uncertainty is not above zero.
    """

    day: float
    value: float
    standard_uncertainty: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.day) and math.isfinite(self.value)):
            raise ValueError(f"expected finite numbers, not {self.value!r} on day {self.day!r}")
        if not 0 < self.standard_uncertainty < math.inf:
            raise ValueError(
                f"expected a standard uncertainty above 0, not {self.standard_uncertainty!r}"
            )


def one_a_day(readings: Sequence[TimedReading]) -> tuple[TimedReading, ...]:
    """The readings by day, those of one and the same day joined to their weighted mean.

    Pairs of one day carry no word on a slope. Weights are 1/u², and the mean has u = 1/√Σ(1/u²)
    (JCGM 100:2008, 5.1.2, applied to the weighted mean).
    """
    ordered = sorted(readings, key=lambda r: (r.day, r.value, r.standard_uncertainty))
    return tuple(_joined(list(same_day)) for _, same_day in groupby(ordered, lambda r: r.day))


def _joined(same_day: list[TimedReading]) -> TimedReading:
    if len(same_day) == 1:
        return same_day[0]
    mean, u = weighted_mean(
        [r.value for r in same_day], [r.standard_uncertainty**2 for r in same_day]
    )
    return TimedReading(day=same_day[0].day, value=mean, standard_uncertainty=u)


_CLASS_STEP = math.log(1.05)


@dataclass(frozen=True, slots=True, kw_only=True)
class RobustSlope:
    """The median of the slopes of all pairs, in the unit of the readings per day.

    `lower` and `upper` bound the slope at the confidence `level`; `p_value` is two-sided against
    no slope. A bound is infinite where so few readings cannot give one at that level.
    """

    count: int
    slope: float
    lower: float
    upper: float
    level: float
    p_value: float


def robust_slope(
    readings: Sequence[TimedReading], *, level: float = 0.95
) -> RobustSlope | NotEnoughData:
    """The Theil-Sen slope of the readings over days, with its interval and test.

    Readings of one day are joined first. Where the uncertainties are equal within 5 %, this is
    the median of the pairs' slopes with Sen's interval (P. K. Sen, JASA 63, 1968; exact below
    10 days). Where they differ, each pair weighs one over the uncertainty of its difference, the
    estimate is the weighted median, and interval and test come from the weighted sum of signs
    (G. L. Sievers, JASA 73, 1978), whose variance under no slope follows for normal errors from
    the pairs that share a reading. With equal uncertainties that variance is Kendall's, so
    nothing jumps.
    Undefined (`NotEnoughData`) below 5 different days.

    Raises:
        ValueError: the level is not between 0 and 1.
    """
    check_level(level=level)
    daily = one_a_day(readings)
    test = mann_kendall([r.value for r in daily])
    if isinstance(test, NotEnoughData):
        return test
    classes = _uncertainty_classes(daily)
    if len(set(classes)) == 1:
        return _equal_slope(daily, test, level)
    return _weighted_slope(daily, classes, level)


def weighted_quantile(pairs: Sequence[tuple[float, float]], share: float) -> float:
    """The value below which `share` of the weight of (value, weight) pairs lies.

    Where the share falls just between two values, their mean; so equal weights at 0.5 give the
    median.

    Raises:
        ValueError: there are no pairs.
    """
    if not pairs:
        raise ValueError("expected at least one value")
    ordered = sorted(pairs)
    total = math.fsum(weight for _, weight in ordered)
    target = share * total
    slack = 1e-9 * total
    below = 0.0
    for place, (value, weight) in enumerate(ordered):
        below += weight
        if below > target + slack:
            return value
        if below >= target - slack and place + 1 < len(ordered):
            return (value + ordered[place + 1][0]) / 2
    return ordered[-1][0]


def _equal_slope(daily: Sequence[TimedReading], test: MannKendall, level: float) -> RobustSlope:
    slopes = sorted((b.value - a.value) / (b.day - a.day) for a, b in combinations(daily, 2))
    pairs = len(slopes)
    if test.is_exact:
        inside = exact_reach([r.value for r in daily], level)
        below = (pairs - inside) // 2 - 1
        above = pairs - 1 - below
    else:
        reach = normal_quantile((1 + level) / 2) * math.sqrt(test.variance)
        below = round((pairs - reach) / 2) - 1
        above = round((pairs + reach) / 2)
    return RobustSlope(
        count=len(daily),
        slope=weighted_quantile([(slope, 1.0) for slope in slopes], 0.5),
        lower=slopes[below] if below >= 0 else -math.inf,
        upper=slopes[above] if above < pairs else math.inf,
        level=level,
        p_value=test.p_value,
    )


def _weighted_slope(
    daily: Sequence[TimedReading], classes: Sequence[int], level: float
) -> RobustSlope:
    pairs = []
    signed = 0.0
    for (a, class_a), (b, class_b) in combinations(zip(daily, classes, strict=True), 2):
        weight = _pair_weight(class_a, class_b)
        pairs.append(((b.value - a.value) / (b.day - a.day), weight))
        signed += weight * sign(b.value - a.value)
    sd = math.sqrt(_weighted_variance(classes))
    total = math.fsum(weight for _, weight in pairs)
    reach = normal_quantile((1 + level) / 2) * sd / total
    return RobustSlope(
        count=len(daily),
        slope=weighted_quantile(pairs, 0.5),
        lower=weighted_quantile(pairs, (1 - reach) / 2) if reach < 1 else -math.inf,
        upper=weighted_quantile(pairs, (1 + reach) / 2) if reach < 1 else math.inf,
        level=level,
        p_value=two_sided_p(abs(signed), sd**2),
    )


def _uncertainty_classes(daily: Sequence[TimedReading]) -> list[int]:
    """Each uncertainty as a whole number of 5 % steps above the smallest.

    Nobody knows an uncertainty better than that, and few classes keep long records quick.
    """
    smallest = min(r.standard_uncertainty for r in daily)
    return [round(math.log(r.standard_uncertainty / smallest) / _CLASS_STEP) for r in daily]


@lru_cache(maxsize=65536)
def _pair_weight(class_a: int, class_b: int) -> float:
    return 1 / math.hypot(math.exp(class_a * _CLASS_STEP), math.exp(class_b * _CLASS_STEP))


@lru_cache(maxsize=65536)
def _shared_covariance(shared: int, one: int, other: int) -> float:
    """The covariance of two weighted signs whose pairs begin with the same reading.

    (2/π) asin(ρ), ρ the correlation of the two differences: Sheppard's orthant formula.
    """
    both = _pair_weight(shared, one) * _pair_weight(shared, other)
    # Rounding can carry a correlation of 1 beyond it.
    correlation = min(1.0, math.exp(2 * shared * _CLASS_STEP) * both)
    return both * 2 / math.pi * math.asin(correlation)


def _weighted_variance(classes: Sequence[int]) -> float:
    """The variance of the weighted sum of signs where all readings have one true value.

    Only pairs that share a reading have signs that go together; they go apart where the shared
    reading is the later in one pair and the earlier in the other.
    """
    own = math.fsum(_pair_weight(a, b) ** 2 for a, b in combinations(classes, 2))
    after = Counter(classes)
    before: Counter[int] = Counter()
    shared: list[float] = []
    for middle in classes:
        after[middle] -= 1
        surplus = {c: before[c] - after[c] for c in after}
        others = {c: before[c] + after[c] for c in after}
        shared.extend(
            surplus[c] * surplus[d] * _shared_covariance(middle, c, d)
            for c in after
            for d in after
            if surplus[c] and surplus[d]
        )
        shared.extend(-n * _shared_covariance(middle, c, c) for c, n in others.items())
        before[middle] += 1
    return own + math.fsum(shared)


# A median of normal values is √(π/2) times as uncertain as their mean, and the median absolute
# deviation is 1/1.4826 of the standard deviation.
_MEDIAN_LOSS = math.sqrt(math.pi / 2)

_SD_PER_MAD = 1.4826


@dataclass(frozen=True, slots=True, kw_only=True)
class NoTrend:
    """The readings do not show that they move, or move away from the only limit.

    The slope and its bounds are in the unit of the readings per day, at the confidence `level`.
    """

    slope: RobustSlope
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitCrossing:
    """The day on which the level crosses `limit`, if the slope stays what it is.

    `earliest_day` and `latest_day` bound it at the slope's confidence level; an infinite latest
    day means that the data set no end. Days count as those of the readings and may be past.
    """

    limit: float
    day: float
    earliest_day: float
    latest_day: float
    slope: RobustSlope


def limit_crossing(
    readings: Sequence[TimedReading],
    *,
    lower: float | None = None,
    upper: float | None = None,
    level: float = 0.95,
) -> LimitCrossing | NoTrend | NotEnoughData:
    """The day the true level leaves its limits, from the robust slope of `readings`.

    Limits and values share a unit. The line goes through the weighted median of the residuals
    at the readings' mean day with the Theil-Sen slope; the interval solves
    (line - limit)² = t² u² for the day, after E. C. Fieller, J. R. Stat. Soc. B 16, 1954, with
    the uncertainty of level and slope. It is for the level of the line, not for a single
    reading, and supposes that wear goes on in proportion to time.
    `NoTrend` where the slope's interval holds 0 or no limit lies ahead; `NotEnoughData` below 5
    days of readings.

    Raises:
        ValueError: no limit is given, or the lower is above the upper.
    """
    if lower is None and upper is None:
        raise ValueError("expected a lower or an upper limit")
    if lower is not None and upper is not None and lower > upper:
        raise ValueError(f"expected limits in rising order, not {lower!r} and {upper!r}")
    slope = robust_slope(readings, level=level)
    if isinstance(slope, NotEnoughData):
        return slope
    # Bounds and test part by a hair at the edge of significance; both must speak.
    if slope.lower <= 0 <= slope.upper or slope.p_value > 1 - level or slope.slope == 0:
        return NoTrend(slope=slope, text="steady: neither a rise nor a fall shows")
    limit = upper if slope.slope > 0 else lower
    if limit is None:
        return NoTrend(slope=slope, text="the readings move away from the limit")
    pivot, value, u_value = _level(one_a_day(readings), slope.slope)
    value_reach = normal_quantile((1 + level) / 2) * u_value
    slope_reach = (slope.upper - slope.lower) / 2
    ahead = (limit - value) / slope.slope
    earliest, latest = _fieller(
        ahead, share=(slope_reach / slope.slope) ** 2, noise=(value_reach / slope.slope) ** 2
    )
    return LimitCrossing(
        limit=limit,
        day=pivot + ahead,
        earliest_day=pivot + earliest,
        latest_day=pivot + latest,
        slope=slope,
    )


def _fieller(ahead: float, *, share: float, noise: float) -> tuple[float, float]:
    """The days d after the pivot with (d - ahead)² <= noise + share · d², first and last.

    From a share of 1 on the slope is too vague to set an end, and for some limits a beginning.
    """
    radicand = share * ahead**2 + noise * (1 - share)
    if share < 1:
        root = math.sqrt(radicand)
        return (ahead - root) / (1 - share), (ahead + root) / (1 - share)
    if radicand < 0 or ahead <= 0:
        return -math.inf, math.inf
    return (ahead**2 - noise) / (ahead + math.sqrt(radicand)), math.inf


def _level(daily: Sequence[TimedReading], slope: float) -> tuple[float, float, float]:
    """The pivot day, the level of the line there, and its standard uncertainty.

    The uncertainty is the greater of what the readings state and what their scatter shows.
    """
    pivot, u_mean = weighted_mean(
        [r.day for r in daily], [r.standard_uncertainty**2 for r in daily]
    )
    flat = [r.value - slope * (r.day - pivot) for r in daily]
    level = weighted_quantile(
        [(v, 1 / r.standard_uncertainty) for v, r in zip(flat, daily, strict=True)], 0.5
    )
    scaled = [
        (abs(v - level) / r.standard_uncertainty, 1.0) for v, r in zip(flat, daily, strict=True)
    ]
    scatter = _SD_PER_MAD * weighted_quantile(scaled, 0.5)
    return pivot, level, _MEDIAN_LOSS * u_mean * max(1.0, scatter)


# Common practice, no source: a torn edge and a hanging strip are read to about a quarter inch.
STRIP_U_MM = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StripForecast:
    """Wear in mm per thousand vehicles, with limits, and when the strips reach their limit.

    The dates are the middle, earliest and latest by the wear's confidence level and the meter's
    recent rate; None where no date can be set (no end, no rate, or past the year 9999).
    """

    wear_mm_per_thousand: float
    lower_mm_per_thousand: float
    upper_mm_per_thousand: float
    level: float
    limit_mm: float
    reached_on: date | None
    earliest_on: date | None
    latest_on: date | None


def strip_forecast(
    readings: Sequence[TimedReading], *, limit_mm: float, vehicles: MeterLog, level: float = 0.95
) -> StripForecast | NoTrend | NotEnoughData:
    """Strip wear by vehicles washed, and the date it reaches `limit_mm`.

    The readings are lengths in mm on days counted by the calendar (`date.toordinal`).
    The slope is robust (Theil-Sen) over the vehicle meter, not over days, so that a quiet winter
    does not look like better cloth; the crossing's dates follow from the meter's recent rate. The
    readings are of one set of strips: a new set begins anew. Days before the meter's first
    reading count as that reading. `NotEnoughData` without a meter or below five readings at
    different counts, `NoTrend` where the lengths do not show wear.
    """
    placed = [
        replace(reading, day=total / 1000)
        for reading in readings
        if (total := total_on(vehicles, date.fromordinal(int(reading.day)))) is not None
    ]
    if not placed:
        return NotEnoughData(
            what="strip lengths with a vehicle count",
            have=0,
            need=1,
            why="wear is worked out by vehicles, and the vehicle meter has no readings",
        )
    crossing = limit_crossing(placed, lower=limit_mm, level=level)
    if not isinstance(crossing, LimitCrossing):
        return crossing
    return StripForecast(
        wear_mm_per_thousand=-crossing.slope.slope,
        lower_mm_per_thousand=-crossing.slope.upper,
        upper_mm_per_thousand=-crossing.slope.lower,
        level=level,
        limit_mm=limit_mm,
        reached_on=_on(vehicles, crossing.day),
        earliest_on=_on(vehicles, crossing.earliest_day),
        latest_on=_on(vehicles, crossing.latest_day),
    )


def _on(vehicles: MeterLog, thousands: float) -> date | None:
    return day_reaching(vehicles, thousands * 1000) if math.isfinite(thousands) else None


# The length of the worked example of NIST/SEMATECH 6.3.2.2; with weekly readings a quarter.
BASELINE_READINGS = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """The readings from one re-basing change to the next, by day.

    `since_day` is the day of the change, None before the first. `baseline` are the first
    readings, which freeze the limits; `watched` the rest, which are held against them.
    """

    since_day: float | None
    baseline: tuple[TimedReading, ...]
    watched: tuple[TimedReading, ...]


def stretches(
    readings: Sequence[TimedReading],
    *,
    change_days: Sequence[float],
    baseline_readings: int = BASELINE_READINGS,
) -> tuple[Stretch, ...]:
    """Part the readings at each change (a new setpoint, a recorded repair), oldest first.

    A reading on the very day of a change counts to what follows it. Stretches without a reading
    are left out, but for the last, which says since when nothing is known.

    Raises:
        ValueError: `baseline_readings` is below 1.
    """
    if baseline_readings < 1:
        raise ValueError(f"expected a baseline of 1 reading or more, not {baseline_readings!r}")
    ordered = sorted(readings, key=lambda r: (r.day, r.value, r.standard_uncertainty))
    starts: list[float | None] = [None, *sorted(set(change_days))]
    ends = [*starts[1:], None]
    found = []
    for since, until in zip(starts, ends, strict=True):
        held = tuple(
            r
            for r in ordered
            if (since is None or r.day >= since) and (until is None or r.day < until)
        )
        if held or until is None:
            found.append(
                Stretch(
                    since_day=since,
                    baseline=held[:baseline_readings],
                    watched=held[baseline_readings:],
                )
            )
    return tuple(found)
