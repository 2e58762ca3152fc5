"""What the interval of a preventive task buys, as far as the site's own record can say."""

import math
from collections.abc import Sequence
from enum import StrEnum

from ledger.compute.distributions import betainc
from ledger.compute.numbers import NotEnoughData, bracketed_root, check_above_zero
from ledger.values import dataclass

# Six failures all on one side of an even split have p = 2 · 0.5^6 = 0.031, five have 0.0625.
MIN_INTERVAL_FAILURES = 6

_LEVEL = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceSpan:
    """One stretch from a service of a point to the next, or to the end of the record.

    `days` is its length; `failure_days` are the days since that service at which a failure was
    found.

    Raises:
        ValueError: the length is not above 0, or a failure lies outside the stretch.
    """

    days: float
    failure_days: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        check_above_zero(days=self.days)
        if not all(0 <= day <= self.days for day in self.failure_days):
            raise ValueError(f"expected failures within {self.days!r} days of the service")


class IntervalEffect(StrEnum):
    """What the failures say about time since the service."""

    LATE = "more failures late: a shorter interval may prevent some"
    EARLY = "more failures soon after the service: look at how it is done and with what"
    NONE_SHOWN = "no difference shown between soon after a service and late"


@dataclass(frozen=True, slots=True, kw_only=True)
class IntervalValue:
    """Failures and days watched before and after half the interval, and their comparison.

    `rate_ratio` is the failure rate of the late half over that of the early one, infinite where
    the early half had none, with two-sided limits at 95 %; `p_value` is
    two-sided against equal rates.
    """

    early_failures: int
    late_failures: int
    early_days: float
    late_days: float
    rate_ratio: float
    ratio_lower: float
    ratio_upper: float
    p_value: float
    effect: IntervalEffect


def interval_value(
    spans: Sequence[ServiceSpan], *, interval_days: float
) -> IntervalValue | NotEnoughData:
    """Does time since the service matter? Failures before and after half the interval.

    If it does not, failures fall to both halves in proportion to the days watched, so the late
    ones are binomial given their sum (J. Przyborowski and H. Wilenski, Biometrika 31, 1940); the
    limits of the ratio are those of C. J. Clopper and E. S. Pearson, Biometrika 26, 1934. Days
    beyond the interval, where a service came late, count to the late half. It says nothing on
    what would happen without the task. Failures are taken as independent.
    Undefined (`NotEnoughData`) below 6 failures, or where a half was never watched.

    Raises:
        ValueError: the interval is not above 0.
    """
    check_above_zero(interval_days=interval_days)
    half = interval_days / 2
    failures = [day for span in spans for day in span.failure_days]
    early = sum(day < half for day in failures)
    late = len(failures) - early
    early_days = math.fsum(min(span.days, half) for span in spans)
    late_days = math.fsum(max(0.0, span.days - half) for span in spans)
    if len(failures) < MIN_INTERVAL_FAILURES:
        return NotEnoughData(
            what="failures between services",
            have=len(failures),
            need=MIN_INTERVAL_FAILURES,
            why="fewer cannot tell late from early at 95 % even if all fall to one half",
        )
    if late_days == 0:
        return NotEnoughData(
            what="stretches longer than half the interval",
            have=0,
            need=1,
            why="the late half of the interval was never watched",
        )
    share = late_days / (early_days + late_days)
    p_value = _two_sided(late, early, share)
    effect = IntervalEffect.NONE_SHOWN
    if p_value < 1 - _LEVEL:
        is_late = late > share * (early + late)
        effect = IntervalEffect.LATE if is_late else IntervalEffect.EARLY
    scale = early_days / late_days
    lower, upper = _share_limits(late, early)
    return IntervalValue(
        early_failures=early,
        late_failures=late,
        early_days=early_days,
        late_days=late_days,
        rate_ratio=late / early * scale if early else math.inf,
        ratio_lower=lower / (1 - lower) * scale,
        ratio_upper=upper / (1 - upper) * scale if upper < 1 else math.inf,
        p_value=p_value,
        effect=effect,
    )


def _two_sided(late: int, early: int, share: float) -> float:
    """Twice the smaller binomial tail, so test and limits always agree."""
    at_least = betainc(late, early + 1, share) if late else 1.0
    at_most = betainc(early, late + 1, 1 - share) if early else 1.0
    return min(1.0, 2 * min(at_least, at_most))


def _share_limits(late: int, early: int) -> tuple[float, float]:
    tail = (1 - _LEVEL) / 2
    lower, upper = 0.0, 1.0
    if late:
        lower = bracketed_root(lambda p: betainc(late, early + 1, p) - tail, 0.0, 1.0)
    if early:
        upper = bracketed_root(lambda p: tail - betainc(early, late + 1, 1 - p), 0.0, 1.0)
    return lower, upper
