"""The frozen baseline of readings whose uncertainties differ."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ledger.compute.distributions import chi2_upper_tail
from ledger.compute.not_enough_data import NotEnoughData
from ledger.compute.roots import bracketed_root
from ledger.compute.timed_reading import TimedReading

# From 7 readings a standard deviation is still about 36 % uncertain and 3-sigma limits mislead;
# ISO 7870-2 asks for far more. 8 is the project's own floor.
MIN_BASELINE = 8

# A scatter this unlikely under the stated uncertainties is taken as real. At 5 % a baseline of
# ten would miss an excess as large as the uncertainties themselves too often, and alarm falsely.
_EXCESS_LEVEL = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftBaseline:
    """The level of a steady stretch of readings and what scatters about it.

    `centre` and `centre_uncertainty` (standard) and `excess_sd` are in the unit of the readings.
    `excess_sd` is the scatter between readings beyond their own uncertainties, 0 where those
    explain it; `dof` are its degrees of freedom, infinite where there is none.
    """

    count: int
    centre: float
    centre_uncertainty: float
    excess_sd: float
    dof: float


def drift_baseline(readings: Sequence[TimedReading]) -> DriftBaseline | NotEnoughData:
    """Freeze a baseline: the weighted mean, and the scatter beyond the stated uncertainties.

    The excess is looked for only where chi-square finds the scatter too large for the stated
    uncertainties at 20 %, and then by R. C. Paule and J. Mandel, J. Res. NBS 87(5), 1982, 377.
    Undefined (`NotEnoughData`) below 8 readings.
    """
    count = len(readings)
    if count < MIN_BASELINE:
        return NotEnoughData(
            what="baseline readings",
            have=count,
            need=MIN_BASELINE,
            why="a level from fewer is too uncertain to alarm by",
        )
    alone = _generalised_chi2(readings, 0.0)
    excess = 0.0
    if chi2_upper_tail(alone, count - 1) < _EXCESS_LEVEL:
        excess = _paule_mandel(readings)
    centre, centre_uncertainty = _weighted_mean(readings, excess)
    return DriftBaseline(
        count=count,
        centre=centre,
        centre_uncertainty=centre_uncertainty,
        excess_sd=math.sqrt(excess),
        dof=math.inf if excess == 0 else count - 1,
    )


def _weighted_mean(readings: Sequence[TimedReading], excess: float) -> tuple[float, float]:
    weights = [1 / (r.standard_uncertainty**2 + excess) for r in readings]
    total = math.fsum(weights)
    weighted = math.fsum(w * r.value for w, r in zip(weights, readings, strict=True))
    return weighted / total, 1 / math.sqrt(total)


def _generalised_chi2(readings: Sequence[TimedReading], excess: float) -> float:
    centre, _ = _weighted_mean(readings, excess)
    return math.fsum(
        (r.value - centre) ** 2 / (r.standard_uncertainty**2 + excess) for r in readings
    )


def _paule_mandel(readings: Sequence[TimedReading]) -> float:
    """The excess variance that brings the weighted sum of squares down to its mean."""
    dof = len(readings) - 1
    values = [r.value for r in readings]
    # With an excess of the whole squared range the sum cannot reach its mean.
    high = len(readings) * (max(values) - min(values)) ** 2
    return bracketed_root(lambda v: _generalised_chi2(readings, v) - dof, 0.0, high)
