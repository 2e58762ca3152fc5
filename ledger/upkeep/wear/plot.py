"""The pictures of the wear page.

How the wear page words a reading, a limit and a pace.
"""

from ledger.book import blocks, words
from ledger.book.entry_words import format_pressure
from ledger.compute.meter import MeterLog, total_on
from ledger.compute.numbers import NotEnoughData
from ledger.compute.trend import NoTrend, StripForecast
from ledger.compute.wear import SOUND_SHARE, WearVerdict
from ledger.model.ledger import Ledger
from ledger.model.machines import NozzleRating
from ledger.model.site import Site
from ledger.upkeep.drift import words as drift_words
from ledger.upkeep.drift.found import DriftResult
from ledger.upkeep.drift.outlook import BeyondAlready, Crossing
from ledger.upkeep.drift.series import Measured
from ledger.upkeep.wear.found import NozzleGroup, WearItem


def view_of_item(item: WearItem, site: Site) -> drift_words.UnitView:
    """The site's unit for the item's readings."""
    return drift_words.view_of(item.result.series, site)


def format_limit(item: WearItem, site: Site) -> str:
    """The limits stated, as the drift page words them."""
    return drift_words.format_stated(item.result.series, view_of_item(item, site))


def outlook_shown(item: WearItem, site: Site) -> str:
    """When a limit is reached, or in few words why that cannot be said."""
    outlook = item.result.outlook
    if isinstance(outlook, NotEnoughData):
        return f"not enough data: {outlook.have} of {outlook.need} {outlook.what}"
    return drift_words.format_outlook(item.result, view_of_item(item, site))


def reached_shown(result: DriftResult) -> str:
    """The likeliest day that a limit is reached, or in a word why there is none."""
    last = result.trend_readings[-1].entry.day
    match result.outlook:
        case Crossing() | StripForecast() as found:
            if found.on is None:
                return "beyond ten years"
            day = drift_words.format_when(found.on, found.earliest, found.latest)
            return f"passed {day}" if found.on <= last else day
        case BeyondAlready():
            return "passed"
        case NoTrend():
            return "no trend shows"
        case NotEnoughData():
            return "too few readings"
        case _:
            return words.NONE


def flow_shown(item: WearItem, site: Site) -> str:
    """Flow at the rated pressure with its expanded uncertainty."""
    state = item.nozzle
    if state is None:
        return words.NONE
    view, flow = drift_words.view_of_unit("L/min", site), state.flow_at_rated_l_min
    if not flow:
        return f"0 {view.unit}"
    measured = Measured(value=flow, u=state.u_share / state.share * flow)
    return f"{drift_words.format_measured(measured, view)} {view.unit}"


def format_rating(rating: NozzleRating, site: Site) -> str:
    """A new nozzle's flow and pressure: `0.8 gpm at 60 psi`."""
    view = drift_words.view_of_unit("L/min", site)
    flow = words.format_number(round(view.of(rating.flow_lpm), 3))
    return f"{flow} {view.unit} at {format_pressure(rating.at_kpa, site)}"


_MARKS = (
    (WearVerdict.SOUND, "sound", blocks.Mark.DISC),
    (WearVerdict.WORN, "worn", blocks.Mark.CROSS),
    (WearVerdict.CLOGGED, "clogged", blocks.Mark.DIAMOND),
    (WearVerdict.CATCH_LONGER, "cannot tell", blocks.Mark.RING),
)


def nozzle_plot(ledger: Ledger, group: NozzleGroup) -> blocks.Plot:
    """Every catch test of a machine's nozzles by date."""
    by_verdict: dict[WearVerdict, list[blocks.Sample]] = {}
    for item in group.items:
        view = view_of_item(item, ledger.site)
        for reading in item.result.series.readings:
            verdict = item.catches[reading.entry.ref].verdict
            sample = drift_words.sample_of(reading.entry.day.toordinal(), reading.measured, view)
            by_verdict.setdefault(verdict, []).append(sample)
    name = ledger.machines[group.machine].name
    low, high = 100 * SOUND_SHARE.low, 100 * SOUND_SHARE.high
    return blocks.Plot(
        title=f"{name}: flow of its nozzles as a share of new",
        summary=(
            f"{sum(map(len, by_verdict.values()))} catch tests of "
            f"{words.format_count(len(group.items), 'nozzle')} at the rated pressure"
        ),
        x=blocks.Axis(label="date", kind=blocks.AxisKind.DAY),
        y=blocks.Axis(label="flow as a share of new, %"),
        samples=[
            blocks.Samples(name=label, mark=mark, points=by_verdict[verdict])
            for verdict, label, mark in _MARKS
            if verdict in by_verdict
        ],
        zones=[blocks.Zone(name="range of a sound nozzle", low=low, high=high)],
    )


def cloth_plot(ledger: Ledger, item: WearItem, vehicles: MeterLog) -> blocks.Plot:
    """Strip length by thousand vehicles washed, with the limit and the pace."""
    view = view_of_item(item, ledger.site)
    series, outlook = item.result.series, item.result.outlook
    placed = [
        (total / 1000, reading)
        for reading in series.readings
        if (total := total_on(vehicles, reading.entry.day)) is not None
    ]
    points = [drift_words.sample_of(x, reading.measured, view) for x, reading in placed]
    ends = (min(x for x, _ in placed), max(x for x, _ in placed))
    curves = []
    if isinstance(outlook, StripForecast):
        first = total_on(vehicles, item.result.trend_readings[0].entry.day) or 0.0
        corners = [(x, view.of(outlook.line.at(x))) for x in (first / 1000, ends[1])]
        curves.append(blocks.Curve(name="pace", stroke=blocks.Stroke.DASHED, corners=corners))
    if series.lower is not None:
        corners = [(x, view.of(series.lower)) for x in ends]
        curves.append(blocks.Curve(name="limit", stroke=blocks.Stroke.DOTTED, corners=corners))
    return blocks.Plot(
        title=f"{ledger.place_name(item.place)}: strip length",
        summary=(
            f"{len(placed)} readings with expanded uncertainty by vehicles washed, limit "
            f"{drift_words.format_stated(series, view)}; {outlook_shown(item, ledger.site)}"
        ),
        x=blocks.Axis(label="vehicles washed, thousands"),
        y=blocks.Axis(label=f"strip length, {view.unit}"),
        samples=[blocks.Samples(name="reading", mark=blocks.Mark.DISC, points=points)],
        curves=curves,
        events=_renewals(item, vehicles, ends),
    )


def _renewals(item: WearItem, vehicles: MeterLog, ends: tuple[float, float]) -> list[blocks.Event]:
    """New strips, at the vehicles washed until then."""
    found = []
    for rebase in item.result.series.rebases:
        total = total_on(vehicles, rebase.day)
        if total is not None and ends[0] < total / 1000 < ends[1]:
            found.append(blocks.Event(x=total / 1000, label=rebase.what))
    return found
