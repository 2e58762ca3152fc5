"""The pictures of the wear page."""

from statistics import median

from ledger.assess.wear import NozzleGroup, WearItem
from ledger.compute.meter import MeterLog, total_on
from ledger.compute.spray import SOUND_SHARE, NozzleVerdict
from ledger.compute.strip_wear import StripForecast
from ledger.model.ledger import Ledger
from ledger.report import words
from ledger.report.pages.drift_plot import drift_plot
from ledger.report.pages.drift_words import half_width, stated_words
from ledger.report.pages.wear_words import outlook_shown, view_of_item
from ledger.report.plot import (
    Axis,
    AxisKind,
    Curve,
    Event,
    Mark,
    Plot,
    Sample,
    Samples,
    Stroke,
    Zone,
)

_MARKS = (
    (NozzleVerdict.SOUND, "sound", Mark.DISC),
    (NozzleVerdict.WORN, "worn", Mark.CROSS),
    (NozzleVerdict.CLOGGED, "clogged", Mark.DIAMOND),
    (NozzleVerdict.CANNOT_TELL, "cannot tell", Mark.RING),
)


def series_plot(ledger: Ledger, item: WearItem) -> Plot:
    """A series by date with its limits and trend."""
    return drift_plot(ledger, item.result)


def nozzle_plot(ledger: Ledger, group: NozzleGroup) -> Plot:
    """Every catch test of a machine's nozzles by date."""
    by_verdict: dict[NozzleVerdict, list[Sample]] = {}
    for item in group.items:
        for reading in item.result.series.readings:
            verdict = item.catches[reading.entry.ref].verdict
            by_verdict.setdefault(verdict, []).append(
                Sample(
                    x=reading.entry.day.toordinal(),
                    y=reading.measured.value,
                    half_width=half_width(reading.measured, view_of_item(item, ledger.site)),
                )
            )
    name = ledger.machines[group.machine].name
    return Plot(
        title=f"{name}: flow of its nozzles as a share of new",
        summary=(
            f"{sum(map(len, by_verdict.values()))} catch tests of "
            f"{words.count_words(len(group.items), 'nozzle')} at the rated pressure"
        ),
        x=Axis(label="date", kind=AxisKind.DAY),
        y=Axis(label="flow as a share of new, %"),
        samples=[
            Samples(name=label, mark=mark, points=by_verdict[verdict])
            for verdict, label, mark in _MARKS
            if verdict in by_verdict
        ],
        zones=[
            Zone(
                name="range of a sound nozzle",
                low=100 * SOUND_SHARE.low,
                high=100 * SOUND_SHARE.high,
            )
        ],
    )


def cloth_plot(ledger: Ledger, item: WearItem, vehicles: MeterLog) -> Plot:
    """Strip length by thousand vehicles washed, with the limit and the pace."""
    view = view_of_item(item, ledger.site)
    series = item.result.series
    placed = [
        (total / 1000, reading)
        for reading in series.readings
        if (total := total_on(vehicles, reading.entry.day)) is not None
    ]
    ends = (min(x for x, _ in placed), max(x for x, _ in placed))
    curves = []
    outlook = item.result.outlook
    if isinstance(outlook, StripForecast):
        counting = {reading.entry.ref for reading in item.result.trend_readings}
        own = [(x, r.measured.value) for x, r in placed if r.entry.ref in counting]
        pace = outlook.wear_mm_per_thousand
        start = median(length + pace * x for x, length in own)
        span = (min(x for x, _ in own), ends[1])
        curves.append(
            Curve(
                name="pace",
                stroke=Stroke.DASHED,
                corners=[(x, view.of(start - pace * x)) for x in span],
            )
        )
    if series.lower is not None:
        curves.append(
            Curve(
                name="limit",
                stroke=Stroke.DOTTED,
                corners=[(x, view.of(series.lower)) for x in ends],
            )
        )
    return Plot(
        title=f"{ledger.place_name(item.place)}: strip length",
        summary=(
            f"{len(placed)} readings with expanded uncertainty by vehicles washed, limit "
            f"{stated_words(series, view)}; {outlook_shown(item, ledger.site)}"
        ),
        x=Axis(label="vehicles washed, thousands"),
        y=Axis(label=f"strip length, {view.unit}"),
        samples=[
            Samples(
                name="reading",
                mark=Mark.DISC,
                points=[
                    Sample(
                        x=x,
                        y=view.of(reading.measured.value),
                        half_width=half_width(reading.measured, view),
                    )
                    for x, reading in placed
                ],
            )
        ],
        curves=curves,
        events=_renewals(item, vehicles, ends),
    )


def _renewals(item: WearItem, vehicles: MeterLog, ends: tuple[float, float]) -> list[Event]:
    """New strips, at the vehicles washed until then."""
    found = []
    for rebase in item.result.series.rebases:
        total = total_on(vehicles, rebase.day)
        if total is not None and ends[0] < total / 1000 < ends[1]:
            found.append(Event(x=total / 1000, label=rebase.what))
    return found
