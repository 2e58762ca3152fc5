"""The least squares line of readings over days, weighted by their uncertainties."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ledger.compute.not_enough_data import NotEnoughData
from ledger.compute.timed_reading import TimedReading


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedLine:
    """A least squares line; values in the unit of the readings, slopes in that unit per day.

    The line is kept at its pivot, the weighted mean day, where level and slope do not
    correlate. Standard uncertainties are twofold: from the stated uncertainties of the readings,
    and (`..._by_scatter`) from the residuals, which alone serve where the stated ones are only
    relative. `residual_sd` is √(χ²/(n-2)): near 1 where the stated uncertainties are honest.
    """

    pivot_day: float
    level: float
    slope: float
    level_uncertainty: float
    slope_uncertainty: float
    residual_sd: float
    dof: int

    @property
    def intercept(self) -> float:
        """The value at day 0."""
        return self.level - self.slope * self.pivot_day

    @property
    def intercept_uncertainty(self) -> float:
        """The standard uncertainty of the value at day 0, from the stated uncertainties."""
        return math.hypot(self.level_uncertainty, self.pivot_day * self.slope_uncertainty)

    @property
    def slope_uncertainty_by_scatter(self) -> float:
        return self.slope_uncertainty * self.residual_sd

    @property
    def intercept_uncertainty_by_scatter(self) -> float:
        return self.intercept_uncertainty * self.residual_sd

    def at(self, day: float) -> float:
        """The value of the line on `day`."""
        return self.level + self.slope * (day - self.pivot_day)


def fitted_line(readings: Sequence[TimedReading]) -> FittedLine | NotEnoughData:
    """The least squares line of the readings over days, weighted by 1/u².

    Undefined (`NotEnoughData`) below 3 readings or 2 days. Not robust: one wild reading moves
    it; beside the robust slope it shows what the uncertainties are worth. Source: NIST/SEMATECH
    e-Handbook 4.1.4.3 (weighted least squares).
    """
    days = {r.day for r in readings}
    if len(readings) < 3 or len(days) < 2:
        return NotEnoughData(
            what="readings on different days",
            have=min(len(readings), len(days)),
            need=3,
            why="a line through two readings leaves nothing to judge it by",
        )
    weights = [1 / r.standard_uncertainty**2 for r in readings]
    total = math.fsum(weights)
    pivot = math.fsum(w * r.day for w, r in zip(weights, readings, strict=True)) / total
    mean = math.fsum(w * r.value for w, r in zip(weights, readings, strict=True)) / total
    pairs = list(zip(weights, readings, strict=True))
    squares = math.fsum(w * (r.day - pivot) ** 2 for w, r in pairs)
    slope = math.fsum(w * (r.day - pivot) * (r.value - mean) for w, r in pairs) / squares
    chi2 = math.fsum(w * (r.value - mean - slope * (r.day - pivot)) ** 2 for w, r in pairs)
    dof = len(readings) - 2
    return FittedLine(
        pivot_day=pivot,
        level=mean,
        slope=slope,
        level_uncertainty=1 / math.sqrt(total),
        slope_uncertainty=1 / math.sqrt(squares),
        residual_sd=math.sqrt(chi2 / dof),
        dof=dof,
    )
