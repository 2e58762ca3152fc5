"""What every rule is given: a ledger, the files it was built from, the day, and how to warn."""

from collections.abc import Mapping
from datetime import date
from typing import Unpack

from ledger.files.diagnostics import FaultText
from ledger.files.document import Document, Pointer
from ledger.model.ledger import Ledger
from ledger.model.problems import Problems
from ledger.model.visits import Entry
from ledger.values import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteCheck:
    """One check of a site, as seen on a day."""

    ledger: Ledger
    documents: Mapping[str, Document]
    as_of: date
    problems: Problems = field(default_factory=Problems)

    def warn(self, path: str, pointer: Pointer, **text: Unpack[FaultText]) -> None:
        """Warn of the value that `pointer` leads to in the file at `path`; the site grades it."""
        self.problems.of(self.documents[path]).add(pointer, **text)

    def warn_of_entry(self, entry: Entry, *keys: str | int, **text: Unpack[FaultText]) -> None:
        """Warn of an entry of a visit, or of one of its keys."""
        path = self.ledger.path_of_visit[entry.ref.visit]
        self.warn(path, ("entries", entry.ref.number - 1, *keys), **text)
