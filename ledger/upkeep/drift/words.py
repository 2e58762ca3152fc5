"""How a series is told: its units, its level, its slope and its outlook; and as a row for JSON."""

import math
from collections.abc import Iterator
from datetime import date
from typing import assert_never

from ledger.book import words
from ledger.book.blocks import Sample
from ledger.book.entry_words import format_raw, format_reading
from ledger.book.flat import JsonRow
from ledger.compute.drift import ChartPoint, DriftBaseline
from ledger.compute.numbers import (
    NotEnoughData,
    convert,
    round_to_step,
    shown,
    shown_bounds,
    shown_value,
    significant,
)
from ledger.compute.speed import COVERAGE, coverage_factor
from ledger.compute.trend import Line, NoTrend, StripForecast
from ledger.model.ledger import Ledger
from ledger.model.meters import DAYS_IN_MONTH
from ledger.model.site import Site, Units
from ledger.upkeep.drift.found import DriftResult, DriftSignal
from ledger.upkeep.drift.outlook import (
    BeyondAlready,
    Crossing,
    NoLimit,
    Outlook,
    line_of,
    line_shown,
)
from ledger.upkeep.drift.series import BELT, Measured, Series, SeriesReading
from ledger.values import dataclass, replace

# Bounds further apart than a quarter say nothing about days.
_VAGUE_DAYS = 92

_COVERAGE_FACTOR = coverage_factor(math.inf, COVERAGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitView:
    """How the site shows a unit: shown = `factor` · value + `offset`.

    `read_to` is the finest that a person reads, in the unit shown: a limit that was worked out is
    shown to it. Judged is by the exact value.
    """

    unit: str
    factor: float = 1.0
    offset: float = 0.0
    read_to: float | None = None

    def of(self, value: float) -> float:
        return self.factor * value + self.offset


RULE_READ_TO_IN = 0.01

RULE_READ_TO_MM = 0.5
"""How finely a rule is read. Common practice, no source."""


_US = {
    "mm": UnitView(unit="in", factor=convert(1, "mm", "in")),
    "kPa": UnitView(unit="psi", factor=convert(1, "kpa", "psi")),
    "°C": UnitView(unit="°F", factor=1.8, offset=32.0),
    "mg/L": UnitView(unit="gpg", factor=convert(1, "mg_l", "gpg")),
    "kW": UnitView(unit="hp", factor=convert(1, "kw", "hp")),
    "m/s": UnitView(unit="ft/min", factor=convert(1, "m_s", "ft_min")),
    "L": UnitView(unit="gal", factor=convert(1, "l", "gal")),
    "mL": UnitView(unit="fl oz", factor=convert(1, "ml", "floz")),
    "L/min": UnitView(unit="gpm", factor=convert(1, "l_min", "gpm")),
}


def view_of_unit(unit: str, site: Site) -> UnitView:
    own = UnitView(unit=unit)
    return _US.get(unit, own) if site.units is Units.US else own


def view_of(series: Series, site: Site) -> UnitView:
    view = view_of_unit(series.kind.unit, site)
    if series.kind == BELT:
        is_us = site.units is Units.US
        return replace(view, read_to=RULE_READ_TO_IN if is_us else RULE_READ_TO_MM)
    return view


def format_title(ledger: Ledger, series: Series) -> str:
    """`Low brush, passenger: shaft speed at the setting in force`."""
    return f"{ledger.place_name(series.place)}: {series.kind.name}"


def format_measured(measured: Measured, view: UnitView) -> str:
    """`80.1 ± 1.2`, with the expanded uncertainty, without the unit."""
    return shown(view.of(measured.value), half_width(measured, view))


def sample_of(x: float, measured: Measured, view: UnitView) -> Sample:
    """A reading in a plot, with its expanded uncertainty."""
    return Sample(x=x, y=view.of(measured.value), half_width=half_width(measured, view))


def half_width(measured: Measured, view: UnitView) -> float:
    """The expanded uncertainty as shown."""
    return _COVERAGE_FACTOR * measured.u * view.factor


def format_limits(point: ChartPoint | None, view: UnitView) -> str:
    """`78.2 to 81.9`, to the digits that half their distance supports; a dash without a point."""
    if point is None:
        return words.NONE
    return shown_bounds(view.of(point.limits.lower), view.of(point.limits.upper))


def format_limit(value: float, view: UnitView) -> str:
    """A stated limit, which is exact but for the conversion; a worked out one as it is read."""
    return f"{_limit_number(value, view)} {view.unit}".rstrip()


def _limit_number(value: float, view: UnitView) -> str:
    shown_limit = view.of(value)
    if view.read_to is None:
        return words.format_number(float(significant(shown_limit, 4)))
    return words.format_number(round_to_step(shown_limit, view.read_to, 0.0, shown_limit + 1.0))


def format_stated(series: Series, view: UnitView) -> str:
    by_rule = ", by the 1/64 rule" if series.kind == BELT else ""
    return format_bounds(series.lower, series.upper, view) + by_rule


def format_bounds(lower: float | None, upper: float | None, view: UnitView) -> str:
    """`1.2–1.4 in`, `at most 24 A`, `none stated`."""
    match lower, upper:
        case float(lower), float(upper):
            low, high = (_limit_number(limit, view) for limit in (lower, upper))
            return f"{low}–{high} {view.unit}".rstrip()
        case float(lower), None:
            return f"at least {format_limit(lower, view)}"
        case None, float(upper):
            return f"at most {format_limit(upper, view)}"
        case _:
            return "none stated"


def format_slope(line: Line, view: UnitView) -> str:
    """`falls 0.40 (0.35 to 0.44) r/min a month`."""
    return f"{_verb(line)} {_bounded(line, DAYS_IN_MONTH * view.factor)} {view.unit} a month"


def format_pace(line: Line, view: UnitView) -> str:
    """`falls 0.40 r/min a month`: the slope alone, for a line that links to the rest."""
    pace = significant(abs(line.slope) * DAYS_IN_MONTH * view.factor, 2)
    return f"{_verb(line)} {pace} {view.unit} a month"


def _verb(line: Line) -> str:
    return "falls" if line.slope < 0 else "rises"


def format_chance_of_luck(outlook: Outlook) -> str:
    """How likely steady readings would seem to move as much; nothing where no slope is told."""
    line = line_shown(outlook)
    if line is None:
        return ""
    percent = 100 * line.p_value
    chance = "under 0.1" if percent < 0.1 else significant(percent, 1)
    return f"unlikely to be chance ({chance} %)"


def format_outlook(result: DriftResult, view: UnitView) -> str:
    """When a limit is crossed, or why that cannot be said."""
    outlook = result.outlook
    match outlook:
        case BeyondAlready():
            side = "below" if outlook.level.value < outlook.limit else "above"
            return (
                f"beyond its limit already: the last {outlook.readings} readings say "
                f"{format_measured(outlook.level, view)}, "
                f"{side} {format_limit(outlook.limit, view)}"
            )
        case Crossing() | StripForecast():
            return _reached(outlook, result.trend_readings[-1].entry.day, view)
        case NoLimit():
            return "no limit stated"
        case NoTrend() | NotEnoughData():
            return outlook.text
        case _:
            assert_never(outlook)


def format_doubts(result: DriftResult) -> Iterator[str]:
    """What a reader should know of the line that the outlook rests on, in sentences."""
    line = line_of(result.outlook)
    if line is None:
        return
    if line.wild is not None:
        wild = result.trend_readings[line.wild].entry.ref
        yield f"{wild} lies far from all others and is left out of the pace: look at it."
    if line.wander is not None and line.wander.is_shown:
        yield "The readings wander: one is like the one before. The pace and the date are rough."
    finest = min(reading.measured.u for reading in result.trend_readings)
    if line.step > 2 * finest and not line.is_shown:
        yield "A rise or fall of less than about one step of the scale cannot be seen."


def format_movement(outlook: Outlook, view: UnitView) -> str:
    """The slope, where one shows; a dash for a steady series, whose outlook says so."""
    if isinstance(outlook, StripForecast):
        worn = _bounded(outlook.line, view.factor)
        return f"wears {worn} {view.unit} per thousand vehicles"
    line = line_shown(outlook)
    return words.NONE if line is None else format_slope(line, view)


def format_when(day: date, earliest: date | None, latest: date | None) -> str:
    """A day of an outlook; its month alone where the bounds lie too far apart for days."""
    if earliest is None or latest is None or (latest - earliest).days > _VAGUE_DAYS:
        return words.format_month(day)
    return words.format_day(day)


def does_move(outlook: Outlook) -> bool:
    """Whether a rise or a fall shows beyond what the scatter of the readings allows."""
    return isinstance(outlook, StripForecast) or line_shown(outlook) is not None


def format_signal(signal: DriftSignal) -> str:
    """What spoke and since when."""
    return f"{words.format_day(signal.day)}: {signal.text}"


def format_read(reading: SeriesReading, site: Site) -> str:
    """The raw numbers of a reading."""
    entry = reading.entry
    parts = [] if entry.speed is None else [format_raw(entry.speed)]
    setting = entry.setting
    if entry.speed is not None and setting is not None and setting.counted_at is not None:
        at = words.format_setting(setting.counted_at, setting.unit, site)
        parts.append(f"at {at}")
    parts.extend(format_reading(entry.readings, site))
    return ", ".join(parts)


def _bounded(line: Line, scale: float) -> str:
    """The size of a slope with its bounds, rounded outward: `0.40 (0.35 to 0.44)`."""
    way = math.copysign(scale, line.slope)
    lower, upper = sorted((line.lower * way, line.upper * way))
    half = (upper - lower) / 2
    return f"{shown_value(line.slope * way, half)} ({shown_bounds(lower, upper)})"


def _reached(found: Crossing | StripForecast, last: date, view: UnitView) -> str:
    limit = format_limit(found.limit, view)

    def when(day: date) -> str:
        return format_when(day, found.earliest, found.latest)

    if found.on is None:
        start = f", not before {when(found.earliest)}" if found.earliest is not None else ""
        return f"{limit} lies more than ten years off{start}"
    verb = "passed" if found.on <= last else "reached"
    match found.earliest, found.latest:
        case date() as earliest, date() as latest:
            bounds = f"between {when(earliest)} and {when(latest)}"
        case date() as earliest, None:
            bounds = f"not before {when(earliest)}, no end can be set"
        case None, date() as latest:
            bounds = f"by {when(latest)}"
        case _:
            bounds = "no bounds can be set"
    return f"{limit} {verb} about {when(found.on)}, {bounds}"


def drift_row(result: DriftResult) -> JsonRow:
    """One series: its readings, baseline, signals with their evidence, slope and outlook."""
    series = result.series
    stretch = result.stretches[-1] if result.stretches else None
    baseline = stretch.baseline if stretch else None
    return {
        "series": series.ident,
        "place": str(series.place),
        "quantity": series.kind.name,
        "unit": series.kind.unit,
        "readings": len(series.readings),
        "lower_limit": series.lower,
        "upper_limit": series.upper,
        "rebased": [{"on": rebase.day.isoformat(), "by": rebase.what} for rebase in series.rebases],
        "baseline": None
        if not isinstance(baseline, DriftBaseline)
        else {
            "readings": baseline.count,
            "centre": baseline.centre,
            "standard_uncertainty": baseline.centre_uncertainty,
        },
        "signals": [
            {
                "rule": signal.rule.value,
                "on": signal.day.isoformat(),
                "value": signal.value,
                "text": signal.text,
                "evidence": [str(ref) for ref in signal.evidence],
            }
            for signal in result.signals
        ],
        "answered_signals": result.answered,
        "pace_changed": result.has_bent,
        "outlook": outlook_row(result),
    }


def outlook_row(result: DriftResult) -> JsonRow:
    """When a limit is reached and how fast, or why that cannot be said."""
    match result.outlook:
        case Crossing() | StripForecast() as found:
            days = {"on": found.on, "earliest": found.earliest, "latest": found.latest}
            return {
                "says": "crosses its limit",
                "limit": found.limit,
                **{name: day and day.isoformat() for name, day in days.items()},
                **(_slope(found.line) if isinstance(found, Crossing) else _wear(found.line)),
            }
        case BeyondAlready() as found:
            return {
                "says": "beyond its limit already",
                "limit": found.limit,
                "level": found.level.value,
                "standard_uncertainty": found.level.u,
                **_slope(found.line),
            }
        case NoTrend(text=text, line=line):
            return {"says": text, **_slope(line)}
        case NoLimit(line=line):
            return {"says": "no limit is stated", **_slope(line)}
        case NotEnoughData(text=text):
            return {"says": text}


def _wear(line: Line) -> JsonRow:
    return {
        "wear_mm_per_thousand_vehicles": -line.slope,
        "wear_lower": -line.upper,
        "wear_upper": -line.lower,
    }


def _slope(line: Line | NotEnoughData) -> JsonRow:
    if isinstance(line, NotEnoughData):
        return {"slope_per_day": None}
    bounds = {"slope_lower": line.lower, "slope_upper": line.upper}
    return {"slope_per_day": line.slope, **bounds, "p_value": line.p_value}
