"""Wordings that need nothing else of the program: those who say little start sooner with them."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ledger.model.site import Site

NONE = "–"
"""Stands in a cell that has nothing to say."""


def format_count(count: int, noun: str, plural: str = "") -> str:
    """`1 machine`, `3 machines`, `1,636 machines`."""
    return f"{count:,} {noun if count == 1 else plural or noun + 's'}"


def format_person(ident: str, site: "Site") -> str:
    person = site.person(ident)
    return person.name if person else ident
