"""Figures as a flat table, for JSON and exports; in SI units."""

import math
from collections.abc import Iterable

from ledger.book.flat import FlatTable, day, number, table, text
from ledger.compute.band import Band
from ledger.upkeep.figures.found import Figure


def figures_table(figures: Iterable[Figure]) -> FlatTable:
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
            number("lower_limit", "", "In `unit`.", lambda one: _end(one.band, "low")),
            number("upper_limit", "", "In `unit`.", lambda one: _end(one.band, "high")),
            text("verdict", "Whether it is in its band.",
                 lambda one: one.verdict and one.verdict.value),
            text("cannot_say", "What lacks where there is no value.", lambda one: one.lacking),
            text("evidence", "Entries it rests on.", lambda one: " ".join(map(str, one.evidence))),
        ),
        key="part_of figure place day",
        refers="machine",
        dated="day",
    )  # fmt: skip


def _end(band: Band | None, end: str) -> float | None:
    """An end of a band; None where it is open there."""
    limit = None if band is None else getattr(band, end)
    return limit if limit is not None and math.isfinite(limit) else None
