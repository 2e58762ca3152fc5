"""The few words that need nothing of a ledger; light to import, and handed on by `words`."""

from collections.abc import Iterable

from ledger.diagnostics import Diagnostic, count_of
from ledger.model.site import Site

NONE = "–"
"""Stands in a cell that has nothing to say."""


def count_words(count: int, noun: str, plural: str = "") -> str:
    """`1 machine`, `3 machines`."""
    return f"{count} {noun if count == 1 else plural or noun + 's'}"


def count_faults(found: Iterable[Diagnostic], noun: str) -> str:
    """`3 errors`, or `at least 3 errors` where some of them were not told one by one."""
    faults = list(found)
    at_least = "at least " if any(one.more for one in faults) else ""
    return at_least + count_words(count_of(faults), noun)


def person_words(ident: str, site: Site) -> str:
    person = site.people.get(ident)
    return person.name if person else ident
