"""Figures as rows, in SI units."""

import math

from ledger.book.flat import JsonRow
from ledger.upkeep.figures.found import Figure


def figure_row(figure: Figure) -> JsonRow:
    """One figure: its value, or why it cannot be said."""
    found, band = figure.found, figure.band
    limits = (None, None) if band is None else (band.low, band.high)
    return {
        "part_of": figure.group.value,
        "figure": figure.name,
        "place": str(figure.place or ""),
        "machine": figure.place.machine if figure.place else "",
        "unit": figure.unit,
        "day": figure.day.isoformat() if figure.day else None,
        "value": found.value if found else None,
        "standard_uncertainty": found.u if found else None,
        "lower_limit": limits[0] if limits[0] is not None and math.isfinite(limits[0]) else None,
        "upper_limit": limits[1] if limits[1] is not None and math.isfinite(limits[1]) else None,
        "verdict": figure.verdict.value if figure.verdict else None,
        "cannot_say": figure.lacking,
        "evidence": [str(ref) for ref in figure.evidence],
    }
