"""Drift results as rows for JSON, in the units of the series."""

from datetime import date

from ledger.book.flat import JsonRow
from ledger.compute.drift import DriftBaseline
from ledger.compute.numbers import NotEnoughData
from ledger.compute.trend import Line, NoTrend, StripForecast
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
                **_slope(found.line),
            }
        case StripForecast() as found:
            return {
                "says": "crosses its limit",
                "limit": found.limit_mm,
                **_dates(found.reached_on, found.earliest_on, found.latest_on),
                "wear_mm_per_thousand_vehicles": -found.line.slope,
                "wear_lower": -found.line.upper,
                "wear_upper": -found.line.lower,
            }
        case BeyondAlready() as found:
            return {
                "says": "beyond its limit already",
                "limit": found.limit,
                "level": found.level.value,
                "standard_uncertainty": found.level.u,
                **_slope(found.line),
            }
        case NoTrend() as found:
            return {"says": found.text, **_slope(found.line)}
        case NoLimit() as found:
            return {"says": "no limit is stated", **_slope(found.line)}
        case NotEnoughData() as found:
            return {"says": found.text}


def _dates(on: date | None, earliest: date | None, latest: date | None) -> JsonRow:
    return {
        name: None if day is None else day.isoformat()
        for name, day in (("on", on), ("earliest", earliest), ("latest", latest))
    }


def _slope(line: Line | NotEnoughData) -> JsonRow:
    if isinstance(line, NotEnoughData):
        return {"slope_per_day": None}
    return {
        "slope_per_day": line.slope,
        "slope_lower": line.lower,
        "slope_upper": line.upper,
        "p_value": line.p_value,
    }
