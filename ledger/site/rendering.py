"""From a ledger to the files of its book."""

import signal
import sys
from collections.abc import Iterable
from contextlib import suppress
from datetime import date

from ledger.book import markdown
from ledger.book.addresses import FRONT_PAGE, REGISTER_PAGE
from ledger.book.blocks import Code, Link, Page, Paragraph, without_links
from ledger.files.names import BOOK, BOOK_BRANCH
from ledger.model.ledger import Ledger, known_on
from ledger.site.pages import Book
from ledger.site.parts import Files, Store, Unit, files_of, text_of
from ledger.upkeep.register.found import register
from ledger.upkeep.register.page import setpoints_page
from ledger.upkeep.speeds.found import speed_results

_MANY_VISITS = 5_000
"""From so many on a second process is worth its start, a copy of the memory and the way back."""


def book_files(
    ledger: Ledger, as_of: date, *, html: bool = False, notice: str = "", commit: str = ""
) -> dict[str, str]:
    """Every file of the book by its path below the book's folder; the same input, the same text.

    The book is that of the day: what was filed or approved later is not in it. With `html` also
    the same pages for a browser, and the pocket page, below `html/`. A `notice` stands on the
    front page for a browser alone, as it tells of one clone and the Markdown goes to all. The
    pocket page names the `commit`.
    """
    ledger = known_on(ledger, as_of)
    book = Book(ledger, as_of)
    if html:
        # Whoever writes Markdown alone needs nothing of it.
        from ledger.site.for_browser import files_for_browser  # noqa: PLC0415

        pages = [*book.pages()]
        files = pages_as_files(pages)
        pictures = {path: text for path, text in files.items() if path.endswith(".svg")}
        files |= files_for_browser(ledger, as_of, pages, pictures, notice, commit)
        return dict(sorted(files.items()))
    found = _files_of(book).items()
    return {path: file.decode() for path, file in found if isinstance(file, bytes)}


def book_files_by(store: Store | None, ledger: Ledger, as_of: date) -> Files:
    """As `book_files` in bytes; files that are as they were made before may be given by hashes.

    The whole ledger has to be known on the day.
    """
    return _files_of(Book(ledger, as_of, store))


def _files_of(book: Book) -> Files:
    is_long = book.visit_count >= _MANY_VISITS and sys.platform == "linux"
    if is_long and not book.parts.has_kept:
        files = _files_of_both(book)
    else:
        files = _files_of_units(book) | _files_of_site(book)
    return dict(sorted(files.items()))


def _files_of_site(book: Book) -> Files:
    files: Files = {}
    # The pages of ten years are large: each is let go.
    for page in book.pages_of_site():
        drawn = book.parts.drawn
        of_page = book.parts.files(page) if isinstance(page, Unit) else files_of(page, drawn)
        files = of_page | files
    return files


def _files_of_units(book: Book) -> Files:
    files: Files = {}
    for unit in book.units():
        files |= book.parts.files(unit)
    return files


def main_files(ledger: Ledger) -> dict[str, str]:
    """What stays with the files where the book has a branch of its own: the register, and a page.

    Neither depends on the day or on what was done, so a visit changes no page of its branch.
    """
    results = speed_results(ledger)
    there = Page(
        path=FRONT_PAGE,
        title=f"The book of {ledger.site.name}",
        blocks=[
            Paragraph(
                (
                    "Here is the ",
                    Link("register of settings", REGISTER_PAGE),
                    ". All other pages are on the branch ",
                    Code(BOOK_BRANCH),
                    ", rendered from the files of this one: look there at your git host. Here ",
                    Code("tunnelbook build --html"),
                    " renders them for a browser.",
                )
            )
        ],
    )
    lines = register(ledger, results)
    pages = [there, without_links(setpoints_page(ledger, lines, results), {FRONT_PAGE})]
    return pages_as_files(pages)


def branch_readme(ledger: Ledger) -> str:
    """The page at the top of the branch that the book has; it leads back to the files."""
    there = Page(
        path=FRONT_PAGE,
        title=f"The book of {ledger.site.name}",
        blocks=[
            Paragraph(
                (
                    "Rendered pages and nothing else: begin with ",
                    Link(f"{BOOK}/{FRONT_PAGE}", f"{BOOK}/{FRONT_PAGE}"),
                    ". The files that they are rendered from are on the main branch.",
                )
            )
        ],
    )
    return markdown.render(there)


def pages_as_files(pages: Iterable[Page]) -> dict[str, str]:
    """Pages as Markdown, and their pictures. The pages of ten years are large: each is let go."""
    files: dict[str, str] = {}
    for page in pages:
        files |= text_of(page, leave=files)
    return files


def _files_of_both(book: Book) -> Files:
    """The pages of years and machines are rendered by another process at the same time."""
    # A small site never pays for the import.
    from multiprocessing import get_context  # noqa: PLC0415

    # Both need them.
    book.speeds  # noqa: B018 - worked out as it is asked for
    fork = get_context("fork")
    receiver, sender = fork.Pipe(duplex=False)

    def send() -> None:
        # Ctrl-C is answered, and a fault told, by the process that the user started.
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        with suppress(Exception):
            # One by one, so that none of them is in memory three times over.
            for file in _files_of_units(book).items():
                sender.send(file)
            sender.send(book.parts.new)

    other = fork.Process(target=send, daemon=True)
    try:
        other.start()
    except OSError:
        return _files_of_units(book) | _files_of_site(book)
    sender.close()
    files = _files_of_site(book)
    book.parts.forget_found()
    try:
        while isinstance(found := receiver.recv(), tuple):
            files.setdefault(*found)
        book.parts.new.update(found)
    except (EOFError, OSError):
        # Whatever ended it, its work is done here.
        files = _files_of_units(book) | files
    other.join()
    return files
