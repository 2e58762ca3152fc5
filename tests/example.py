"""The example site and its book of a day, each made once in a run."""

from collections.abc import Mapping
from datetime import date
from functools import cache
from pathlib import Path

from ledger.model.known import known_on
from ledger.model.ledger import Ledger
from ledger.pipeline import Loaded, load
from ledger.report.blocks import Page
from ledger.report.book import book_pages
from ledger.source.tree import DiskTree

EXAMPLE = Path(__file__).resolve().parents[1] / "example_site"
EXAMPLE_DAY = date(2026, 11, 25)  # pinned in the Makefile


@cache
def example_loaded() -> Loaded:
    return load(DiskTree(EXAMPLE))


def example_ledger() -> Ledger:
    ledger = example_loaded().ledger
    assert ledger is not None
    return ledger


@cache
def example_pages(as_of: date = EXAMPLE_DAY) -> Mapping[str, Page]:
    """Every page of the book by its path."""
    pages = book_pages(known_on(example_ledger(), as_of), as_of)
    return {page.path: page for page in pages}
