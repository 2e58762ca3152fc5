"""How often a machine fails and how often to look, what an interval buys, and a shelf of spares.

Terms follow IEC 60050-192. Times are operating hours; any one unit of time serves as well. Before
the gaps between failures are used for a life, a trend test says whether they may be.
"""

import math
import statistics
import sys
from collections.abc import Sequence
from enum import StrEnum
from itertools import pairwise

from ledger.compute import numbers
from ledger.compute.distributions import betainc, chi2_quantile, f_quantile, normal_cdf
from ledger.compute.numbers import NotEnoughData
from ledger.compute.weibull import Life, WeibullFit, weibull_fit
from ledger.values import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanTimeBetweenFailures:
    """Operating hours per failure with limits at the confidence `level`, two-sided.

    With no failure `estimate_h` is None, `upper_h` infinite and `lower_h` a one-sided limit.
    """

    estimate_h: float | None
    lower_h: float
    upper_h: float
    level: float


def mean_time_between_failures(
    hours: float, failures: int, *, level: float = 0.90
) -> MeanTimeBetweenFailures:
    """MTBF = hours/failures with chi-square limits, for a constant failure rate.

    2·hours/χ²(1-α/2; 2r+2) to 2·hours/χ²(α/2; 2r), for a watch that a date ended.
    Source: NIST/SEMATECH e-Handbook 8.4.5.1; IEC 60605-4. Test for trend first: with one the
    figure means nothing.

    Raises:
        ValueError: hours not above 0, failures negative, or the level not between 0 and 1.
    """
    numbers.check_level(level=level)
    numbers.check_above_zero(hours=hours)
    if failures < 0:
        raise ValueError(f"expected 0 failures or more, not {failures!r}")
    # Without a failure all that may be said is one-sided.
    tail = (1 - level) / 2
    below = 1 - tail if failures else level
    return MeanTimeBetweenFailures(
        estimate_h=hours / failures if failures else None,
        lower_h=2 * hours / chi2_quantile(below, 2 * failures + 2),
        upper_h=2 * hours / chi2_quantile(tail, 2 * failures) if failures else math.inf,
        level=level,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Availability:
    """The share of the required time in an up state, with two-sided limits at the `level`.

    `up_h` and `down_h` are hours of required time. Without a stop `estimate` and limits are None,
    and `mean_up_lower_h` alone is said: a one-sided limit of the mean time up.
    """

    stops: int
    up_h: float
    down_h: float
    estimate: float | None
    lower: float | None
    upper: float | None
    mean_up_lower_h: float
    level: float


def availability(
    required_h: float, stops_h: Sequence[float], *, level: float = 0.90
) -> Availability:
    """Steady-state availability (IEC 60050-192-08) of a watch that a date ended.

    A = S/(S + Y) of the hours up and down within `required_h`; `stops_h` are the hours of each
    stop. ρ = Y/S has the upper limit (Y/n)(n+1)/S/F(tail; 2n, 2n+2) and the lower one
    (Y/S)/F(1-tail; 2n, 2n), after K. S. Trivedi, Probability and Statistics, 2nd edition, example
    10.27, with 2n+2 for a watch that no failure ended. Where stops scatter more than exponential
    ones (cv > 1), n of the repair times is n/cv². For stops that come at a constant rate.

    Raises:
        ValueError: the required hours are not above 0, a stop not above 0, the stops fill the
            required hours, or the level is not between 0 and 1.
    """
    numbers.check_level(level=level)
    numbers.check_above_zero(required_h=required_h)
    for stop_h in stops_h:
        numbers.check_above_zero(stop_h=stop_h)
    count, down = len(stops_h), math.fsum(stops_h)
    up = required_h - down
    if not up > 0:
        raise ValueError(f"expected stops of less than {required_h!r} h, not {down!r} h")
    tail = (1 - level) / 2
    estimate = lower = upper = None
    if count:
        cv = statistics.stdev(stops_h) / (down / count) if count > 1 else 1.0
        repairs = 2 * count / max(1.0, cv) ** 2
        ratio = down / up
        highest = ratio * (count + 1) / count / f_quantile(tail, repairs, 2 * count + 2)
        lowest = ratio / f_quantile(1 - tail, repairs, 2 * count)
        estimate, lower, upper = up / required_h, 1 / (1 + highest), 1 / (1 + lowest)
    return Availability(
        stops=count,
        up_h=up,
        down_h=down,
        estimate=estimate,
        lower=lower,
        upper=upper,
        mean_up_lower_h=2 * up / chi2_quantile(level, 2 * count + 2),
        level=level,
    )


# The sum of n uniform times is near enough to normal from 4 on (G. E. Bates, Ann. Math. Stat.
# 26, 1955; recalled, not read).
MIN_TREND_FAILURES = 4

SIGNIFICANCE = 0.05
"""Gaps that come by chance less often than this show a trend."""

# Below 3 even the 90 % limits of the shape span a factor of more than ten: no statement.
MIN_GROWTH_FAILURES = 3


class FailureTrend(StrEnum):
    """What a trend test says of the gaps between failures."""

    SHORTENING = "failures come faster"
    LENGTHENING = "failures come more slowly"
    NONE_SHOWN = "no trend shown"


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendTest:
    """Laplace's statistic, about standard normal without trend, above 0 where failures speed up."""

    statistic: float
    p_value: float
    trend: FailureTrend


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowthModel:
    """Crow-AMSAA: expected failures by time t are `scale` · t^`shape`.

    A shape below 1 means growth (failures come more slowly), above 1 decay. `shape_lower` and
    `shape_upper` are two-sided at 95 %; `end_h` is the end of the watch.
    """

    failures: int
    end_h: float
    scale: float
    shape: float
    shape_lower: float
    shape_upper: float

    def expected_failures(self, hours: float) -> float:
        """Mean number of failures from 0 to `hours`."""
        return float(self.scale * hours**self.shape)

    @property
    def current_mtbf_h(self) -> float:
        """The instantaneous MTBF at the end of the watch, 1/(λ β T^(β-1))."""
        return self.end_h / (self.shape * self.failures)


def laplace_test(failure_hours: Sequence[float], *, end_h: float) -> TrendTest | NotEnoughData:
    """Laplace's test: do the failures of one repaired machine crowd to one end of the watch?

    `failure_hours` are cumulated operating hours at each failure since the start of the watch;
    `end_h` is its end. Undefined (`NotEnoughData`) below 4 failures.
    Source: D. R. Cox and P. A. W. Lewis, The Statistical Analysis of Series of Events, 1966;
    IEC 60605-6; NIST/SEMATECH e-Handbook 8.2.3.4.

    Raises:
        ValueError: a failure outside the watch.
    """
    times = _watched(failure_hours, end_h)
    count = len(times)
    if count < MIN_TREND_FAILURES:
        return NotEnoughData(
            what="failures",
            have=count,
            need=MIN_TREND_FAILURES,
            why="Laplace's statistic is not yet normal, and hardly any record could show a trend",
        )
    mean = math.fsum(times) / count
    statistic = (mean / end_h - 0.5) * math.sqrt(12 * count)
    p_value = 2 * normal_cdf(-abs(statistic))
    trend = FailureTrend.NONE_SHOWN
    if p_value < SIGNIFICANCE:
        trend = FailureTrend.SHORTENING if statistic > 0 else FailureTrend.LENGTHENING
    return TrendTest(statistic=statistic, p_value=p_value, trend=trend)


def growth_model(failure_hours: Sequence[float], *, end_h: float) -> GrowthModel | NotEnoughData:
    """The Crow-AMSAA (power law) model of one repaired machine, by maximum likelihood.

    Arguments as for `laplace_test`. Shape β = n/Σ ln(T/t_i), scale λ = n/T^β; limits of β from
    chi-square with 2n degrees of freedom.
    A failure before anything ran, at 0 h, lies outside the law and does not count.
    Undefined (`NotEnoughData`) below 3 failures, or where all fall on the end of the watch.
    Source: IEC 61164:2004, 7.2; MIL-HDBK-189.

    Raises:
        ValueError: a failure outside the watch.
    """
    times = [t for t in _watched(failure_hours, end_h) if t > 0]
    count = len(times)
    logs = math.fsum(math.log(end_h / t) for t in times)

    def too_few(have: int, why: str) -> NotEnoughData:
        return NotEnoughData(
            what="failures before the end of the watch",
            have=have,
            need=MIN_GROWTH_FAILURES,
            why=why,
        )

    if count < MIN_GROWTH_FAILURES or logs == 0:
        return too_few(0 if logs == 0 else count, "the shape would be open by a factor of ten")
    shape = count / logs
    if shape * math.log(end_h) > math.log(sys.float_info.max):
        return too_few(0, "they stand so close to it that no scale can be written down")
    return GrowthModel(
        failures=count,
        end_h=end_h,
        scale=count / end_h**shape,
        shape=shape,
        shape_lower=shape * chi2_quantile(0.025, 2 * count) / (2 * count),
        shape_upper=shape * chi2_quantile(0.975, 2 * count) / (2 * count),
    )


def _watched(failure_hours: Sequence[float], end_h: float) -> list[float]:
    times = sorted(failure_hours)
    if times and not (times[0] >= 0 and times[-1] <= end_h < math.inf):
        raise ValueError(f"expected failures from 0 to {end_h!r} h, not {times!r}")
    return times


def gap_lives(
    failure_hours: Sequence[float], *, end_h: float, new_at_start: bool = False
) -> tuple[Life, ...]:
    """The gaps between failures as lives, the one that still runs at the end as a survivor.

    Arguments as for `laplace_test`. The stretch before the first failure is a life only where the
    part was `new_at_start`: otherwise it was of an age that nobody knows. Two failures at one and
    the same hour make no gap.

    Raises:
        ValueError: a failure outside the watch.
    """
    times = _watched(failure_hours, end_h)
    starts = [0.0, *times] if new_at_start else times
    gaps = [(b - a, True) for a, b in pairwise(starts)]
    if starts:
        gaps.append((end_h - starts[-1], False))
    return tuple(Life(hours=hours, failed=failed) for hours, failed in gaps if hours > 0)


def life_between_failures(
    failure_hours: Sequence[float],
    *,
    end_h: float,
    new_at_start: bool = False,
) -> WeibullFit | GrowthModel | NotEnoughData:
    """The Weibull life of the gaps where no trend shows, else the growth model.

    With a trend the gaps are not of one kind, and a Weibull shape fitted to them says nothing
    of wear. Undefined (`NotEnoughData`) where Laplace's test is.
    Source: H. Ascher and H. Feingold, Repairable Systems Reliability, 1984 (recalled, not read).

    Raises:
        ValueError: a failure outside the watch.
    """
    test = laplace_test(failure_hours, end_h=end_h)
    if isinstance(test, NotEnoughData):
        return test
    if test.trend is not FailureTrend.NONE_SHOWN:
        return growth_model(failure_hours, end_h=end_h)
    return weibull_fit(gap_lives(failure_hours, end_h=end_h, new_at_start=new_at_start))


@dataclass(frozen=True, slots=True, kw_only=True)
class InspectionPlan:
    """How many looks a P-F interval needs, and the days between them."""

    looks: int
    interval_days: float


def looks_needed(*, detection: float, acceptable_miss: float) -> float:
    """Looks within the P-F interval that bring the chance of missing all down: ln P/ln(1-θ).

    `detection` θ is the chance that one look finds a failing part, `acceptable_miss` P the
    chance one is ready to accept. Not rounded; 0 where every look may miss, and never below.
    Source: NAVAIR 00-25-403 (recalled, not read).

    Raises:
        ValueError: θ is not in (0, 1], or P not in (0, 1].
    """
    numbers.check_share(detection=detection, acceptable_miss=acceptable_miss)
    if detection == 1:
        return 0.0 if acceptable_miss == 1 else 1.0
    return abs(math.log(acceptable_miss) / math.log1p(-detection))


def inspection_plan(
    *, pf_interval_days: float, detection: float, acceptable_miss: float
) -> InspectionPlan:
    """Days between looks so that a part on its way from P to F is missed seldom enough.

    The P-F interval is the time from the first detectable sign to the failure. The number of
    looks is rounded up, and one at least.

    Raises:
        ValueError: the P-F interval is not above 0, or as `looks_needed`.
    """
    numbers.check_above_zero(pf_interval_days=pf_interval_days)
    needed = looks_needed(detection=detection, acceptable_miss=acceptable_miss)
    # A chance given in decimals makes 2.0000000000000004 of two.
    looks = max(1, math.ceil(needed - 1e-9))
    return InspectionPlan(looks=looks, interval_days=pf_interval_days / looks)


def chance_of_so_many(here: int, elsewhere: int, *, share: float) -> float:
    """The chance that `here` failures or more of all fall on one of several alike places.

    `share` is its part of the running hours. Given their number, failures at one rate fall by the
    binomial distribution: Source: J. Przyborowski and H. Wilenski,
    Biometrika 31, 1940. Raises ValueError for a share outside 0 to 1 or no failure here.
    """
    numbers.check_whole(here=here)
    numbers.check_share(share=share)
    return 1.0 if share == 1 else betainc(here, elsewhere + 1, share)


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
        numbers.check_above_zero(days=self.days)
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
    numbers.check_above_zero(interval_days=interval_days)
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
        lower = numbers.bracketed_root(lambda p: betainc(late, early + 1, p) - tail, 0.0, 1.0)
    if early:
        upper = numbers.bracketed_root(lambda p: tail - betainc(early, late + 1, 1 - p), 0.0, 1.0)
    return lower, upper


_MOST = 10_000  # no shelf holds more; without an end a wrong record would be searched for ever


def reorder_point(*, uses: int, days: float, lead_days: float, service: float) -> int | None:
    """The least stock, in uses, that lasts until an order comes in with probability `service`.

    `uses` are those counted in `days` of record; they come at random at a steady rate (Poisson),
    which so few of them tell poorly: the rate has the gamma distribution of shape uses + 1/2 that
    Jeffreys' prior leaves, so the uses in `lead_days` are negative binomial. A part never used
    may still be wanted. None where more than 10,000 would be needed. Source:
    A. Gelman et al., Bayesian Data Analysis, 3rd ed., 2.6 (recalled).

    Raises:
        ValueError: `uses` negative, `days` or `lead_days` not above 0, `service` not in (0, 1).
    """
    numbers.check_not_negative(uses=uses)
    numbers.check_above_zero(days=days, lead_days=lead_days)
    numbers.check_level(service=service)
    known = days / (days + lead_days)
    return next((s for s in range(_MOST) if betainc(uses + 0.5, s + 1, known) >= service), None)
