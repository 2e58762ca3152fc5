"""The book for a browser: its pages as HTML, the phone's page, and what a server shows."""

from collections.abc import Iterable, Mapping
from datetime import date

from ledger.book.addresses import FRONT_PAGE
from ledger.book.blocks import Page, Paragraph
from ledger.book.html_site import TOP as HTML_TOP
from ledger.book.html_site import render_site
from ledger.files.book_files import MARKER
from ledger.model.ledger import Ledger, known_on
from ledger.pocket import page as pocket_page
from ledger.pocket.fill import round_of
from ledger.pocket.payload import Round
from ledger.site.guide import guide_page
from ledger.site.rendering import book_files
from ledger.upkeep.due.found import Schedule
from ledger.values import replace

_POCKET = "round.html"
POCKET_PATH = HTML_TOP + _POCKET


def files_for_browser(
    ledger: Ledger,
    as_of: date,
    pages: Iterable[Page],
    pictures: Mapping[str, str],
    notice: str,
    commit: str,
) -> dict[str, str]:
    """What `book_files` adds below `html/`, from the pages and drawn pictures of the same day."""
    walk = pocket_page.render(_walk(ledger, as_of, commit))
    return {
        **render_site(
            [*(_with_notice(page, notice) for page in pages), guide_page()],
            pictures,
            site_name=ledger.site.name,
            extra_links=(("Pocket page", _POCKET),),
        ),
        POCKET_PATH: walk.replace("<!DOCTYPE html>", f"<!DOCTYPE html>\n<!-- {MARKER} -->", 1),
    }


def _with_notice(page: Page, notice: str) -> Page:
    if not notice or page.path != FRONT_PAGE:
        return page
    return replace(page, blocks=[Paragraph(notice), *page.blocks])


def _walk(ledger: Ledger, as_of: date, commit: str) -> Round:
    return replace(round_of(ledger, Schedule(ledger, as_of).all_due(), as_of), commit=commit)


def pages_for_server(ledger: Ledger, as_of: date, commit: str = "") -> dict[str, bytes]:
    """What `publish` of site.yaml puts on a server, by path; nothing where it is off."""
    if ledger.site.publish == "off":
        return {}
    ledger = known_on(ledger, as_of)
    walk = _walk(ledger, as_of, commit)
    if ledger.site.publish == "phone":
        return pocket_page.published(walk, "index.html")
    book = {
        path.removeprefix(HTML_TOP): text.encode()
        for path, text in book_files(ledger, as_of, html=True).items()
        if path.startswith(HTML_TOP)
    }
    return book | pocket_page.published(walk, _POCKET)
