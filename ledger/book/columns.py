"""A table written column by column: its title, and what a thing shows in it."""

from collections.abc import Callable, Iterable
from typing import TypeVar

from ledger.book.blocks import Column, Spans, Table

_T = TypeVar("_T")


def table_of(
    things: Iterable[_T],
    *columns: tuple[Column, Callable[[_T], Spans]],
    newest_first: bool = False,
) -> Table:
    """One row a thing, in their order; each column with the words of a thing in it."""
    return Table(
        [column for column, _ in columns],
        [tuple(cell(thing) for _, cell in columns) for thing in things],
        newest_first=newest_first,
    )
