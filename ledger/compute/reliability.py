"""How often a repaired machine fails and how much of the time it is up.

Terms follow IEC 60050-192. Times are operating hours; any one unit of time serves as well.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

from ledger.compute.distributions import chi2_quantile
from ledger.compute.not_enough_data import NotEnoughData


class Termination(StrEnum):
    """What ended the watch: a date (time) or a failure."""

    TIME = "time"
    FAILURE = "failure"


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanTimeBetweenFailures:
    """Operating hours per failure with limits at the confidence `level`, two-sided.

    With no failure `estimate_h` is None, `upper_h` infinite and `lower_h` a one-sided limit.
    """

    failures: int
    hours: float
    estimate_h: float | None
    lower_h: float
    upper_h: float
    level: float


def mean_time_between_failures(
    hours: float,
    failures: int,
    *,
    level: float = 0.90,
    termination: Termination = Termination.TIME,
) -> MeanTimeBetweenFailures | NotEnoughData:
    """MTBF = hours/failures with chi-square limits, for a constant failure rate.

    2·hours/χ²(1-α/2; 2r+2) to 2·hours/χ²(α/2; 2r), with 2r for 2r+2 where a failure ended the
    watch. Undefined (`NotEnoughData`) without a failure where a failure should have ended it.
    Source: NIST/SEMATECH e-Handbook 8.4.5.1; IEC 60605-4. Test for trend first: with one the
    figure means nothing.

    Raises:
        ValueError: hours not above 0, failures negative, or the level not between 0 and 1.
    """
    _check_level(level)
    if not 0 < hours < math.inf:
        raise ValueError(f"expected hours above 0, not {hours!r}")
    if failures < 0:
        raise ValueError(f"expected 0 failures or more, not {failures!r}")
    alpha = 1 - level
    if failures == 0:
        if termination is Termination.FAILURE:
            return NotEnoughData(
                what="failures",
                have=0,
                need=1,
                why="a watch that a failure ended has one at least",
            )
        return MeanTimeBetweenFailures(
            failures=0,
            hours=hours,
            estimate_h=None,
            lower_h=2 * hours / chi2_quantile(level, 2),
            upper_h=math.inf,
            level=level,
        )
    extra = 2 if termination is Termination.TIME else 0
    return MeanTimeBetweenFailures(
        failures=failures,
        hours=hours,
        estimate_h=hours / failures,
        lower_h=2 * hours / chi2_quantile(1 - alpha / 2, 2 * failures + extra),
        upper_h=2 * hours / chi2_quantile(alpha / 2, 2 * failures),
        level=level,
    )


def availability(*, mtbf_h: float, mttr_h: float) -> float:
    """Steady-state availability MTBF/(MTBF + MTTR) (IEC 60050-192-08-07), 0 to 1.

    Both in the same unit of time; MTTR is the mean time to restoration, waiting included.

    Raises:
        ValueError: mtbf_h is not above 0 or mttr_h is negative.
    """
    if not mtbf_h > 0:
        raise ValueError(f"expected an MTBF above 0, not {mtbf_h!r}")
    if not 0 <= mttr_h < math.inf:
        raise ValueError(f"expected an MTTR of 0 or more, not {mttr_h!r}")
    if math.isinf(mtbf_h):
        return 1.0
    return mtbf_h / (mtbf_h + mttr_h)


def _check_level(level: float) -> None:
    if not 0 < level < 1:
        raise ValueError(f"expected a level between 0 and 1, not {level!r}")
