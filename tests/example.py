"""The example site and its book of a day, each made once in a run."""

import re
import shutil
from collections.abc import Mapping
from datetime import date
from functools import cache
from pathlib import Path

from ledger.book.blocks import Page
from ledger.files.tree import DiskTree
from ledger.model.ledger import Ledger, known_on
from ledger.site.pages import Book
from ledger.site.pipeline import LoadedSite, load

EXAMPLE = Path(__file__).resolve().parents[1] / "example_site"
VISIT_NAME = re.compile(r"\d{4}-\d\d-\d\dT\d{4}-[a-z-]+")
EXAMPLE_DAY = date(2026, 11, 25)  # pinned in the Makefile


@cache
def example_loaded() -> LoadedSite:
    return load(DiskTree(EXAMPLE))


def example_ledger() -> Ledger:
    ledger = example_loaded().ledger
    assert ledger is not None
    return ledger


@cache
def example_pages(as_of: date = EXAMPLE_DAY) -> Mapping[str, Page]:
    """Every page of the book by its path."""
    book = Book(known_on(example_ledger(), as_of), as_of)
    return {page.path: page for page in book.pages()}


def copy_example(root: Path, *, since: str = "") -> Path:
    """The example site without its book, in a folder; with `since`, such as 2026-11, without the
    visits before it, but those that a file of the copy names and that changed a machine.
    """
    for folder in ("equipment", "tasks", "setpoints", "parts", "instruments", "photos"):
        shutil.copytree(EXAMPLE / folder, root / folder)
    shutil.copy(EXAMPLE / "site.yaml", root)
    visits = {path.stem: path for path in (EXAMPLE / "observations").rglob("*.yaml")}
    wanted = [
        name for name, path in visits.items() if name >= since or "changed:" in path.read_text()
    ]
    wanted += [name for path in (root / "setpoints").iterdir() for name in _names_in(path)]
    for name in wanted:
        path = visits.pop(name, None)
        if path is not None:
            place = root / path.relative_to(EXAMPLE)
            place.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(path, place)
            wanted += _names_in(path)
    return root


def _names_in(path: Path) -> list[str]:
    return VISIT_NAME.findall(path.read_text(encoding="utf-8"))
