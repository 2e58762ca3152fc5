"""How a figure is told, and a table of them."""

import math
from collections.abc import Sequence

from ledger.book import words
from ledger.book.blocks import VERDICT, Table, left, right
from ledger.compute.numbers import shown, significant
from ledger.compute.speed import COVERAGE, coverage_factor
from ledger.compute.water import percent_of_dilution
from ledger.model.ledger import Ledger
from ledger.upkeep.drift.words import format_bounds, view_of_unit
from ledger.upkeep.figures.found import Figure

_K = coverage_factor(math.inf, COVERAGE)


def format_figure(figure: Figure, ledger: Ledger) -> str:
    """`22.6 ± 0.8 gal`; `64.2 ± 5.1 to 1 (1.53 %)`; or why it cannot be said."""
    if figure.found is None:
        return f"cannot say: {figure.lacking}"
    view = view_of_unit(figure.unit, ledger.site)
    value, half_width = view.of(figure.found.value), _K * figure.found.u * view.factor
    text = shown(value, half_width) if half_width else significant(value, 4)
    if figure.unit == "to 1":
        percent = significant(percent_of_dilution(figure.found.value), 3)
        return f"{text} to 1 ({percent} %)"
    return f"{text} {view.unit}".rstrip()


def format_band(figure: Figure, ledger: Ledger) -> str:
    """`6.5–8.5`, `at most 1.0 gpg`; a dash where none is stated."""
    if figure.band is None:
        return words.NONE
    low, high = (
        limit if math.isfinite(limit) else None for limit in (figure.band.low, figure.band.high)
    )
    return format_bounds(low, high, view_of_unit(figure.unit, ledger.site))


def figure_table(ledger: Ledger, figures: Sequence[Figure]) -> Table:
    """A row a figure; those of no place are of a month, and wanted is nothing of them."""
    values = (
        (left("What"), lambda one: one.name),
        (right("Value ± U"), lambda one: format_figure(one, ledger)),
    )
    if not any(one.place for one in figures):
        return Table.of(
            figures,
            *values,
            (left("Month"), lambda one: words.or_dash(one.day, words.format_month)),
        )
    return Table.of(
        figures,
        (
            left("Where"),
            lambda one: words.place_link(ledger, one.place) if one.place else words.NONE,
        ),
        *values,
        (left("Wanted"), lambda one: format_band(one, ledger)),
        (VERDICT, lambda one: words.format_verdict(one.verdict)),
        (left("Read on"), lambda one: words.or_dash(one.day, words.format_day)),
    )
