"""The way from a page to the methods behind its numbers."""

from ledger.book.addresses import METHODS_PAGE, METHODS_TITLE
from ledger.book.blocks import Link, Paragraph, anchor_of


def pointer(group: str) -> Paragraph:
    """The line of a page that leads to its group of methods."""
    return Paragraph(
        (
            "Formulas and sources: ",
            Link(METHODS_TITLE.lower(), f"{METHODS_PAGE}#{anchor_of(group)}"),
            ".",
        )
    )
