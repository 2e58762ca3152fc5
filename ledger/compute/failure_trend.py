"""Do the failures of a repaired machine come faster? Laplace's test and the growth model.

Times are operating hours; any one unit of time serves as well.
"""

import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from ledger.compute.distributions import chi2_quantile, normal_cdf
from ledger.compute.not_enough_data import NotEnoughData
from ledger.compute.reliability import Termination

# The sum of n uniform times is near enough to normal from 4 on (G. E. Bates, Ann. Math. Stat.
# 26, 1955; recalled, not read).
MIN_TREND_FAILURES = 4
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

    failures: int
    statistic: float
    p_value: float
    trend: FailureTrend


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowthModel:
    """Crow-AMSAA: expected failures by time t are `scale` · t^`shape`.

    A shape below 1 means growth (failures come more slowly), above 1 decay. `shape_lower` and
    `shape_upper` are two-sided at the confidence `level`; `end_h` is the end of the watch.
    """

    failures: int
    end_h: float
    scale: float
    shape: float
    shape_lower: float
    shape_upper: float
    level: float

    def expected_failures(self, hours: float) -> float:
        """Mean number of failures from 0 to `hours`."""
        return float(self.scale * hours**self.shape)

    @property
    def current_mtbf_h(self) -> float:
        """The instantaneous MTBF at the end of the watch, 1/(λ β T^(β-1))."""
        return self.end_h / (self.shape * self.failures)


def laplace_test(
    failure_hours: Sequence[float],
    *,
    end_h: float | None = None,
    significance: float = 0.05,
) -> TrendTest | NotEnoughData:
    """Laplace's test: do the failures of one repaired machine crowd to one end of the watch?

    `failure_hours` are cumulated operating hours at each failure since the start of the watch;
    `end_h` is its end, or None where the last failure ended it (and then does not count).
    Undefined (`NotEnoughData`) below 4 counted failures.
    Source: D. R. Cox and P. A. W. Lewis, The Statistical Analysis of Series of Events, 1966;
    IEC 60605-6; NIST/SEMATECH e-Handbook 8.2.3.4.

    Raises:
        ValueError: a failure outside the watch, or the significance not between 0 and 1.
    """
    _check_level(significance)
    times, end, _ = _watched(failure_hours, end_h)
    counted = times if end_h is not None else times[:-1]
    count = len(counted)
    if count < MIN_TREND_FAILURES:
        return _too_few(
            "failures",
            count,
            MIN_TREND_FAILURES,
            "Laplace's statistic is not yet normal, and hardly any record could show a trend",
        )
    mean = math.fsum(counted) / count
    statistic = (mean / end - 0.5) * math.sqrt(12 * count)
    p_value = 2 * normal_cdf(-abs(statistic))
    trend = FailureTrend.NONE_SHOWN
    if p_value < significance:
        trend = FailureTrend.SHORTENING if statistic > 0 else FailureTrend.LENGTHENING
    return TrendTest(failures=count, statistic=statistic, p_value=p_value, trend=trend)


def growth_model(
    failure_hours: Sequence[float], *, end_h: float | None = None, level: float = 0.90
) -> GrowthModel | NotEnoughData:
    """The Crow-AMSAA (power law) model of one repaired machine, by maximum likelihood.

    Arguments as for `laplace_test`. Shape β = n/Σ ln(T/t_i), scale λ = n/T^β; limits of β from
    chi-square with 2n degrees of freedom, 2(n-1) where the last failure ended the watch.
    A failure before anything ran, at 0 h, lies outside the law and does not count.
    Undefined (`NotEnoughData`) below 3 failures, or where all fall on the end of the watch.
    Source: IEC 61164:2004, 7.2; MIL-HDBK-189.

    Raises:
        ValueError: a failure outside the watch, or the level not between 0 and 1.
    """
    _check_level(level)
    watched, end, termination = _watched(failure_hours, end_h)
    times = [t for t in watched if t > 0]
    count = len(times)
    logs = math.fsum(math.log(end / t) for t in times)
    if count < MIN_GROWTH_FAILURES or logs == 0:
        return _too_few(
            "failures before the end of the watch",
            0 if logs == 0 else count,
            MIN_GROWTH_FAILURES,
            "the shape would be open by a factor of ten",
        )
    shape = count / logs
    if shape * math.log(end) > math.log(sys.float_info.max):
        return _too_few(
            "failures before the end of the watch",
            0,
            MIN_GROWTH_FAILURES,
            "they stand so close to it that no scale can be written down",
        )
    dof = 2 * count if termination is Termination.TIME else 2 * (count - 1)
    alpha = 1 - level
    return GrowthModel(
        failures=count,
        end_h=end,
        scale=count / end**shape,
        shape=shape,
        shape_lower=shape * chi2_quantile(alpha / 2, dof) / (2 * count),
        shape_upper=shape * chi2_quantile(1 - alpha / 2, dof) / (2 * count),
        level=level,
    )


def _watched(
    failure_hours: Sequence[float], end_h: float | None
) -> tuple[list[float], float, Termination]:
    times = sorted(failure_hours)
    if not times:
        return [], end_h or 0.0, Termination.TIME
    end = times[-1] if end_h is None else end_h
    if not (times[0] >= 0 and times[-1] <= end < math.inf):
        raise ValueError(f"expected failures from 0 to {end!r} h, not {times!r}")
    return times, end, Termination.FAILURE if end_h is None else Termination.TIME


def _check_level(level: float) -> None:
    if not 0 < level < 1:
        raise ValueError(f"expected a level between 0 and 1, not {level!r}")


def _too_few(what: str, have: int, need: int, why: str) -> NotEnoughData:
    return NotEnoughData(what=what, have=have, need=need, why=why)
