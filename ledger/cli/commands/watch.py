"""`tunnelbook watch`: render the book anew whenever a file of the site changes."""

import argparse
import sys
from collections.abc import Collection, Iterable
from datetime import date
from pathlib import Path

from ledger.cli.clock import Clock
from ledger.cli.command import (
    Failure,
    OpenSite,
    add_as_of,
    add_site_position,
    open_site,
    require,
    site_root,
    today,
)

DESCRIPTION = (
    "Render the book, and again whenever a file of the site changes or a new day begins. "
    "Ctrl-C ends."
)

EXAMPLES = """\
examples:
  tunnelbook watch mywash                needs the extra `watch`
  tunnelbook watch mywash --html         also book/html/, to reload in a browser

A file with an error is told by line, and the book stays as it was until it is mended.
With --as-of the day stays as it is; without it, midnight at the site begins a new one.
"""


_WAKES_AFTER_MS = 500


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_site_position(parser)
    add_as_of(parser)
    parser.add_argument("--html", action="store_true", help="also render book/html/")


def run(parsed: argparse.Namespace) -> int:
    require("watchfiles", "watch")
    from watchfiles import watch  # noqa: PLC0415 - optional

    root = site_root(parsed.site).resolve()
    changes = watch(
        root,
        watch_filter=lambda _, path: _is_of_the_site(root, path),
        yield_on_timeout=True,
        rust_timeout=_WAKES_AFTER_MS,
    )
    try:
        # The first to come is empty and says that changes are noticed from now on, so that none
        # falls between the first rendering and the watch.
        next(changes)
        follow(root, parsed.as_of, changes, html=parsed.html, clock=parsed.clock)
    except KeyboardInterrupt:
        print("ended")
    return 0


def follow(
    root: Path,
    as_of: date | None,
    changes: Iterable[Collection[object]],
    *,
    html: bool,
    clock: Clock,
) -> None:
    """Render, and again after each change that comes and each midnight at the site.

    `changes` comes several times a minute, empty where no file has changed.
    """

    def day() -> date | None:
        return as_of or (today(site.loaded, clock) if site else None)

    site = _rendered(root, as_of, html=html, clock=clock)
    rendered_on = day()
    print(f"watching {root}; Ctrl-C ends", flush=True)
    for changed in changes:
        if changed or day() != rendered_on:
            site = _rendered(root, as_of, html=html, clock=clock) or site
            rendered_on = day()


def _rendered(root: Path, as_of: date | None, *, html: bool, clock: Clock) -> OpenSite | None:
    """Render, or say what keeps the book from being rendered; nothing ends the watch."""
    from ledger.cli import diagnostics_forms  # noqa: PLC0415
    from ledger.cli.commands.build import render_book  # noqa: PLC0415

    site = None
    try:
        site = open_site(str(root), as_of, clock)
        if site.loaded.has_errors:
            errors = [found for found in site.loaded.diagnostics if found.is_error]
            sys.stderr.write(diagnostics_forms.render(errors, "text"))
        render_book(site, html=html)
    except Failure as failure:
        sys.stderr.write(f"not rendered: {failure}\n")
    sys.stdout.flush()
    sys.stderr.flush()
    return site


def _is_of_the_site(root: Path, path: str) -> bool:
    """Whether a change may change the book: a record, not the book itself nor a dotted name."""
    from ledger.files.names import SITE_FILE  # noqa: PLC0415
    from ledger.files.paths import FOLDERS  # noqa: PLC0415

    parts = Path(path).relative_to(root).parts
    if any(part.startswith(".") for part in parts):
        return False
    return parts[:1] == (SITE_FILE,) or parts[0] in FOLDERS
