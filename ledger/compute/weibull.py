"""Lives of parts that are replaced: a Weibull distribution, and the best age to replace at."""

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

from ledger.compute.distributions import chi2_quantile, gammainc, gammaincc
from ledger.compute.numbers import NotEnoughData, bracketed_root, check_above_zero, check_level
from ledger.values import dataclass, replace

# Shape and scale are two numbers; with 2 failures the shape fits almost anything. At 3 its 95 %
# limits still span a factor of seven or so, which the answer then shows.
MIN_FAILURES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """How long one part ran, in hours (or any one unit), and whether it ended by a failure.

    `failed` is False for a part that still runs or was taken out while good (right-censored).
    `entered_h` is its age when the watch began, 0 for a part that was new or came later: that it
    lived so long is why it was seen at all (left-truncated).

    Raises:
        ValueError: the hours are not above 0 and finite, or the age at the start not below them.
    """

    hours: float
    failed: bool
    entered_h: float = 0.0

    def __post_init__(self) -> None:
        check_above_zero(hours=self.hours)
        if not 0 <= self.entered_h < self.hours:
            raise ValueError(
                f"expected an age at the start below {self.hours!r} h, not {self.entered_h!r}"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Knot:
    """A shape with its weight, and Σ t^β less Σ a^β, over the longest life, for its scale."""

    shape: float
    weight: float
    total: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WeibullFit:
    """Shape β and scale η (hours), in the middle, with two-sided limits.

    η is the life by which 63.2 % have failed. β below 1: early failures, about 1: chance,
    above 1: wear. Both are medians of what the lives leave open, `knots`, in which the scale of
    each shape follows from a gamma distribution.
    """

    lives: int
    failures: int
    shape: float
    shape_lower: float
    shape_upper: float
    scale_h: float
    scale_lower_h: float
    scale_upper_h: float
    longest_h: float
    knots: tuple[_Knot, ...]


def weibull_fit(lives: Sequence[Life], *, level: float = 0.95) -> WeibullFit | NotEnoughData:
    """What lives say of shape and scale, survivors counted for the time they have run.

    By the exact conditional distribution of J. F. Lawless, Statistical Models and Methods for
    Lifetime Data (recalled, not read), which is that of Bayes with the prior 1/(β η):
    p(β) ∝ β^(r-2) Π t_failed^β (Σ t^β - Σ a^β)^-r, a the ages at the start of the watch, and
    (Σ t^β - Σ a^β)/η^β given β a gamma of r failures. The limits hold as often as they say from
    three failures on, for complete lives and those ended by a number of failures (D. A. Bogdanoff,
    thesis, Oregon State, 1971), and nearly so for those ended by a date (S.-L. Jeng and W. Q.
    Meeker, preprint 97-39).
    Undefined (`NotEnoughData`) below 3 failures, or where every failure came at the longest life
    of all, since then the shape has no bound.
    For parts replaced as new only: gaps of a repaired machine need no trend first
    (`reliability.laplace_test`). Source: NIST/SEMATECH e-Handbook 8.4.1.3; IEC 61649:2008.

    Raises:
        ValueError: the level is not between 0 and 1.
    """
    check_level(level=level)
    failures = sum(life.failed for life in lives)
    if failures < MIN_FAILURES:
        return NotEnoughData(
            what="failures",
            have=failures,
            need=MIN_FAILURES,
            why="shape and life would fit almost anything",
        )
    longest = max(life.hours for life in lives)
    if all(life.hours == longest for life in lives if life.failed):
        return NotEnoughData(
            what="different lives among the failures",
            have=1,
            need=2,
            why="lives that are all alike set no bound to the shape",
        )
    knots = _knots(lives, longest, failures)
    tails = ((1 - level) / 2, 0.5, (1 + level) / 2)
    shape_lower, shape, shape_upper = (_shape_quantile(knots, tail) for tail in tails)
    # All of the distribution takes fewer knots than a part of it.
    few = _normalised(knots[:: _KNOTS // _FEW_KNOTS])
    scale_lower, scale, scale_upper = (_scale_quantile(few, failures, tail) for tail in tails)
    return WeibullFit(
        lives=len(lives),
        failures=failures,
        shape=shape,
        shape_lower=shape_lower,
        shape_upper=shape_upper,
        scale_h=longest * scale,
        scale_lower_h=longest * scale_lower,
        scale_upper_h=longest * scale_upper,
        longest_h=longest,
        knots=few,
    )


_KNOTS, _FEW_KNOTS = 2400, 120

# Below e^-30 of the highest density nothing adds up to a digit that is shown.
_LEAST_LOG_DENSITY = 30.0


def _knots(lives: Sequence[Life], longest: float, failures: int) -> tuple[_Knot, ...]:
    """The density of ln β at even steps where it counts, times over the longest life."""
    ends = [math.log(life.hours / longest) for life in lives]
    begins = [math.log(life.entered_h / longest) for life in lives if life.entered_h]
    failed = math.fsum(end for end, life in zip(ends, lives, strict=True) if life.failed)

    def knot_at(log_shape: float) -> _Knot:
        """The weight is the logarithm of the density yet."""
        shape = math.exp(log_shape)
        total = math.fsum(math.exp(shape * end) for end in ends)
        total -= math.fsum(math.exp(shape * begin) for begin in begins)
        log_density = (failures - 1) * math.log(shape) + shape * failed
        return _Knot(shape=shape, weight=log_density - failures * math.log(total), total=total)

    def at(log_shape: float) -> float:
        return knot_at(log_shape).weight

    # The failures put the middle at about 1/spread, and the density falls on either side of it.
    peak = _peak(at, math.log(failures / -failed))
    highest = at(peak)
    low, high = (_falls_to(at, highest - _LEAST_LOG_DENSITY, peak, way) for way in (-0.25, 0.25))
    step = (high - low) / _KNOTS
    knots = [knot_at(low + step * number) for number in range(_KNOTS + 1)]
    return _normalised([replace(one, weight=math.exp(one.weight - highest)) for one in knots])


def _peak(function: Callable[[float], float], start: float) -> float:
    """Where a function of one peak is highest, to a quarter."""
    place, step = start, 0.25
    while function(place + step) > function(place):
        place += step
    while function(place - step) > function(place):
        place -= step
    return place


def _falls_to(function: Callable[[float], float], least: float, peak: float, step: float) -> float:
    place = peak
    while function(place) > least:
        place += step
    return place


def _normalised(knots: Sequence[_Knot]) -> tuple[_Knot, ...]:
    total = math.fsum(knot.weight for knot in knots)
    return tuple(replace(knot, weight=knot.weight / total) for knot in knots)


def _shape_quantile(knots: Sequence[_Knot], share: float) -> float:
    """The shape below which `share` of the weight lies, by the trapezoid rule over ln β."""
    below = 0.0
    for before, knot in pairwise(knots):
        slice_ = (before.weight + knot.weight) / 2
        if below + slice_ >= share:
            part = (share - below) / slice_ * math.log(knot.shape / before.shape)
            return before.shape * math.exp(part)
        below += slice_
    return knots[-1].shape


def _scale_quantile(knots: Sequence[_Knot], failures: int, share: float) -> float:
    """The scale, over the longest life, that is not reached with this probability."""

    def excess(log_scale: float) -> float:
        return share - math.fsum(
            knot.weight
            * gammaincc(failures, knot.total * math.exp(min(700.0, -knot.shape * log_scale)))
            for knot in knots
        )

    low, high = -1.0, 1.0
    while excess(low) < 0:
        low *= 2
    while excess(high) > 0:
        high *= 2
    return math.exp(bracketed_root(excess, low, high))


def reliability(hours: float, *, shape: float, scale_h: float) -> float:
    """exp(-(t/η)^β): the share that lives longer than `hours` (IEC 61649:2008, 5.2).

    Raises:
        ValueError: shape or scale is not above 0, or hours are negative.
    """
    check_above_zero(shape=shape, scale_h=scale_h)
    if hours < 0:
        raise ValueError(f"expected hours of 0 or more, not {hours!r}")
    share_of_scale = hours / scale_h
    if share_of_scale == 0:
        return 1.0
    # Beyond e^7 the share is nought to the last bit, and the power might overflow.
    return math.exp(-math.exp(min(7.0, shape * math.log(share_of_scale))))


def mean_life(*, shape: float, scale_h: float) -> float:
    """η Γ(1 + 1/β), in hours; infinite where too large to hold (IEC 61649:2008, 5.2).

    Raises:
        ValueError: shape or scale is not above 0.
    """
    check_above_zero(shape=shape, scale_h=scale_h)
    # The gamma function of more than 171 has no double.
    return scale_h * math.gamma(1 + 1 / shape) if 1 / shape < 170 else math.inf


# (t/η)^β of the best age beyond which fewer than one part in 10^6 would live to see it.
_NEVER_REACHED = -math.log(1e-6)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplaceAtAge:
    """The age with the lowest cost rate; rates in the currency of the costs per hour."""

    age_h: float
    cost_per_h: float
    run_to_failure_cost_per_h: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RunToFailure:
    """No age pays: replace on failure. The rate is in the currency of the cost per hour."""

    cost_per_h: float
    reason: str


def best_replacement_age(
    *, shape: float, scale_h: float, planned_cost: float, failure_cost: float
) -> ReplaceAtAge | RunToFailure:
    """The age that makes the cost per hour least, for a Weibull life of `shape` and `scale_h`.

    Both costs in one currency, down time and damage included. The optimum solves
    h(t) ∫₀ᵗR + R(t) = c_f/(c_f - c_p), whose left side rises from 1 without end where β > 1.
    `RunToFailure` where β <= 1, where a failure costs no more than a planned replacement, or
    where the age is so high that fewer than one part in a million reaches it.
    Source: R. E. Barlow and L. C. Hunter, Operations Research 8(1), 1960, policy I.

    Raises:
        ValueError: shape, scale or a cost is not above 0 and finite.
    """
    check_above_zero(
        shape=shape, scale_h=scale_h, planned_cost=planned_cost, failure_cost=failure_cost
    )
    unplanned = failure_cost / mean_life(shape=shape, scale_h=scale_h)

    def run_to_failure(reason: str) -> RunToFailure:
        return RunToFailure(cost_per_h=unplanned, reason=reason)

    if shape <= 1:
        return run_to_failure("no wear: an old part fails no more often than a new one")
    if failure_cost <= planned_cost:
        return run_to_failure("a failure costs no more than a planned replacement")
    wanted = failure_cost / (failure_cost - planned_cost)

    def excess(log_x: float) -> float:
        """h(t) ∫₀ᵗR + R(t) less what is wanted, with x = (t/η)^β, free of the scale."""
        x = math.exp(log_x)
        uptime = math.gamma(1 + 1 / shape) * gammainc(1 / shape, x)
        return float(shape * x ** (1 - 1 / shape) * uptime + math.exp(-x)) - wanted

    high = math.log(_NEVER_REACHED)
    if excess(high) <= 0:
        return run_to_failure("the best age is one that hardly any part reaches")
    low = high - 1
    while excess(low) >= 0:
        low -= 2
    age = scale_h * math.exp(bracketed_root(excess, low, high) / shape)
    cost_per_h = age_replacement_cost(
        age, shape=shape, scale_h=scale_h, planned_cost=planned_cost, failure_cost=failure_cost
    )
    return ReplaceAtAge(age_h=age, cost_per_h=cost_per_h, run_to_failure_cost_per_h=unplanned)


ADVISED_AT = 0.95
"""The probability of a saving from which an age for a renewal is advised."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AgeAdvice:
    """An age for a renewal, and what it saves over running to failure as far as lives can say.

    `saves` is the probability that it costs less; `saving` the share of the cost that it saves,
    in the middle, with a 5 % chance of less than `saving_lower` and of more than `saving_upper`.
    """

    age: ReplaceAtAge
    saves: float
    saving: float
    saving_lower: float
    saving_upper: float

    @property
    def is_advised(self) -> bool:
        return self.saves >= ADVISED_AT


def age_advice(
    fit: WeibullFit, *, planned_cost: float, failure_cost: float
) -> AgeAdvice | RunToFailure:
    """Whether an age for a renewal pays, over all that the lives leave open of shape and scale.

    The age is the best one for the middle shape and scale. Few failures are often fitted by a
    shape above 1 where nothing wears (in 3 of 4 cases for 3 failures), so the age is advised only
    where it saves with a probability of 95 %.

    Raises:
        ValueError: a cost is not above 0 and finite.
    """
    best = best_replacement_age(
        shape=fit.shape, scale_h=fit.scale_h, planned_cost=planned_cost, failure_cost=failure_cost
    )
    if isinstance(best, RunToFailure):
        return best
    # The chi-square quantiles over two are those of the gamma distribution.
    gammas = [
        chi2_quantile((place + 0.5) / _SCALES, 2 * fit.failures) / 2 for place in range(_SCALES)
    ]
    age, cost_ratio = best.age_h / fit.longest_h, planned_cost / failure_cost
    savings = []
    for knot in fit.knots:
        for gamma in gammas:
            log_scale = math.log(knot.total / gamma) / knot.shape
            saving = _saving(age, knot.shape, log_scale, cost_ratio)
            savings.append((saving, knot.weight / _SCALES))
    savings.sort()
    return AgeAdvice(
        age=best,
        saves=math.fsum(weight for saving, weight in savings if saving > 0),
        saving=_quantile(savings, 0.5),
        saving_lower=_quantile(savings, 0.05),
        saving_upper=_quantile(savings, 0.95),
    )


_SCALES = 20


def _saving(age: float, shape: float, log_scale: float, cost_ratio: float) -> float:
    """The share of the cost of running to failure that renewing at an age saves.

    1 - [c_p R + c_f (1-R)]/c_f · Γ(1+1/β)/∫₀ᵗR, free of the scale but for (t/η)^β.
    """
    power = math.exp(min(shape * (math.log(age) - log_scale), 7.0))
    survives = math.exp(-power)
    used = gammainc(1 / shape, power)
    return 1 - (cost_ratio * survives + 1 - survives) / used if used else -math.inf


def _quantile(ordered: Sequence[tuple[float, float]], share: float) -> float:
    """The value below which `share` of the weight lies, of (value, weight) in rising order."""
    below = 0.0
    for value, weight in ordered:
        below += weight
        if below >= share:
            return value
    return ordered[-1][0]


def age_replacement_cost(
    age_h: float, *, shape: float, scale_h: float, planned_cost: float, failure_cost: float
) -> float:
    """Cost per hour of replacing at `age_h` or on failure: [c_p R + c_f (1-R)]/∫₀ᵗR.

    An infinite age is running to failure. ∫₀ᵗR = η Γ(1+1/β) P(1/β, (t/η)^β).
    Source: R. E. Barlow and L. C. Hunter, Operations Research 8(1), 1960.

    Raises:
        ValueError: the age is not above 0, or shape or scale is not.
    """
    if not age_h > 0:
        raise ValueError(f"expected an age above 0, not {age_h!r}")
    mean = mean_life(shape=shape, scale_h=scale_h)
    survives = reliability(age_h, shape=shape, scale_h=scale_h)
    uptime = mean * gammainc(1 / shape, (age_h / scale_h) ** shape)
    return (planned_cost * survives + failure_cost * (1 - survives)) / uptime
