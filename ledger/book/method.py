"""What the page of methods says of one way of working a number out, and the way to it."""

from dataclasses import dataclass

from ledger.book.addresses import METHODS_PAGE, METHODS_TITLE
from ledger.book.blocks import Link, Paragraph, anchor_of

NO_SOURCE = "common practice; no published source"


@dataclass(frozen=True, slots=True, kw_only=True)
class Method:
    """`says` what it means to a reader; `lacking` when there is no answer.

    `sources` stand in the docstrings of `code`, functions named as `module.function` of compute;
    `NO_SOURCE` stands alone where nothing is published.
    """

    title: str
    says: str
    formula: str
    sources: tuple[str, ...]
    lacking: str
    code: tuple[str, ...]


def pointer(group: str) -> Paragraph:
    """The line of a page that leads to its group of methods."""
    return Paragraph(
        (
            "Formulas and sources: ",
            Link(METHODS_TITLE.lower(), f"{METHODS_PAGE}#{anchor_of(group)}"),
            ".",
        )
    )
