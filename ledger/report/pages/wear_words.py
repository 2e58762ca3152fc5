"""How the wear page words a reading, a limit and a pace."""

import math

from ledger.assess.drift import DriftResult
from ledger.assess.drift_outlook import BeyondAlready, Crossing
from ledger.assess.wear import WearItem
from ledger.compute.forecast import NoTrend
from ledger.compute.not_enough_data import NotEnoughData
from ledger.compute.rounding import shown
from ledger.compute.speed import COVERAGE, coverage_factor
from ledger.compute.strip_wear import StripForecast
from ledger.compute.units import convert
from ledger.model.machines import NozzleRating
from ledger.model.site import Site, Units
from ledger.report import words
from ledger.report.entry_words import pressure_words
from ledger.report.pages.drift_words import (
    UnitView,
    outlook_words,
    stated_words,
    view_of,
    when_words,
)

_COVERAGE_FACTOR = coverage_factor(math.inf, COVERAGE)


def view_of_item(item: WearItem, site: Site) -> UnitView:
    """The site's unit for the item's readings."""
    return view_of(item.result.series, site)


def limit_words(item: WearItem, site: Site) -> str:
    """The limits stated, as the drift page words them."""
    return stated_words(item.result.series, view_of_item(item, site))


def outlook_shown(item: WearItem, site: Site) -> str:
    """When a limit is reached, or in few words why that cannot be said."""
    outlook = item.result.outlook
    if isinstance(outlook, NotEnoughData):
        return f"not enough data: {outlook.have} of {outlook.need} {outlook.what}"
    return outlook_words(item.result, view_of_item(item, site))


def reached_shown(result: DriftResult) -> str:
    """The likeliest day that a limit is reached, or in a word why there is none."""
    last = result.trend_readings[-1].entry.day
    match result.outlook:
        case Crossing(on=on, earliest=earliest, latest=latest):
            pass
        case StripForecast(reached_on=on, earliest_on=earliest, latest_on=latest):
            pass
        case BeyondAlready():
            return "passed"
        case NoTrend():
            return "steady"
        case NotEnoughData():
            return "too few readings"
        case _:
            return words.NONE
    if on is None:
        return "beyond ten years"
    day = when_words(on, earliest, latest)
    return f"passed {day}" if on <= last else day


def flow_shown(item: WearItem, site: Site) -> str:
    """Flow at the rated pressure with its expanded uncertainty."""
    state = item.nozzle
    if state is None:
        return words.NONE
    relative = state.u_share / state.share if state.share else 0.0
    unit, factor = _flow_unit(site)
    flow = state.flow_at_rated_l_min * factor
    return f"{shown(flow, _COVERAGE_FACTOR * relative * flow)} {unit}" if flow else f"0 {unit}"


def rating_words(rating: NozzleRating, site: Site) -> str:
    """A new nozzle's flow and pressure: `0.8 gpm at 60 psi`."""
    unit, factor = _flow_unit(site)
    flow = words.number_words(round(rating.flow_lpm * factor, 3))
    return f"{flow} {unit} at {pressure_words(rating.at_kpa, site)}"


def _flow_unit(site: Site) -> tuple[str, float]:
    if site.units is Units.US:
        return "gpm", convert(1, "l_min", "gpm")
    return "L/min", 1.0
