"""From a ledger to the files of its book."""

from datetime import date

from ledger import __version__
from ledger.book import markdown, svg
from ledger.book.addresses import FRONT_PAGE
from ledger.book.blocks import Page, pictures_of
from ledger.book.html_site import TOP as HTML_TOP
from ledger.book.html_site import render_site
from ledger.files.book_files import MARKER
from ledger.model.ledger import Ledger, known_on
from ledger.pocket import page as pocket_page
from ledger.pocket.fill import round_of
from ledger.site.guide import guide_page
from ledger.site.pages import book_pages
from ledger.upkeep.due.found import Schedule

POCKET = "round.html"


def book_files(ledger: Ledger, as_of: date, *, html: bool = False) -> dict[str, str]:
    """Every file of the book by its path below the book's folder; the same input, the same text.

    The book is that of the day: what was filed or approved later is not in it. With `html` also
    the same pages for a browser, and the pocket page, below `html/`.
    """
    ledger = known_on(ledger, as_of)
    texts: dict[str, str] = {}
    pictures: dict[str, str] = {}
    pages: list[Page] = []
    for page in book_pages(ledger, as_of):
        # On one page alone, so that a new version of the program alters one line.
        version = __version__ if page.path == FRONT_PAGE else ""
        texts[page.path] = markdown.render(page, version=version)
        for picture in pictures_of(page.blocks):
            if picture.path not in pictures:
                pictures[picture.path] = svg.draw(picture)
        # The pages of ten years are large; what is rendered is let go.
        if html:
            pages.append(page)
    files = texts | pictures
    if html:
        pages.append(guide_page())
        files |= render_site(
            pages,
            pictures,
            site_name=ledger.site.name,
            extra_links=(("Pocket page", POCKET),),
        )
        walk = round_of(ledger, Schedule(ledger, as_of).all_due(), as_of)
        files[HTML_TOP + POCKET] = pocket_page.render(walk).replace(
            "<!DOCTYPE html>", f"<!DOCTYPE html>\n<!-- {MARKER} -->", 1
        )
    return dict(sorted(files.items()))
