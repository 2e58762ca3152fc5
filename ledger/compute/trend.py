"""How readings move: one weighted line, and when it crosses a limit.

The line is fitted by least squares with the stated uncertainties and what readings share, and
holds where the uncertainties differ. Brush strips shorten by vehicles washed, not by days.
Readings are parted at the changes that re-base a chart.
"""

import itertools
import math
from collections.abc import Iterator, Sequence
from datetime import date
from operator import attrgetter
from statistics import median

from ledger.compute.distributions import chi2_upper_tail, normal_quantile, t_quantile, t_upper_tail
from ledger.compute.meter import MeterLog, day_reaching, total_on
from ledger.compute.numbers import NotEnoughData, weighted_mean
from ledger.compute.shared import Shared, shared_covariance
from ledger.compute.wander import LEAST_TO_WANDER, Wander, wander
from ledger.values import dataclass, replace

# Of four days two may lie on any line, and two degrees of freedom make its bounds useless.
MIN_TREND = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedReading:
    """A value read on a day, counted in days (fractions allowed) from any fixed start.

    `value` may be in any unit, the same for all readings; `standard_uncertainty` is the reading's
    own, in that unit, and `shared` are the errors it has in common with others. `step` is what the
    value was rounded to where nothing else scatters it: a gauge's graduation, a count that always
    starts on a pass; 0 where the rounding falls differently each time.

    Raises:
        ValueError: a number is not finite, the uncertainty is not above zero, or the step is
            negative.
    """

    day: float
    value: float
    standard_uncertainty: float
    shared: tuple[Shared, ...] = ()
    step: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.day) and math.isfinite(self.value)):
            raise ValueError(f"expected finite numbers, not {self.value!r} on day {self.day!r}")
        if not 0 < self.standard_uncertainty < math.inf:
            raise ValueError(
                f"expected a standard uncertainty above 0, not {self.standard_uncertainty!r}"
            )
        if not 0 <= self.step < math.inf:
            raise ValueError(f"expected a step of 0 or more, not {self.step!r}")

    @property
    def total_u(self) -> float:
        """The standard uncertainty of the reading for itself, its shared errors included."""
        return math.hypot(self.standard_uncertainty, *(one.u for one in self.shared))


# A reading this far out comes by chance once in a hundred lines.
_GROSS_CHANCE = 0.01

_SD_PER_MAD = 1.4826

# Of an uncertainty: what doubles leave over on a perfect line.
_LEAST_RESIDUAL = 1e-6


EXCESS_LEVEL = 0.2
"""A scatter this unlikely under the stated uncertainties is taken as real. At 5 % a baseline of ten
would miss an excess as large as the uncertainties themselves too often, and alarm falsely."""

_TWO_SIDED_95 = 0.975


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """The line y = `value` + `slope` · (day - `pivot_day`) through readings, per day.

    `u_slope`, `u_value` (at the pivot) and their `covariance` hold the scatter where it is more
    than stated, and what readings share. `lower` and `upper` bound the slope at 95 %, by
    Student's t with `dof`; `p_value` is two-sided against no slope. `span` are the
    days between the first and the last reading, `step` what their values are rounded to.
    `birge_ratio` is the scatter over the stated one. `wild` is the place, among the readings as
    given, of the one that lies so far out that the line was drawn without it; `wander` what was
    done where the readings wander or may.
    """

    count: int
    span: float
    pivot_day: float
    value: float
    slope: float
    u_value: float
    u_slope: float
    covariance: float
    step: float
    birge_ratio: float
    dof: float
    wild: int | None
    wander: Wander | None

    def at(self, day: float) -> float:
        """The level of the line on a day."""
        return self.value + self.slope * (day - self.pivot_day)

    @property
    def _reach(self) -> float:
        return t_quantile(_TWO_SIDED_95, self.dof) * self.u_slope

    @property
    def lower(self) -> float:
        return self.slope - self._reach

    @property
    def upper(self) -> float:
        return self.slope + self._reach

    @property
    def p_value(self) -> float:
        return 2 * t_upper_tail(abs(self.slope) / self.u_slope, self.dof)

    @property
    def is_shown(self) -> bool:
        """Whether a rise or a fall shows: beyond chance, and beyond one step of the readings."""
        return not self.lower <= 0 <= self.upper and abs(self.slope) * self.span >= self.step

    def u_at(self, day: float) -> float:
        """The standard uncertainty of the level on a day, if the slope goes on."""
        away = day - self.pivot_day
        return math.sqrt(self.u_value**2 + 2 * self.covariance * away + (self.u_slope * away) ** 2)


def fit_line(readings: Sequence[TimedReading]) -> Line | NotEnoughData:
    """The weighted least-squares line of the readings over days.

    Weights are 1/u² of each reading. What readings share enters by their covariance, so that an
    error of all of them cancels in the slope and stays in the level. The own part grows by the
    Birge ratio max(1, √(χ²/ν)) (R. T. Birge, Phys. Rev. 40, 1932, 207), where χ² counts what
    readings of one instrument and person scatter about their own offset, and by the factor of
    `wander` where the residuals show that they wander, or scatter so much more than stated that
    this may be a wander too. Values that are rounded and not otherwise
    scattered add step/(√6 span) to the slope. One reading may be set aside, when it lies so far
    out that chance would put one there in one line of a hundred (Šidák).
    Source: JCGM 100:2008, H.3 and, for what is shared, JCGM 100:2008, F.1.2.3 (recalled).
    Undefined (`NotEnoughData`) below 5 different days.
    """
    by_time = attrgetter("day", "value", "standard_uncertainty")
    order = sorted(range(len(readings)), key=lambda place: by_time(readings[place]))
    days = len({r.day for r in readings})
    if days < MIN_TREND:
        what, why = "readings on different days", "fewer leave the pace open"
        return NotEnoughData(what=what, have=days, need=MIN_TREND, why=why)
    weighted = _Weighted.of([readings[place] for place in order])
    wild = weighted.wildest()
    if wild is not None:
        kept = [readings[place] for place in order if place != order[wild]]
        if len({r.day for r in kept}) >= MIN_TREND:
            return _line(_Weighted.of(kept), order[wild])
    return _line(weighted, None)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Weighted:
    """Readings with the weights, factors and residuals of their line, in the order of time.

    Level and slope are Σ `of_level` y and Σ `of_slope` y.
    """

    readings: Sequence[TimedReading]
    pivot: float
    value: float
    slope: float
    of_level: Sequence[float]
    of_slope: Sequence[float]
    residuals: Sequence[float]

    @classmethod
    def of(cls, readings: Sequence[TimedReading]) -> "_Weighted":
        weights = [1 / r.total_u**2 for r in readings]
        total = math.fsum(weights)
        of_level = [w / total for w in weights]
        pivot = math.fsum(a * r.day for a, r in zip(of_level, readings, strict=True))
        away = [r.day - pivot for r in readings]
        spread = math.fsum(w * d * d for w, d in zip(weights, away, strict=True))
        of_slope = [w * d / spread for w, d in zip(weights, away, strict=True)]
        value = math.fsum(a * r.value for a, r in zip(of_level, readings, strict=True))
        slope = math.fsum(c * (r.value - value) for c, r in zip(of_slope, readings, strict=True))
        return cls(
            readings=readings,
            pivot=pivot,
            value=value,
            slope=slope,
            of_level=of_level,
            of_slope=of_slope,
            residuals=[r.value - value - slope * d for r, d in zip(readings, away, strict=True)],
        )

    def wildest(self) -> int | None:
        """The reading that does not belong to the line, if there is one."""
        count = len(self.readings)
        scaled = [abs(e) / r.total_u for e, r in zip(self.residuals, self.readings, strict=True)]
        scatter = max(1.0, _SD_PER_MAD * median(scaled))
        limit = normal_quantile((1 + (1 - _GROSS_CHANCE) ** (1 / count)) / 2)
        # The share of its own error that a reading keeps in its residual is 1 less its leverage.
        judged = [
            size / scatter / math.sqrt(max(1 - a - c * (r.day - self.pivot), 1e-9))
            for size, a, c, r in zip(
                scaled, self.of_level, self.of_slope, self.readings, strict=True
            )
        ]
        worst = max(range(count), key=judged.__getitem__)
        return worst if judged[worst] > limit else None

    def offset_free(self) -> tuple[list[float], int]:
        """Residuals over own uncertainties, less what each group has in common; how many groups.

        A group are readings with the same shared errors; those without any are taken as they are.
        """
        groups: dict[frozenset[str], list[int]] = {}
        for place, reading in enumerate(self.readings):
            groups.setdefault(frozenset(one.key for one in reading.shared), []).append(place)
        free = list(self.residuals)
        for keys, places in groups.items():
            if keys and len(groups) > 1:
                variances = [self.readings[p].standard_uncertainty ** 2 for p in places]
                mean, _ = weighted_mean([self.residuals[p] for p in places], variances)
                for place in places:
                    free[place] -= mean
        own = [r.standard_uncertainty for r in self.readings]
        return [e / u for e, u in zip(free, own, strict=True)], len(groups)

    def shared(self, factors: Sequence[float]) -> Iterator[tuple[float, Shared]]:
        return (
            (factor, one)
            for factor, reading in zip(factors, self.readings, strict=True)
            for one in reading.shared
        )


def _line(weighted: _Weighted, wild: int | None) -> Line:
    readings = weighted.readings
    scaled, groups = weighted.offset_free()
    # Two numbers for the line, and an offset for each group but one.
    dof = len(readings) - 1 - groups
    birge = math.sqrt(math.fsum(e * e for e in scaled) / dof) if dof > 0 else 1.0
    found = _wander(weighted, scaled, birge, dof)
    grown = max(1.0, birge) * (found.factor if found else 1.0)
    span = readings[-1].day - readings[0].day
    step = math.fsum(a * r.step for a, r in zip(weighted.of_level, readings, strict=True))

    def covariance(one: Sequence[float], other: Sequence[float]) -> float:
        own = math.fsum(
            a * b * r.standard_uncertainty**2 for a, b, r in zip(one, other, readings, strict=True)
        )
        common = shared_covariance(weighted.shared(one), weighted.shared(other))
        return grown**2 * own + common

    of_level, of_slope = weighted.of_level, weighted.of_slope
    return Line(
        count=len(readings),
        span=span,
        pivot_day=weighted.pivot,
        value=weighted.value,
        slope=weighted.slope,
        u_value=math.sqrt(covariance(of_level, of_level)),
        u_slope=math.hypot(math.sqrt(covariance(of_slope, of_slope)), step / (math.sqrt(6) * span)),
        covariance=covariance(of_level, of_slope),
        step=step,
        birge_ratio=birge,
        dof=min(max(dof, 1), found.dof if found else math.inf),
        wild=wild,
        wander=found,
    )


def _wander(weighted: _Weighted, scaled: Sequence[float], birge: float, dof: int) -> Wander | None:
    """The wander of the residuals, where they show one or scatter more than stated.

    That of rounding errors is none.
    """
    if len(scaled) < LEAST_TO_WANDER or max(map(abs, scaled)) < _LEAST_RESIDUAL:
        return None
    is_more = dof > 0 and chi2_upper_tail(birge**2 * dof, dof) < EXCESS_LEVEL
    places = [r.day / r.standard_uncertainty for r in weighted.readings]
    levels = [1 / r.standard_uncertainty for r in weighted.readings]
    found = wander(places, scaled, levels, stated=1 / birge**2 if is_more else 0.0)
    return found if found.is_shown or is_more else None


MOST_TREND_READINGS = 150
"""A trend is judged by the newest readings, about three years of weekly ones."""

MIN_HALF = 10
"""Readings in each half before a trend is looked at for a bend."""


def at_one_pace(readings: Sequence[TimedReading]) -> int:
    """How many of the newest readings move at one pace, of readings in the order of time.

    Wear that gains pace would leave its limits sooner than a line through all of it says. So
    while the 95 % bounds of the slopes of the two halves lie apart, only the newer half is kept.
    """
    newest = readings
    while len(newest) >= 2 * MIN_HALF:
        middle = len(newest) // 2
        older, newer = (fit_line(half) for half in (newest[:middle], newest[middle:]))
        if isinstance(older, NotEnoughData) or isinstance(newer, NotEnoughData):
            break
        if older.lower <= newer.upper and newer.lower <= older.upper:
            break
        newest = newest[middle:]
    return len(newest)


# A step has a day more than a line to fit: the 99.9 % quantile of chi-square for one, as a day may
# be chosen among many, and a line taken for a step leaves a drift out.
_FOR_ITS_DAY = 10.83

_LEAST_SINCE_STEP = 4


def since_step(readings: Sequence[TimedReading], line: Line | None) -> int:
    """How many of the newest readings came after a step, of readings in the order of time.

    The step is where two levels explain the readings best, with four or more on either side. With
    a line it counts only where it explains them better, by more than its free day is worth. All of
    them without a step.
    """
    weights = [1 / r.total_u**2 for r in readings]
    products = [w * r.value for w, r in zip(weights, readings, strict=True)]
    squares = [w * r.value**2 for w, r in zip(weights, readings, strict=True)]
    sums = [[0.0, *itertools.accumulate(column)] for column in (weights, products, squares)]

    def chi2(begin: int, end: int) -> float:
        weight, product, square = (column[end] - column[begin] for column in sums)
        return square - product**2 / weight

    count = len(readings)
    splits = range(_LEAST_SINCE_STEP, count - _LEAST_SINCE_STEP + 1)
    least, split = min(((chi2(0, k) + chi2(k, count), k) for k in splits), default=(math.inf, 0))
    if line is not None:
        by_line = math.fsum(((r.value - line.at(r.day)) / r.total_u) ** 2 for r in readings)
        if by_line <= least * (1 + _FOR_ITS_DAY / (count - 2)):
            return count
    return count - split


NOTHING_SHOWN = "neither a rise nor a fall shows"


@dataclass(frozen=True, slots=True, kw_only=True)
class NoTrend:
    """The readings do not show that they move, or move away from the only limit."""

    line: Line
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitCrossing:
    """The day on which the level crosses `limit`, if the slope stays what it is.

    `earliest_day` and `latest_day` bound it at the line's confidence level. Days count as those of
    the readings and may be past.
    """

    limit: float
    day: float
    earliest_day: float
    latest_day: float
    line: Line


def limit_crossing(
    readings: Sequence[TimedReading], *, lower: float | None = None, upper: float | None = None
) -> LimitCrossing | NoTrend | NotEnoughData:
    """The day the true level leaves its limits, from the line through `readings`.

    Limits and values share a unit. The interval solves (line - limit)² = t² u² for the day, after
    E. C. Fieller, J. R. Stat. Soc. B 16, 1954, with the covariance of level and slope. It is for
    the level of the line, not for a single reading, and supposes that wear goes on in proportion
    to time.
    `NoTrend` where the slope's interval holds 0 or no limit lies ahead; `NotEnoughData` below 5
    days of readings.

    Raises:
        ValueError: no limit is given, or the lower is above the upper.
    """
    if lower is None and upper is None:
        raise ValueError("expected a lower or an upper limit")
    if lower is not None and upper is not None and lower > upper:
        raise ValueError(f"expected limits in rising order, not {lower!r} and {upper!r}")
    line = fit_line(readings)
    if isinstance(line, NotEnoughData):
        return line
    if not line.is_shown:
        return NoTrend(line=line, text=NOTHING_SHOWN)
    limit = upper if line.slope > 0 else lower
    if limit is None:
        return NoTrend(line=line, text="the readings move away from the limit")
    earliest, latest = _fieller(line, limit)
    return LimitCrossing(
        limit=limit,
        day=line.pivot_day + (limit - line.value) / line.slope,
        earliest_day=line.pivot_day + earliest,
        latest_day=line.pivot_day + latest,
        line=line,
    )


def _fieller(line: Line, limit: float) -> tuple[float, float]:
    """The days after the pivot, first and last, on which the line may be at the limit.

    Those d with (v + b d)² <= t² (u_v² + 2 c d + u_b² d²), v the level less the limit. As the
    slope b shows beyond t u_b, the bounds are finite.
    """
    t_squared = t_quantile(_TWO_SIDED_95, line.dof) ** 2
    away = line.value - limit
    square = line.slope**2 - t_squared * line.u_slope**2
    middle = line.slope * away - t_squared * line.covariance
    rest = away**2 - t_squared * line.u_value**2
    root = math.sqrt(max(middle**2 - square * rest, 0.0))
    return (-middle - root) / square, (-middle + root) / square


# Common practice, no source: a torn edge and a hanging strip are read to about a quarter inch.
STRIP_U_MM = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StripForecast:
    """The line of strip length in mm over thousands of vehicles, and when it reaches `limit`.

    The dates are the middle, earliest and latest by the line's confidence level and the meter's
    recent rate; None where no date can be set (no rate, or past the year 9999).
    """

    line: Line
    limit: float
    on: date | None
    earliest: date | None
    latest: date | None


def strip_forecast(
    readings: Sequence[TimedReading], *, limit_mm: float, vehicles: MeterLog
) -> StripForecast | NoTrend | NotEnoughData:
    """Strip wear by vehicles washed, and the date it reaches `limit_mm`.

    The readings are lengths in mm on days counted by the calendar (`date.toordinal`).
    The line is over the vehicle meter, not over days, so that a quiet winter does not look like
    better cloth; the crossing's dates follow from the meter's recent rate. The readings are of one
    set of strips: a new set begins anew. Days before the meter's first reading count as that
    reading (the line: JCGM 100:2008, H.3). `NotEnoughData` without a meter or below five readings
    at different counts, `NoTrend` where the lengths do not show wear.
    """
    placed = [
        replace(reading, day=total / 1000)
        for reading in readings
        if (total := total_on(vehicles, date.fromordinal(int(reading.day)))) is not None
    ]
    if not placed:
        return NotEnoughData(
            what="strip lengths with a vehicle count",
            have=0,
            need=1,
            why="wear is worked out by vehicles, and the vehicle meter has no readings",
        )
    crossing = limit_crossing(placed, lower=limit_mm)
    if not isinstance(crossing, LimitCrossing):
        return crossing
    return StripForecast(
        line=crossing.line,
        limit=limit_mm,
        on=day_reaching(vehicles, 1000 * crossing.day),
        earliest=day_reaching(vehicles, 1000 * crossing.earliest_day),
        latest=day_reaching(vehicles, 1000 * crossing.latest_day),
    )


# The length of the worked example of NIST/SEMATECH 6.3.2.2; with weekly readings a quarter.
BASELINE_READINGS = 10
