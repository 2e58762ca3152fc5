"""A page that got another name leaves one under its old name that links on.

So that a bookmark, a link in a mail and the code on a printed card keep working.
"""

from collections.abc import Iterator, Mapping

from ledger.report.blocks import Link, Page, Paragraph

MOVED: Mapping[str, str] = {}
"""Former path of a page, from the book's top, to the present one, with `#heading` where the page
became a part of another. Nothing is ever taken out of it."""


def moved_pages() -> Iterator[Page]:
    """One small page for each former name."""
    for former, present in MOVED.items():
        yield Page(
            path=former,
            title="This page has moved",
            in_navigation=False,
            blocks=[Paragraph(("It is now here: ", Link(present, present), "."))],
        )
