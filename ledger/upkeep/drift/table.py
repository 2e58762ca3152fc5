"""Drift results as rows for JSON, in the units of the series."""

from datetime import date

from ledger.book.flat import JsonRow
from ledger.compute.drift import DriftBaseline
from ledger.compute.numbers import NotEnoughData
from ledger.compute.trend import NoTrend, RobustSlope, StripForecast
from ledger.upkeep.drift.found import DriftResult
from ledger.upkeep.drift.outlook import BeyondAlready, Crossing, NoLimit


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
        case Crossing() as found:
            return {
                "says": "crosses its limit",
                "limit": found.limit,
                **_dates(found.on, found.earliest, found.latest),
                **_slope(found.slope),
            }
        case StripForecast() as found:
            return {
                "says": "crosses its limit",
                "limit": found.limit_mm,
                **_dates(found.reached_on, found.earliest_on, found.latest_on),
                "wear_mm_per_thousand_vehicles": found.wear_mm_per_thousand,
                "wear_lower": found.lower_mm_per_thousand,
                "wear_upper": found.upper_mm_per_thousand,
            }
        case BeyondAlready() as found:
            return {
                "says": "beyond its limit already",
                "limit": found.limit,
                "level": found.level.value,
                "standard_uncertainty": found.level.u,
                **_slope(found.slope),
            }
        case NoTrend() as found:
            return {"says": found.text, **_slope(found.slope)}
        case NoLimit() as found:
            return {"says": "no limit is stated", **_slope(found.slope)}
        case NotEnoughData() as found:
            return {"says": found.text}


def _dates(on: date | None, earliest: date | None, latest: date | None) -> JsonRow:
    return {
        name: None if day is None else day.isoformat()
        for name, day in (("on", on), ("earliest", earliest), ("latest", latest))
    }


def _slope(slope: RobustSlope | NotEnoughData) -> JsonRow:
    if isinstance(slope, NotEnoughData):
        return {"slope_per_day": None}
    return {
        "slope_per_day": slope.slope,
        "slope_lower": _finite(slope.lower),
        "slope_upper": _finite(slope.upper),
        "p_value": slope.p_value,
    }


def _finite(bound: float) -> float | None:
    """JSON knows no infinity; a bound that the readings do not set is null."""
    return bound if abs(bound) < float("inf") else None
