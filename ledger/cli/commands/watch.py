"""`tunnelbook watch`: render the book anew whenever a file of the site changes."""

import argparse
import importlib.util
import sys
from pathlib import Path

from ledger.cli.command import Failure, add_as_of, add_site_position, open_site, site_root

DESCRIPTION = "Render the book, and again whenever a file of the site changes. Ctrl-C ends."
EXAMPLES = """\
examples:
  tunnelbook watch mywash                needs: pip install 'tunnelbook[watch]'
  tunnelbook watch mywash --html         also book/html/, to reload in a browser

A file with an error is told by line, and the book stays as it was until it is mended.
"""


_WAKES_AFTER_MS = 500


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_site_position(parser)
    add_as_of(parser)
    parser.add_argument("--html", action="store_true", help="also render book/html/")


def run(parsed: argparse.Namespace) -> int:
    if importlib.util.find_spec("watchfiles") is None:
        raise Failure("watch needs watchfiles; install it with: pip install 'tunnelbook[watch]'")
    from watchfiles import watch  # noqa: PLC0415 - optional

    root = site_root(parsed.site).resolve()
    built = argparse.Namespace(site=str(root), as_of=parsed.as_of, html=parsed.html, check=False)
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
        _build(built)
        print(f"watching {root}; Ctrl-C ends", flush=True)
        for changed in changes:
            if changed:
                _build(built)
    except KeyboardInterrupt:
        print("ended")
    return 0


def _build(parsed: argparse.Namespace) -> None:
    """Render, or say what keeps the book from being rendered; nothing ends the watch."""
    from ledger.cli.commands import build  # noqa: PLC0415
    from ledger.write import diagnostics_formats  # noqa: PLC0415

    try:
        loaded = open_site(parsed.site, parsed.as_of).loaded
        if loaded.has_errors:
            errors = [found for found in loaded.diagnostics if found.is_error]
            sys.stderr.write(diagnostics_formats.render(errors, "text"))
        build.run(parsed)
    except Failure as failure:
        sys.stderr.write(f"not rendered: {failure}\n")
    sys.stdout.flush()
    sys.stderr.flush()


def _is_of_the_site(root: Path, path: str) -> bool:
    """Whether a change may change the book: a record, not the book itself nor a dotted name."""
    from ledger.source.discover import FOLDERS, SITE_FILE  # noqa: PLC0415

    parts = Path(path).relative_to(root).parts
    if any(part.startswith(".") for part in parts):
        return False
    return parts[:1] == (SITE_FILE,) or parts[0] in FOLDERS
