"""Pages that are printed, not filed in a book."""

from ledger.report.blocks import Page
from ledger.write import markdown


def markdown_alone(page: Page) -> str:
    """Markdown without the sentence that marks a file of the book."""
    return markdown.render(page).removeprefix(f"{markdown.MARKER_LINE}\n\n")
