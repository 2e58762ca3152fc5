"""`tunnelbook watch`: render the book anew whenever a file of the site changes."""

import argparse
import sys
import time
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TextIO

from ledger.cli.clock import Clock
from ledger.cli.command import (
    Failure,
    OpenSite,
    add_as_of,
    add_site_position,
    fault_text,
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

_WAKES_BETWEEN_TRIES = 10


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_site_position(parser)
    add_as_of(parser)
    parser.add_argument("--html", action="store_true", help="also render book/html/")


def run(parsed: argparse.Namespace) -> int:
    require("watchfiles", "watch")
    root = site_root(parsed.site).resolve()
    changes = _changes(root)
    try:
        # The first to come is empty and says that changes are noticed from now on, so that none
        # falls between the first rendering and the watch.
        next(changes)
        follow(root, parsed.as_of, changes, html=parsed.html, clock=parsed.clock)
    except KeyboardInterrupt:
        print("ended")
    return 0


def _changes(root: Path) -> Iterator[Collection[object]]:
    """What changes below a folder, as `follow` wants it; it goes on where watching fails."""
    from watchfiles import watch  # noqa: PLC0415 - optional

    told = ""
    while True:
        refused = ""
        try:
            for changed in watch(
                root,
                watch_filter=lambda _, path: _is_of_the_site(root, path),
                yield_on_timeout=True,
                rust_timeout=_WAKES_AFTER_MS,
            ):
                yield changed
                if not root.is_dir():
                    # Nothing would be noticed of another folder that comes in its place.
                    break
        except (OSError, RuntimeError) as wrong:
            # The library also has an error of its own, made from RuntimeError.
            refused = fault_text(wrong) if isinstance(wrong, OSError) else str(wrong)
        if refused and refused != told:
            _say(f"changes cannot be noticed now, and are looked for again: {refused}\n")
        told = refused
        for _ in range(_WAKES_BETWEEN_TRIES):
            time.sleep(_WAKES_AFTER_MS / 1000)
            yield ()
        while not root.is_dir():
            time.sleep(_WAKES_AFTER_MS / 1000)
            yield ()
        # Whatever changed while nobody looked is rendered.
        yield (root,)


def follow(
    root: Path,
    as_of: date | None,
    changes: Iterable[Collection[object]],
    *,
    html: bool,
    clock: Clock,
) -> None:
    """Render, and again after each change that comes and each midnight at the site.

    `changes` comes several times a minute, empty where no file has changed. What the system
    refuses is tried again some seconds later.
    """

    def day() -> date | None:
        return as_of or (today(site.loaded, clock) if site else None)

    tried = _rendered(root, as_of, html=html, clock=clock)
    site = tried.site
    rendered_on = day()
    _say(f"watching {root}; Ctrl-C ends\n", sys.stdout)
    wakes = 0
    for changed in changes:
        wakes += 1
        is_due = bool(tried.refused) and wakes >= _WAKES_BETWEEN_TRIES
        if changed or is_due or day() != rendered_on:
            tried = _rendered(root, as_of, html=html, clock=clock, told=tried.refused)
            site = tried.site or site
            rendered_on = day()
            wakes = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tried:
    """The site as it was rendered, or not; `refused` is what the system would not do."""

    site: OpenSite | None
    refused: str = ""


def _rendered(
    root: Path, as_of: date | None, *, html: bool, clock: Clock, told: str = ""
) -> _Tried:
    """Render, or say what keeps the book from being rendered; nothing ends the watch.

    What the system refuses in the words that were `told` last is not said again.
    """
    from ledger.cli import diagnostics_forms  # noqa: PLC0415
    from ledger.cli.commands.build import render_book  # noqa: PLC0415

    site, refused = None, ""
    try:
        site = open_site(str(root), as_of, clock)
        if site.loaded.has_errors:
            errors = [found for found in site.loaded.diagnostics if found.is_error]
            _say(diagnostics_forms.render(errors, "text"))
        render_book(site, html=html)
        sys.stdout.flush()
    except Failure as failure:
        _say(f"not rendered: {failure}\n")
    except BrokenPipeError:
        raise
    except OSError as wrong:
        refused = fault_text(wrong)
        if refused != told:
            _say(f"not rendered, and tried again in a while: {refused}\n")
    return _Tried(site=site, refused=refused)


def _say(text: str, stream: TextIO | None = None) -> None:
    """Write and go on, though the place that the words go to is full."""
    stream = stream or sys.stderr
    try:
        stream.write(text)
        stream.flush()
    except BrokenPipeError:
        raise
    except OSError:
        return


def _is_of_the_site(root: Path, path: str) -> bool:
    """Whether a change may change the book: a record or the whole folder, not the book itself."""
    from ledger.files.names import SITE_FILE  # noqa: PLC0415
    from ledger.files.paths import FOLDERS  # noqa: PLC0415

    parts = Path(path).relative_to(root).parts
    if any(part.startswith(".") for part in parts):
        return False
    return not parts or parts[0] in {SITE_FILE, *FOLDERS}
