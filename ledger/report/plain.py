"""The few words that need nothing of a ledger; light to import, and handed on by `words`."""

from ledger.model.site import Site

NONE = "–"
"""Stands in a cell that has nothing to say."""


def count_words(count: int, noun: str, plural: str = "") -> str:
    """`1 machine`, `3 machines`."""
    return f"{count} {noun if count == 1 else plural or noun + 's'}"


def person_words(ident: str, site: Site) -> str:
    person = site.people.get(ident)
    return person.name if person else ident
