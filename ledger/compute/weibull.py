"""Lives of parts that are replaced: a Weibull distribution, and the best age to replace at."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ledger.compute.distributions import chi2_quantile, gammainc
from ledger.compute.numbers import NotEnoughData, bracketed_root, check_above_zero, check_level

# Shape and scale are two numbers; with 2 failures the shape fits almost anything. At 3 its 95 %
# limits still span a factor of seven or so, which the answer then shows.
MIN_FAILURES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """How long one part ran, in hours (or any one unit), and whether it ended by a failure.

    `failed` is False for a part that still runs or was taken out while good (right-censored).

    Raises:
        ValueError: the hours are not above 0 and finite.
    """

    hours: float
    failed: bool

    def __post_init__(self) -> None:
        check_above_zero(hours=self.hours)


@dataclass(frozen=True, slots=True, kw_only=True)
class WeibullFit:
    """Shape β and scale η (hours) with two-sided limits at the confidence `level`.

    η is the life by which 63.2 % have failed. β below 1: early failures, about 1: chance,
    above 1: wear.
    """

    lives: int
    failures: int
    shape: float
    shape_lower: float
    shape_upper: float
    scale_h: float
    scale_lower_h: float
    scale_upper_h: float
    level: float

    def reliability(self, hours: float) -> float:
        """The share of parts that live longer than `hours`."""
        return reliability(hours, shape=self.shape, scale_h=self.scale_h)


def weibull_fit(lives: Sequence[Life], *, level: float = 0.95) -> WeibullFit | NotEnoughData:
    """Fit by maximum likelihood, survivors counted for the time they have run.

    The shape solves Σ t^β ln t/Σ t^β - 1/β - mean(ln t of failures) = 0. Limits are those of the
    likelihood ratio, each parameter with the other at its best (W. Q. Meeker and L. A. Escobar,
    Statistical Methods for Reliability Data, 1998, 8.3); with three failures they hold the truth
    a little less often than they say, but far oftener than those of the Fisher information.
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
    # Over the longest life the powers stay within 0 and 1 for any shape.
    longest = max(life.hours for life in lives)
    logs = [math.log(life.hours / longest) for life in lives]
    failed_mean = (
        math.fsum(log for log, life in zip(logs, lives, strict=True) if life.failed) / failures
    )
    if failed_mean == 0:
        return NotEnoughData(
            what="different lives among the failures",
            have=1,
            need=2,
            why="lives that are all alike set no bound to the shape",
        )
    sample = _Sample(logs=tuple(logs), failures=failures, failed_mean=failed_mean)
    shape = sample.best_shape()
    log_scale = sample.log_scale(shape)
    drop = chi2_quantile(level, 1) / 2
    peak = sample.log_likelihood(shape, log_scale)

    def over_shape(log_shape: float) -> float:
        tried = math.exp(log_shape)
        return sample.log_likelihood(tried, sample.log_scale(tried)) - peak + drop

    def over_scale(tried: float) -> float:
        return sample.log_likelihood(sample.shape_at(tried), tried) - peak + drop

    step = 1 / math.sqrt(failures)
    return WeibullFit(
        lives=len(lives),
        failures=failures,
        shape=shape,
        shape_lower=math.exp(_crossing(over_shape, math.log(shape), -step)),
        shape_upper=math.exp(_crossing(over_shape, math.log(shape), step)),
        scale_h=longest * math.exp(log_scale),
        scale_lower_h=longest * math.exp(_crossing(over_scale, log_scale, -step / shape)),
        scale_upper_h=longest * math.exp(_crossing(over_scale, log_scale, step / shape)),
        level=level,
    )


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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sample:
    """The logarithms of the lives over the longest, and what the failures among them add up to."""

    logs: tuple[float, ...]
    failures: int
    failed_mean: float

    def best_shape(self) -> float:
        def score(shape: float) -> float:
            powers = [math.exp(shape * log) for log in self.logs]
            weighted = math.fsum(p * log for p, log in zip(powers, self.logs, strict=True))
            return weighted / math.fsum(powers) - 1 / shape - self.failed_mean

        # The score rises with the shape from minus infinity to -failed_mean, which is above 0.
        return _positive_root(score)

    def log_scale(self, shape: float) -> float:
        """The best ln η for a shape."""
        total = math.fsum(math.exp(shape * log) for log in self.logs)
        return math.log(total / self.failures) / shape

    def shape_at(self, log_scale: float) -> float:
        """The best shape for a ln η."""
        away = [log - log_scale for log in self.logs]

        def score(shape: float) -> float:
            # Beyond e^500 only the sign counts, and the power might overflow.
            pull = math.fsum(z * math.exp(min(500.0, shape * z)) for z in away)
            return pull / self.failures - (self.failed_mean - log_scale) - 1 / shape

        return _positive_root(score)

    def log_likelihood(self, shape: float, log_scale: float) -> float:
        spent = math.fsum(math.exp(shape * (log - log_scale)) for log in self.logs)
        each = math.log(shape) + shape * (self.failed_mean - log_scale)
        return self.failures * each - spent


def _positive_root(rising: Callable[[float], float]) -> float:
    low = high = 1.0
    while rising(high) < 0:
        high *= 2
    while rising(low) > 0:
        low /= 2
    return bracketed_root(rising, low, high)


def _crossing(falling_from_peak: Callable[[float], float], peak: float, step: float) -> float:
    """Where the curve meets nought on the side of the peak that `step` points to."""
    end = peak + step
    while falling_from_peak(end) > 0:
        step *= 2
        end += step
    return bracketed_root(falling_from_peak, peak, end)


# (t/η)^β of the best age beyond which fewer than one part in 10^6 would live to see it.
_NEVER_REACHED = -math.log(1e-6)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplaceAtAge:
    """The age with the lowest cost rate; rates in the currency of the costs per hour.

    `reliability` is the share that reaches the age.
    """

    age_h: float
    cost_per_h: float
    run_to_failure_cost_per_h: float
    reliability: float


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
    if shape <= 1:
        return RunToFailure(
            cost_per_h=unplanned, reason="no wear: an old part fails no more often than a new one"
        )
    if failure_cost <= planned_cost:
        return RunToFailure(
            cost_per_h=unplanned, reason="a failure costs no more than a planned replacement"
        )
    wanted = failure_cost / (failure_cost - planned_cost)

    def excess(log_x: float) -> float:
        """h(t) ∫₀ᵗR + R(t) less what is wanted, with x = (t/η)^β, free of the scale."""
        x = math.exp(log_x)
        uptime = math.gamma(1 + 1 / shape) * gammainc(1 / shape, x)
        return float(shape * x ** (1 - 1 / shape) * uptime + math.exp(-x)) - wanted

    high = math.log(_NEVER_REACHED)
    if excess(high) <= 0:
        return RunToFailure(
            cost_per_h=unplanned, reason="the best age is one that hardly any part reaches"
        )
    low = high - 1
    while excess(low) >= 0:
        low -= 2
    age = scale_h * math.exp(bracketed_root(excess, low, high) / shape)
    return ReplaceAtAge(
        age_h=age,
        cost_per_h=age_replacement_cost(
            age,
            shape=shape,
            scale_h=scale_h,
            planned_cost=planned_cost,
            failure_cost=failure_cost,
        ),
        run_to_failure_cost_per_h=unplanned,
        reliability=reliability(age, shape=shape, scale_h=scale_h),
    )


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
