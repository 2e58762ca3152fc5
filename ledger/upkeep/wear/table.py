"""Wear as rows for JSON, in the units of each series."""

from ledger.book.flat import JsonRow
from ledger.model.readings import BOUNCES
from ledger.upkeep.drift.words import outlook_row
from ledger.upkeep.wear.found import DamperItem, NozzleGroup, WearItem


def item_row(item: WearItem) -> JsonRow:
    """One point that wears: the last reading, its limits, the verdict and the outlook."""
    series, measured = item.result.series, item.last.measured
    return {
        "place": str(item.place),
        "quantity": series.kind.name,
        "unit": series.kind.unit,
        "read": item.last.entry.day.isoformat(),
        "entry": str(item.last.entry.ref),
        "value": measured.value,
        "standard_uncertainty": measured.u,
        "lower_limit": series.lower,
        "upper_limit": series.upper,
        "flow_at_rated_l_min": None if item.nozzle is None else item.nozzle.flow_at_rated_l_min,
        "verdict": item.judgement.value,
        "needs_work": item.needs_work,
        "outlook": outlook_row(item.result),
    }


def group_row(group: NozzleGroup) -> JsonRow:
    """The nozzles of one machine."""
    return {
        "machine": group.machine,
        "mean_share_of_new": group.mean_share,
        "average_hides_a_fault": group.hides,
        "nozzles": [item_row(item) for item in group.items],
    }


def damper_row(damper: DamperItem) -> JsonRow:
    """One damper."""
    return {
        "place": str(damper.place),
        "read": damper.last.day.isoformat(),
        "entry": str(damper.last.ref),
        "bounces": damper.last.readings[BOUNCES],
        "verdict": None if damper.verdict is None else damper.verdict.value,
    }
