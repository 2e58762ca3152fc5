"""How a figure is told, and tables of them, on a page and flat."""

import math
from collections.abc import Iterable, Sequence

from ledger.book import words
from ledger.book.blocks import VERDICT, Spans, Table, right
from ledger.book.flat import FlatTable, day, number, table, text
from ledger.compute.figures import percent_of_dilution
from ledger.compute.numbers import shown, significant
from ledger.compute.speed import COVERAGE, coverage_factor
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
    return format_bounds(*_limits(figure), view_of_unit(figure.unit, ledger.site))


def figure_table(ledger: Ledger, figures: Sequence[Figure]) -> Table:
    """A row a figure; those of no place are of a month, and wanted is nothing of them."""
    values = (
        ("What", lambda one: one.name),
        (right("Value ± U"), lambda one: format_figure(one, ledger)),
    )
    if not any(one.place for one in figures):
        month = ("Month", lambda one: words.or_dash(one.day, words.format_month))
        return Table.of(figures, *values, month)

    def where(one: Figure) -> Spans:
        return words.place_link(ledger, one.place) if one.place else words.NONE

    return Table.of(
        figures,
        ("Where", where),
        *values,
        ("Wanted", lambda one: format_band(one, ledger)),
        (VERDICT, lambda one: words.format_verdict(one.verdict)),
        ("Read on", lambda one: words.or_dash(one.day, words.format_day)),
    )


def figures_table(figures: Iterable[Figure]) -> FlatTable:
    """For JSON and exports; in SI units."""
    return table(
        "figures",
        "One figure of water, chemistry, pumps, worn cloth or energy, of one place or month.",
        figures,
        (
            text("part_of", "What it is part of.", lambda one: one.group.value),
            text("figure", "What it says.", lambda one: one.name),
            text("place", "Machine, or machine and point.", lambda one: str(one.place or "")),
            text("machine", "Id of the machine.", lambda one: one.place and one.place.machine),
            day("day", "Day of its last reading, or first of its month.", lambda one: one.day),
            number("value", "", "In `unit`.", lambda one: one.found.value if one.found else None),
            number("standard_uncertainty", "", "Its standard uncertainty, in `unit`.",
                   lambda one: one.found.u if one.found else None),
            text("unit", "The unit of the numbers of this row.", lambda one: one.unit),
            number("lower_limit", "", "In `unit`.", lambda one: _limits(one)[0]),
            number("upper_limit", "", "In `unit`.", lambda one: _limits(one)[1]),
            text("verdict", "Whether it is in its band.",
                 lambda one: one.verdict and one.verdict.value),
            text("cannot_say", "What lacks where there is no value.", lambda one: one.lacking),
            text("evidence", "Entries it rests on.", lambda one: " ".join(map(str, one.evidence))),
        ),
        key="part_of figure place day",
        refers="machine",
        dated="day",
    )  # fmt: skip


def _limits(figure: Figure) -> tuple[float | None, float | None]:
    """The ends of its band; None where it is open or none is stated."""
    ends = (figure.band.low, figure.band.high) if figure.band else (math.inf, math.inf)
    low, high = (end if math.isfinite(end) else None for end in ends)
    return low, high
