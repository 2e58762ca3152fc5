"""From the files of a site to a checked ledger, and from a ledger to the pages of its book."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date

from ledger.check.foreman import foreman_warnings
from ledger.diagnostics import Diagnostic, in_reading_order
from ledger.model.build import build_ledger
from ledger.model.ledger import Ledger
from ledger.report.blocks import Picture
from ledger.report.book import book_pages
from ledger.schema.check import check_document
from ledger.source.discover import Source
from ledger.source.document import Document
from ledger.source.reading import read_documents
from ledger.source.tree import FileTree
from ledger.write import markdown, svg

Progress = Callable[[int, int], None]
BOOK = "book"


@dataclass(frozen=True, slots=True, kw_only=True)
class Loaded:
    """What a site's files say, and everything that is wrong with them.

    `ledger` is as complete as the faults allow, and None without a usable site.yaml. Only a
    ledger without errors is rendered.
    """

    ledger: Ledger | None
    documents: Mapping[str, Document]
    diagnostics: tuple[Diagnostic, ...]

    @property
    def has_errors(self) -> bool:
        return any(diagnostic.is_error for diagnostic in self.diagnostics)


def load(tree: FileTree, on_progress: Progress | None = None) -> Loaded:
    """Read, hold against the schemas, and link every file of a site."""
    read = read_documents(tree, on_progress)
    found = list(read.diagnostics)
    sound: list[Document] = []
    faulty = list(read.unread)
    for document in read.documents:
        wrong = check_document(document)
        if wrong:
            found.extend(wrong)
            faulty.append(Source(kind=document.kind, path=document.path, ident=document.ident))
        else:
            sound.append(document)
    built = build_ledger(sound, faulty)
    found.extend(built.diagnostics)
    return Loaded(
        ledger=built.ledger,
        documents={document.path: document for document in sound},
        diagnostics=tuple(in_reading_order(found)),
    )


def check(loaded: Loaded, as_of: date) -> tuple[Diagnostic, ...]:
    """Everything that is wrong, and what a foreman would ask about, as seen on a day."""
    if loaded.ledger is None:
        return loaded.diagnostics
    warnings = foreman_warnings(loaded.ledger, loaded.documents, as_of)
    return tuple(in_reading_order([*loaded.diagnostics, *warnings]))


def book_files(ledger: Ledger, as_of: date) -> dict[str, str]:
    """Every file of the book by its path below the book's folder; the same input, the same text."""
    files: dict[str, str] = {}
    for page in book_pages(ledger, as_of):
        files[page.path] = markdown.render(page)
        for block in page.blocks:
            if isinstance(block, Picture) and block.path not in files:
                files[block.path] = svg.render(block.plot)
    return dict(sorted(files.items()))
