"""The answers of `line` as plain names and values, for JSON; speeds in m/s and r/min."""

from collections.abc import Sequence

from ledger.book.flat import JsonRow, fields_of
from ledger.model.readings import TURNING
from ledger.model.site import Site
from ledger.upkeep.line.found import BrushOnLine, ClothAtRate, LineMatching, RateCheck


def line_row(
    site: Site, matching: LineMatching, timed: Sequence[tuple[RateCheck, str]] = ()
) -> JsonRow:
    """Everything that the page of the command says, unrounded."""
    line = site.line
    return {
        "stated_line_rate_per_h": line.line_rate_per_h,
        **fields_of(line, "chain_speed_m_per_s", "vehicle_pitch_m"),
        "by_chain_and_pitch": None if matching.check is None else _check(matching.check),
        "timed": [{"how": how, **_check(check)} for check, how in timed],
        "brushes": [_brush(brush) for brush in matching.brushes],
    }


def _check(check: RateCheck) -> JsonRow:
    return {
        "line_rate_per_h": check.found.per_h,
        "standard_uncertainty_per_h": check.found.u_per_h,
        "stated_is_above_by_fraction": check.fraction,
        "agrees": check.agrees,
    }


def _brush(brush: BrushOnLine) -> JsonRow:
    return {
        "machine": brush.machine.ident,
        "turns": brush.machine.turns or None,
        "must_be_seen_to_turn": [
            {"side": side, "sense": turning.sense.value, "seen_from": turning.seen_from.value}
            for side, turning in brush.expected
        ],
        "last_seen_turning": None if brush.last_seen is None else brush.last_seen.readings[TURNING],
        "turned_wrong": brush.turned_wrong,
        "setting_unit": brush.unit,
        "rates": [_rate(at) for at in brush.rates],
    }


def _rate(at: ClothAtRate) -> JsonRow:
    row = at.same_cloth
    return {
        "line_rate_per_h": row.line_rate_per_h,
        "band_rpm": [row.band.low, row.band.high],
        "band_from_nearest_rate": row.band_clamped,
        "same_cloth_rpm": row.same_cloth_rpm,
        "held_by": None if row.held_by is None else row.held_by.value,
        **fields_of(at, "setting", "rpm", "p_in_band", "cloth_share"),
        "line_m_per_s": at.line_m_s,
        "edge_m_per_s": at.edge_m_s,
        "cloth_past_panel_m_per_s": at.cloth_m_s,
        "contacts_per_m": at.contacts_per_m,
    }
