"""A measured value with its day and its standard uncertainty."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedReading:
    """A value read on a day, counted in days (fractions allowed) from any fixed start.

    `value` may be in any unit, the same for all readings; `standard_uncertainty` is in that
    unit, an honest guess where it is not known, since limits and forecasts lean on it.

    Raises:
        ValueError: a number is not finite, or the uncertainty is not above zero.
    """

    day: float
    value: float
    standard_uncertainty: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.day) and math.isfinite(self.value)):
            raise ValueError(f"expected finite numbers, not {self.value!r} on day {self.day!r}")
        if not 0 < self.standard_uncertainty < math.inf:
            raise ValueError(
                f"expected a standard uncertainty above 0, not {self.standard_uncertainty!r}"
            )


def one_a_day(readings: Sequence[TimedReading]) -> tuple[TimedReading, ...]:
    """The readings by day, those of one and the same day joined to their weighted mean.

    Pairs of one day carry no word on a slope. Weights are 1/u², and the mean has u = 1/√Σ(1/u²)
    (JCGM 100:2008, 5.1.2, applied to the weighted mean).
    """
    ordered = sorted(readings, key=lambda r: (r.day, r.value, r.standard_uncertainty))
    return tuple(_joined(list(same_day)) for _, same_day in groupby(ordered, lambda r: r.day))


def _joined(same_day: list[TimedReading]) -> TimedReading:
    if len(same_day) == 1:
        return same_day[0]
    weights = [1 / r.standard_uncertainty**2 for r in same_day]
    total = math.fsum(weights)
    mean = math.fsum(w * r.value for w, r in zip(weights, same_day, strict=True)) / total
    return TimedReading(day=same_day[0].day, value=mean, standard_uncertainty=1 / math.sqrt(total))
