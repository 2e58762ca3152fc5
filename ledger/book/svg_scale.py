"""From quantities to places on a picture: the range of an axis, its ticks and their words."""

import math
from collections.abc import Iterable, Sequence
from datetime import date
from itertools import pairwise

from ledger.book.blocks import Axis, AxisKind, Plot
from ledger.values import dataclass

# A value this many spreads away from the middle half is drawn as an arrow at the edge, so that
# one slip of the pen does not flatten all others. Generous, so that a real step stays in view.
_FENCE_SPREADS = 5.0

_FEWEST_TO_FENCE = 5

# Below this a span has no tenth that a float can hold.
_LEAST_SPAN = 1e-300

_MARGIN = 0.06

_SUPERSCRIPT = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")

_FIRST_DAY, _LAST_DAY = date.min.toordinal(), date.max.toordinal()

MOST_TICKS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    at: float
    words: str


@dataclass(frozen=True, slots=True)
class Scale:
    """A straight map from `low`..`high` of the quantity to `start`..`end` of the picture."""

    low: float
    high: float
    start: float
    end: float

    def place(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)

    def holds(self, value: float) -> bool:
        return self.low <= value <= self.high


def x_range(plot: Plot) -> tuple[float, float]:
    """The x to show: what the axis states, else all values, to whole years or steps.

    ±0.5 about a lone value, 0..1 for none.
    """
    if plot.x.span is not None:
        return _apart(*plot.x.span)
    values = [point.x for samples in plot.samples for point in samples.points]
    values += [x for curve in plot.curves for x, _ in curve.corners]
    values += [event.x for event in plot.events]
    values += [x for zone in plot.zones for x in (zone.x_from, zone.x_to) if x is not None]
    if plot.x.kind is AxisKind.DAY:
        days = [max(_FIRST_DAY, min(int(day), _LAST_DAY)) for day in _finite(values) or [0]]
        return year_span(date.fromordinal(min(days)).year, date.fromordinal(max(days)).year)
    return _to_whole_steps(*_widened(_finite(values)))


def _apart(low: float, high: float) -> tuple[float, float]:
    """What an axis states; a band or a range of one value alone is shown with room about it."""
    return (low, high) if low < high else _to_whole_steps(*_widened([low]))


def year_span(first: int, last: int) -> tuple[float, float]:
    """From the first day of a year to that after the last day of another."""
    return date(first, 1, 1).toordinal(), date(last, 12, 31).toordinal() + 1


def band_span(low: float, high: float) -> tuple[float, float]:
    """A band in the middle third of an axis, with as much room below and above it."""
    return 2 * low - high, 2 * high - low


def y_range(plot: Plot) -> tuple[float, float]:
    """The y to show: what the axis states, else all values, to whole steps.

    Single values far from all others are left outside.
    """
    if plot.y.span is not None:
        return _apart(*plot.y.span)
    points = [point for samples in plot.samples for point in samples.points]
    values = _finite([point.y for point in points])
    limits = _finite([y for zone in plot.zones for y in (zone.low, zone.high)])
    ends = [point.y + sign * point.half_width for point in points for sign in (-1, 1)]
    everything = values + limits + _finite(ends)
    everything += _finite([y for curve in plot.curves for _, y in curve.corners])
    fence = _fence(values, limits, [point.half_width for point in points])
    if fence:
        everything = [y for y in everything if fence[0] <= y <= fence[1]] + limits
    return _to_whole_steps(*_widened(everything))


def _to_whole_steps(low: float, high: float) -> tuple[float, float]:
    step = _nice_step((high - low) / MOST_TICKS)
    return step * math.floor(low / step), step * math.ceil(high / step)


def _fence(
    values: Sequence[float], limits: Sequence[float], half_widths: Sequence[float]
) -> tuple[float, float] | None:
    if len(values) < _FEWEST_TO_FENCE:
        return None
    ordered = sorted(values)
    first, third = ordered[len(ordered) // 4], ordered[-1 - len(ordered) // 4]
    bars = 2 * sorted(half_widths)[len(half_widths) // 2]
    zone = max(limits) - min(limits) if limits else 0.0
    spread = max(third - first, bars, zone)
    if spread == 0:
        return None
    reach = _FENCE_SPREADS * spread
    return min([first, *limits]) - reach, max([third, *limits]) + reach


def _finite(values: Iterable[float]) -> list[float]:
    return [value for value in values if math.isfinite(value)]


def _widened(values: Sequence[float]) -> tuple[float, float]:
    if not values:
        return 0.0, 1.0
    low, high = min(values), max(values)
    largest = max(abs(low), abs(high))
    if high - low <= max(1e-9 * largest, _LEAST_SPAN):
        half = 0.5 if 1 <= largest < 1e6 or largest <= _LEAST_SPAN else 0.05 * largest
        return low - half, high + half
    margin = _MARGIN * (high - low)
    # What is never below nought is not shown as if it could be.
    return low - margin if low < 0 else max(0.0, low - margin), high + margin


def ticks(
    axis: Axis, low: float, high: float, most: int = MOST_TICKS
) -> tuple[Sequence[Tick], str]:
    """At most `most` ticks between `low` and `high`, and the axis label with its power of ten."""
    if axis.kind is AxisKind.DAY:
        return _day_ticks(low, high, most), axis.label
    step = _nice_step((high - low) / most)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    power = _power(max(abs(low), abs(high)))
    places = max(0, power - math.floor(math.log10(step) + 1e-9))
    found = [
        Tick(at=n * step, words=_number(n * step / 10**power, places))
        for n in range(first, last + 1)
    ]
    label = f"{axis.label} (×10{str(power).translate(_SUPERSCRIPT)})" if power else axis.label
    return found, label


def _number(value: float, places: int) -> str:
    text = f"{value:.{places}f}"
    return (text.removeprefix("-") if float(text) == 0 else text).replace("-", "−")


def _power(largest: float) -> int:
    """The power of ten to take out of numbers too long to read, in thousands; 0 for none."""
    if largest == 0 or 1e-2 <= largest < 1e5:
        return 0
    return 3 * math.floor(math.log10(largest) / 3)


def _nice_step(rough: float) -> float:
    """The least of 1, 2, 5 times a power of ten that is not below `rough`."""
    power = 10.0 ** math.floor(math.log10(rough))
    return next((n * power for n in (1, 2, 5) if n * power >= rough * (1 - 1e-9)), 10 * power)


def _day_ticks(low: float, high: float, most: int) -> Sequence[Tick]:
    """Days, then Mondays, then first days of months, quarters and years, the first that fit."""
    first, last = math.ceil(low), math.floor(high)
    for every in (1, 2, 7, 14):
        # Ordinal 1 is a Monday (ISO 8601), so Mondays leave 1 when divided by 7.
        start = first + (1 - first) % every
        if (last - start) // every < most:
            return [
                Tick(at=float(day), words=date.fromordinal(day).isoformat())
                for day in range(start, last + 1, every)
            ]
    begin, end = date.fromordinal(first), date.fromordinal(last)
    months = range(12 * begin.year + begin.month - 1, 12 * end.year + end.month)
    for every in (1, 2, 3, 6, 12, 24, 60, 120, 240, 600, 1200, 2400, 6000):
        starts = [date(m // 12, m % 12 + 1, 1) for m in months if m % every == 0 and m >= 12]
        shown = [day for day in starts if low <= day.toordinal() <= high]
        if len(shown) <= most:
            length = len("2026-11") if every < 12 else len("2026")
            return [
                Tick(at=float(day.toordinal()), words=day.isoformat()[:length]) for day in shown
            ]
    return []


def clipped_segments(
    corners: Sequence[tuple[float, float]], x: Scale, y: Scale
) -> list[list[tuple[float, float]]]:
    """The parts of a line that lie inside the plot (Liang and Barsky 1984), in its own units.

    A corner that is not finite breaks the line.
    """
    runs: list[list[tuple[float, float]]] = []
    for start, end in pairwise(corners):
        inside = _clipped(start, end, x, y)
        if inside is None:
            continue
        if runs and runs[-1][-1] == inside[0]:
            runs[-1].append(inside[1])
        else:
            runs.append(list(inside))
    return runs


def _clipped(
    start: tuple[float, float], end: tuple[float, float], x: Scale, y: Scale
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    if not all(map(math.isfinite, (*start, *end))):
        return None
    enter, leave = 0.0, 1.0
    for axis, scale in enumerate((x, y)):
        delta = end[axis] - start[axis]
        for room, sign in ((start[axis] - scale.low, -1.0), (scale.high - start[axis], 1.0)):
            if delta == 0:
                if room < 0:
                    return None
                continue
            share = room / (sign * delta)
            if sign * delta > 0:
                leave = min(leave, share)
            else:
                enter = max(enter, share)
    if enter > leave:
        return None

    def at(share: float) -> tuple[float, float]:
        if share in (0.0, 1.0):
            return end if share else start
        return (start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1]))

    return at(enter), at(leave)
