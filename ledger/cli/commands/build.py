"""`tunnelbook build`: render the book, or say which of its pages are stale."""

import argparse
import sys
from collections.abc import Mapping

from ledger.cli.command import Failure, NextTime, OpenSite, add_as_of, add_site_position, open_site
from ledger.files.names import BOOK

DESCRIPTION = "Render the book from the files of a site into its book/ folder."

EXAMPLES = """\
examples:
  tunnelbook build                       the book of the site in this folder
  tunnelbook build --html                also book/html/, a site that works from a file,
                                         with the pocket page for the phone, round.html
  tunnelbook build --check               write nothing; say which pages are stale
  tunnelbook build --as-of 2026-11-25    the book as it was known at the end of that day

Pages that did not change are not touched. Pages that depend on the day carry
an as-of line; all others change only when a file of the site changes.
Nothing filed, corrected, proposed or approved after the day is in the book;
machines, tasks and people are those of the files as they are now.
"""


_COUNTS = "{} written, {} removed, {} untouched"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_site_position(parser)
    add_as_of(parser)
    parser.add_argument(
        "--check", action="store_true", help="write nothing; exit 1 where a page is stale"
    )
    parser.add_argument("--html", action="store_true", help="also render book/html/")


def run(parsed: argparse.Namespace) -> int:
    site = open_site(parsed.site, parsed.as_of, parsed.clock)
    if not parsed.check:
        parsed.next_time = render_book(site, html=parsed.html)
        return 0
    wanted = _wanted(site, html=parsed.html)
    if _say_stale(site, wanted, html=parsed.html):
        return 1
    parsed.next_time = NextTime(output="", files=wanted)
    return 0


def _wanted(site: OpenSite, *, html: bool) -> dict[str, str]:
    from ledger.site.rendering import book_files  # noqa: PLC0415

    return book_files(site.ledger, site.as_of, html=html)


def _leave(*, html: bool) -> tuple[str, ...]:
    return () if html else ("html",)


def _say_stale(site: OpenSite, wanted: Mapping[str, str], *, html: bool) -> bool:
    """Print which pages are stale; whether any is."""
    from ledger.book.words import format_count  # noqa: PLC0415
    from ledger.files.book_files import stale  # noqa: PLC0415

    old = stale(site.root / BOOK, wanted, leave=_leave(html=html))
    for path in old:
        print(f"stale: {BOOK}/{path}")
    if old:
        sys.stderr.write(
            f"{format_count(len(old), 'page')} {'is' if len(old) == 1 else 'are'} stale; "
            "render with "
            f"`tunnelbook build {site.root} --as-of {site.as_of}`\n"
        )
    return bool(old)


def render_book(site: OpenSite, *, html: bool) -> NextTime:
    """Write the book of a site; what doing it again would print."""
    from ledger.files.book_files import write_files  # noqa: PLC0415
    from ledger.files.save import remove_leftovers  # noqa: PLC0415

    folder = site.root / BOOK
    wanted = _wanted(site, html=html)
    remove_leftovers(site.root)
    result = write_files(folder, wanted, leave=_leave(html=html))
    if result.refused:
        for refusal in result.refused:
            sys.stderr.write(f"not written: {BOOK}/{refusal.path}: {refusal.why}\n")
        raise Failure("nothing was written; move those files away and build again")
    told = f"{len(wanted)} files in {folder} as of {site.as_of}: "
    counts = (len(result.written), len(result.removed), result.unchanged)
    print(told + _COUNTS.format(*counts))
    return NextTime(output=told + _COUNTS.format(0, 0, len(wanted)) + "\n", files=wanted)
