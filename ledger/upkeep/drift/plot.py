"""The picture of one series: readings, limits, first levels, average, and recorded changes."""

from collections.abc import Iterator, Sequence
from itertools import pairwise

from ledger.book import words
from ledger.book.blocks import (
    Axis,
    AxisKind,
    Curve,
    Event,
    Mark,
    Picture,
    Plot,
    Sample,
    Samples,
    Stroke,
    Zone,
)
from ledger.book.svg_scale import band_span, year_span
from ledger.compute.drift import DriftBaseline
from ledger.compute.trend import MOST_TREND_READINGS
from ledger.model.ledger import Ledger
from ledger.upkeep.drift.found import ChartedStretch, DriftResult
from ledger.upkeep.drift.outlook import Crossing
from ledger.upkeep.drift.series import SeriesReading
from ledger.upkeep.drift.words import (
    UnitView,
    format_outlook,
    format_stated,
    format_title,
    sample_of,
    view_of,
)
from ledger.values import grouped, replace

MOST_SHOWN = MOST_TREND_READINGS


def year_picture(ledger: Ledger, result: DriftResult, year: int) -> Picture:
    """The year of a series, small, to be compared with others."""
    plot = drift_plot(ledger, result)
    of_year = replace(plot, x=replace(plot.x, span=year_span(year, year)))
    return Picture(f"plots/{year}/small-{result.series.ident}.svg", of_year, is_small=True)


def drift_plot(ledger: Ledger, result: DriftResult) -> Plot:
    """The newest readings of a series on its control chart; the same result, the same picture."""
    series = result.series
    view = view_of(series, ledger.site)
    shown = series.readings[-MOST_SHOWN:]
    first = shown[0].entry.day.toordinal()
    band = _band(result, view)
    span = band_span(band[0].low, band[0].high) if band else None
    signals = f", {words.format_count(len(result.signals), 'signal')} since the last change"
    return Plot(
        title=format_title(ledger, series),
        summary=(
            f"Readings with expanded uncertainty, limits {format_stated(series, view)}"
            f"{signals if result.stretches else ''}; {format_outlook(result, view)}"
        ),
        x=Axis(label="date", kind=AxisKind.DAY),
        y=Axis(label=f"{series.kind.name}, {view.unit}", span=span),
        samples=_samples(result, shown, view),
        curves=list(_curves(result, shown, view)),
        zones=[*band, *_control_zones(result.stretches, first, view)],
        events=_events(result, first),
    )


def _samples(result: DriftResult, shown: Sequence[SeriesReading], view: UnitView) -> list[Samples]:
    baseline = {r.entry.ref for s in result.stretches for r in s.baseline_readings}
    beyond = {
        reading.entry.ref
        for stretch in result.stretches
        for reading, point in zip(stretch.watched, stretch.points, strict=False)
        if not point.limits.hold(point.value)
    }
    kinds = (
        ("reading", Mark.DISC),
        ("outside the normal range", Mark.CROSS),
        ("first reading", Mark.RING),
    )

    def kind_of(reading: SeriesReading) -> tuple[str, Mark]:
        ref = reading.entry.ref
        return kinds[2 if ref in baseline else 1 if ref in beyond else 0]

    def sample(reading: SeriesReading) -> Sample:
        return sample_of(reading.entry.day.toordinal(), reading.measured, view)

    of = grouped(shown, kind_of)
    return [Samples(name=k[0], mark=k[1], points=[*map(sample, of[k])]) for k in kinds]


def _curves(result: DriftResult, shown: Sequence[SeriesReading], view: UnitView) -> Iterator[Curve]:
    first, last = (shown[end].entry.day.toordinal() for end in (0, -1))
    stretch = result.stretches[-1] if result.stretches else None
    if stretch is not None and len(stretch.points) > 1:
        average = [
            (point.day, view.of(point.average)) for point in stretch.points if point.day >= first
        ]
        yield Curve(name="weighted average", stroke=Stroke.SOLID, corners=average)
    outlook = result.outlook
    if isinstance(outlook, Crossing):
        begin = max(first, result.trend_readings[0].entry.day.toordinal())
        trend = [(x, view.of(outlook.line.at(x))) for x in (begin, last)]
        yield Curve(name="trend", stroke=Stroke.DASHED, corners=trend)
    series = result.series
    one_limit = series.upper if series.lower is None else series.lower
    if one_limit is not None and (series.lower is None or series.upper is None):
        limit = [(x, view.of(one_limit)) for x in (first, last)]
        yield Curve(name="limit", stroke=Stroke.DOTTED, corners=limit)


def _band(result: DriftResult, view: UnitView) -> list[Zone]:
    lower, upper = result.series.lower, result.series.upper
    if lower is None or upper is None:
        return []
    return [Zone(name="limits to keep", low=view.of(lower), high=view.of(upper))]


def _control_zones(stretches: Sequence[ChartedStretch], first: float, view: UnitView) -> list[Zone]:
    """Control limits in steps, each reading's half way to its neighbours; equal ones joined."""
    zones: list[Zone] = []
    for stretch in stretches:
        points = [point for point in stretch.points if point.day >= first]
        if not points or not isinstance(stretch.baseline, DriftBaseline):
            continue
        days = [point.day for point in points]
        inner = [(a + b) / 2 for a, b in pairwise(days)]
        edges = [days[0], *inner, days[-1]]
        for point, (start, end) in zip(points, pairwise(edges), strict=True):
            low, high = view.of(point.limits.lower), view.of(point.limits.upper)
            step = Zone(name="normal range", low=low, high=high, x_from=start, x_to=end)
            if zones and zones[-1] == replace(step, x_from=zones[-1].x_from, x_to=start):
                step = replace(step, x_from=zones.pop().x_from)
            if end > start:
                zones.append(step)
    return zones


def _events(result: DriftResult, first: float) -> list[Event]:
    found = {
        (rebase.day.toordinal(), rebase.what)
        for rebase in result.series.rebases
        if rebase.day.toordinal() > first
    }
    return [Event(x=day, label=what) for day, what in sorted(found)]
