"""Figures of water and chemistry in words."""

import math

from ledger.book import words
from ledger.compute.numbers import shown, significant
from ledger.compute.speed import COVERAGE, coverage_factor
from ledger.compute.water import percent_of_dilution
from ledger.model.ledger import Ledger
from ledger.upkeep.drift.words import format_bounds, view_of_unit
from ledger.upkeep.water.found import Figure, Group

_K = coverage_factor(math.inf, COVERAGE)


def format_figure(figure: Figure, ledger: Ledger) -> str:
    """`22.6 ± 0.8 gal`; `64.2 ± 5.1 to 1 (1.53 %)`; or why it cannot be said."""
    if figure.found is None:
        return f"cannot say: {figure.lacking}"
    view = view_of_unit(figure.unit, ledger.site)
    said = shown(view.of(figure.found.value), _K * figure.found.u * view.factor)
    if figure.group is Group.CHEMICALS and figure.unit == "to 1":
        percent = significant(percent_of_dilution(figure.found.value), 3)
        return f"{said} to 1 ({percent} %)"
    return f"{said} {view.unit}".rstrip()


def format_band(figure: Figure, ledger: Ledger) -> str:
    """`6.5–8.5`, `at most 1.0 gpg`; a dash where none is stated."""
    if figure.band is None:
        return words.NONE
    low, high = (
        limit if math.isfinite(limit) else None for limit in (figure.band.low, figure.band.high)
    )
    return format_bounds(low, high, view_of_unit(figure.unit, ledger.site))
