"""Drift results as rows for JSON, in the units of the series."""

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
