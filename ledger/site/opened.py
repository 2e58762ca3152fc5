"""A site opened by a script: its ledger, what a check finds, and its book."""

import os
from collections.abc import Callable
from datetime import date, datetime, tzinfo
from pathlib import Path

from ledger.files.diagnostics import Diagnostic
from ledger.files.names import SITE_FILE
from ledger.files.tree import DiskTree
from ledger.model.ledger import Ledger, known_on
from ledger.site.pipeline import LoadedSite, load
from ledger.site.pipeline import check as check_loaded
from ledger.site.rendering import book_files
from ledger.values import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """A site as its files were when it was opened, looked at from the day `as_of`."""

    root: Path
    as_of: date
    loaded: LoadedSite

    @property
    def ledger(self) -> Ledger:
        """What was known on the day. Raises ValueError where the files have errors."""
        if self.loaded.ledger is None or self.loaded.has_errors:
            raise ValueError(f"the files of {self.root} have errors; `check` names them")
        return known_on(self.loaded.ledger, self.as_of)

    def check(self) -> tuple[Diagnostic, ...]:
        """Everything that is wrong with the files, with file and line, and what a foreman asks."""
        return check_loaded(self.loaded, self.as_of)

    def book(self, *, html: bool = False) -> dict[str, str]:
        """Every file of the book by its path below `book/`; nothing is written."""
        return book_files(self.ledger, self.as_of, html=html)


def read_site(
    folder: str | os.PathLike[str],
    as_of: date | None,
    clock: Callable[[tzinfo | None], datetime],
) -> Site:
    """The site in a folder. Raises FileNotFoundError where that holds no site.yaml."""
    root = Path(folder)
    if not (root / SITE_FILE).is_file():
        raise FileNotFoundError(f"{root} holds no {SITE_FILE}")
    loaded = load(DiskTree(root))
    zone = loaded.ledger.site.zone if loaded.ledger else None
    return Site(root=root, as_of=as_of or clock(zone).date(), loaded=loaded)
