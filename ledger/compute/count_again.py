"""Whether a measured ratio is too doubtful to set a drive by, and how many counts would settle it.

A setting worked out from two counts that disagree is a guess with a number on it. Then the next
step is another count, not another setting.
"""

import math
from dataclasses import dataclass, replace

from ledger.compute.band import Band
from ledger.compute.distributions import chi2_quantile
from ledger.compute.ratio import CONSISTENT, RatioFit, predict
from ledger.compute.speed import Speed, u_of_pass_count

FEW_READINGS = 4
"""Fewer readings that disagree do not tell which of them is wrong. Common practice, no source."""

BAND_SHARE = 0.25
"""Counts settle a setting when U is at most this share of the band: then a speed in the middle
half of the band is in it for sure. Common practice, no source."""

_COUNTS_S = (30, 60)
_MOST_COUNTS = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class CountAgain:
    """So many more hand counts, each of so many seconds, would do; U in r/min after them."""

    counts: int
    seconds: int
    expanded_rpm: float


def few_disagree(fit: RatioFit) -> bool:
    """Whether the readings disagree and are too few to tell which of them is wrong."""
    return fit.inflated and fit.readings < FEW_READINGS


def wider_than(speed: Speed, band: Band) -> bool:
    """Whether the expanded uncertainty of a speed is wider than the band it should be in."""
    return speed.expanded() > band.high - band.low


def counts_to_settle(fit: RatioFit, band: Band, setting: float) -> CountAgain | None:
    """The shortest counting at a setting that would settle it, if every count comes out alike.

    A count at the fitted ratio adds nothing to chi-square and one degree of freedom, so that the
    Birge ratio √(χ²/ν) falls with each, and 1/u² of the ratio grows by that of the count (as
    `compute.ratio.fit_ratio`). None where ten counts of a minute would not do, or the band has
    only one limit.

    Raises:
        ValueError: the setting is not above 0.
    """
    if not setting > 0:
        raise ValueError(f"expected a setting above 0, not {setting!r}")
    wanted = BAND_SHARE * (band.high - band.low)
    if not math.isfinite(wanted):
        return None
    least = max(1, FEW_READINGS - fit.readings) if fit.inflated else 1
    found = [
        CountAgain(counts=counts, seconds=seconds, expanded_rpm=after)
        for seconds in _COUNTS_S
        for counts in range(least, _MOST_COUNTS + 1)
        if (after := _after(fit, setting, counts, seconds)) <= wanted
    ]
    return min(found, key=lambda one: (one.counts * one.seconds, one.counts), default=None)


def _after(fit: RatioFit, setting: float, counts: int, seconds: int) -> float:
    """The expanded uncertainty at the setting after so many counts that come out as fitted."""
    u_count = u_of_pass_count(fit.rpm_per_unit * setting, seconds) / setting
    u_before = fit.u_rpm_per_unit / (fit.birge_ratio if fit.inflated else 1.0)
    u_after = 1 / math.sqrt(1 / u_before**2 + counts / u_count**2)
    dof = fit.chi2_dof + counts
    inflated = fit.inflated and fit.chi2 > chi2_quantile(CONSISTENT, dof)
    birge = math.sqrt(fit.chi2 / dof) if inflated else 1.0
    after = replace(
        fit,
        u_rpm_per_unit=u_after * birge,
        dof=float(dof) if inflated else math.inf,
        centre_setting=setting,
    )
    return predict(after, setting).expanded()
