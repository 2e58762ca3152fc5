"""`tunnelbook build`: render the book, or say which of its pages are stale."""

import argparse
import sys

from ledger.cli.command import Failure, OpenSite, add_as_of, add_site_position, open_site

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


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_site_position(parser)
    add_as_of(parser)
    parser.add_argument(
        "--check", action="store_true", help="write nothing; exit 1 where a page is stale"
    )
    parser.add_argument("--html", action="store_true", help="also render book/html/")


def run(parsed: argparse.Namespace) -> int:
    return render_book(
        open_site(parsed.site, parsed.as_of, parsed.clock),
        html=parsed.html,
        only_check=parsed.check,
    )


def render_book(site: OpenSite, *, html: bool, only_check: bool = False) -> int:
    """Write the book of a site, or say which pages are stale; the exit status."""
    from ledger.book.words import format_count  # noqa: PLC0415
    from ledger.files.book_files import stale, write_files  # noqa: PLC0415
    from ledger.files.save import remove_leftovers  # noqa: PLC0415
    from ledger.site.pipeline import BOOK, book_files  # noqa: PLC0415

    folder = site.root / BOOK
    wanted = book_files(site.ledger, site.as_of, html=html)
    leave = () if html else ("html",)
    if only_check:
        old = stale(folder, wanted, leave=leave)
        for path in old:
            print(f"stale: {BOOK}/{path}")
        if old:
            sys.stderr.write(
                f"{format_count(len(old), 'page')} {'is' if len(old) == 1 else 'are'} stale; "
                "render with "
                f"`tunnelbook build {site.root} --as-of {site.as_of}`\n"
            )
        return 1 if old else 0
    remove_leftovers(site.root)
    result = write_files(folder, wanted, leave=leave)
    if result.refused:
        for refusal in result.refused:
            sys.stderr.write(f"not written: {BOOK}/{refusal.path}: {refusal.why}\n")
        raise Failure("nothing was written; move those files away and build again")
    print(
        f"{len(wanted)} files in {folder} as of {site.as_of}: {len(result.written)} written, "
        f"{len(result.removed)} removed, {result.unchanged} untouched"
    )
    return 0
