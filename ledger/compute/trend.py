"""How fast readings drift: the Theil-Sen slope, also where uncertainties differ."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

from ledger.compute.distributions import normal_quantile
from ledger.compute.mann_kendall import (
    MannKendall,
    exact_reach,
    mann_kendall,
    sign,
    two_sided_p,
)
from ledger.compute.not_enough_data import NotEnoughData
from ledger.compute.timed_reading import TimedReading, one_a_day

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
    if not 0 < level < 1:
        raise ValueError(f"expected a level between 0 and 1, not {level!r}")
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
