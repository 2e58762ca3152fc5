"""Pages that are printed, not filed in a book, and texts side by side in them."""

from difflib import unified_diff

from ledger.report.blocks import Block, Page, Prose


def markdown_alone(page: Page) -> str:
    """Markdown without the sentence that marks a file of the book."""
    from ledger.write.markdown import render  # noqa: PLC0415 - a terminal needs none of it
    from ledger.write.marker import without_marker_line  # noqa: PLC0415

    return without_marker_line(render(page))


def compared_texts(old: str, new: str | None) -> Block:
    """Both texts as one comparison: lines taken out begin with -, lines put in with +."""
    from ledger.write.markdown_prose import fenced  # noqa: PLC0415 - most audits show no text

    lines = unified_diff(old.splitlines(), (new or "").splitlines(), lineterm="", n=len(old))
    compared = "\n".join(list(lines)[3:])
    return Prose(fenced(compared or old))
