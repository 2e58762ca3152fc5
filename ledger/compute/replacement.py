"""At what age a part is best replaced before it fails, and what that saves."""

import math
from dataclasses import dataclass

from ledger.compute.distributions import gammainc
from ledger.compute.roots import bracketed_root
from ledger.compute.weibull import mean_life, reliability

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
    for name, value in (
        ("shape", shape),
        ("scale", scale_h),
        ("planned cost", planned_cost),
        ("failure cost", failure_cost),
    ):
        if not 0 < value < math.inf:
            raise ValueError(f"expected a {name} above 0, not {value!r}")
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
        return _hazard_times_uptime(math.exp(log_x), shape) - wanted

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


def _hazard_times_uptime(x: float, shape: float) -> float:
    """h(t) ∫₀ᵗR + R(t) with x = (t/η)^β, free of the scale."""
    uptime = math.gamma(1 + 1 / shape) * gammainc(1 / shape, x)
    return float(shape * x ** (1 - 1 / shape) * uptime + math.exp(-x))
