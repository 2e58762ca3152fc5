"""The Mann-Kendall test: do values rise or fall with time, whatever their distribution?"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

from ledger.compute.distributions import normal_cdf
from ledger.compute.not_enough_data import NotEnoughData

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
    it is built up one group at a time from Gaussian binomials.
    """
    counts = [1]
    placed = 0
    for size in ties:
        placed += size
        counts = _product(counts, _gaussian_binomial(placed, size))
    most = len(counts) - 1
    total = sum(counts)
    return {most - 2 * k: count / total for k, count in enumerate(counts)}


def _gaussian_binomial(n: int, k: int) -> list[int]:
    """Coefficients of the q-binomial: Π (1 - q^(n-k+i)) / (1 - q^i), i = 1 ... k."""
    counts = [1]
    for i in range(1, k + 1):
        raised = counts + [0] * (n - k + i)
        for place, count in enumerate(counts):
            raised[place + n - k + i] -= count
        for place in range(i, len(raised)):
            raised[place] += raised[place - i]
        counts = raised[: len(counts) + n - k]
    return counts


def _product(a: list[int], b: list[int]) -> list[int]:
    product = [0] * (len(a) + len(b) - 1)
    for i, x in enumerate(a):
        for j, y in enumerate(b):
            product[i + j] += x * y
    return product


def _exact_p(size: int, ties: tuple[int, ...]) -> float:
    chances = _s_distribution(ties)
    return min(1.0, math.fsum(p for s, p in chances.items() if abs(s) >= size))
