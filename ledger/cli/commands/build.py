"""`tunnelbook check`, `build` and `watch`: what is wrong with a site, and the book of it."""

import argparse
import os
import sys
import time
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TextIO

from ledger.cli.arguments import AS_OF, SITE, arg, command, flag
from ledger.cli.clock import Clock
from ledger.cli.command import (
    Failure,
    NextTime,
    OpenSite,
    fault_text,
    open_site,
    site_root,
    today,
)
from ledger.files.names import BOOK, SCHEMAS, SITE_FILE


def _check(parsed: argparse.Namespace) -> int:
    from ledger.book.words import count_faults, format_count
    from ledger.cli.diagnostics_forms import render
    from ledger.filing.new_site import stale_schemas
    from ledger.site.pipeline import check

    site = open_site(parsed.site, parsed.as_of, parsed.clock)
    found = check(site.loaded, site.as_of)
    errors = [diagnostic for diagnostic in found if diagnostic.is_error]
    warnings = [diagnostic for diagnostic in found if not diagnostic.is_error]
    if parsed.errors_only:
        found = tuple(errors)
    # Colour only for a terminal, and never where NO_COLOR is set (no-color.org).
    text = render(
        found, parsed.format, color=sys.stdout.isatty() and not os.environ.get("NO_COLOR")
    )
    if text:
        print(text, end="" if text.endswith("\n") else "\n")
    if parsed.format == "text":
        counts = [format_count(site.loaded.file_count, "file"), count_faults(errors, "error")]
        if not parsed.errors_only:
            counts.append(count_faults(warnings, "warning"))
        print(", ".join(counts), flush=True)
        if stale_schemas(site.root):
            sys.stderr.write(
                f"the schemas in {site.root}/{SCHEMAS}, by which an editor explains keys, are of "
                f"another version; renew them with `tunnelbook init {site.root} --renew-schemas`\n"
            )
    if site.loaded.ledger is None and not found:
        raise Failure(f"no site could be read in {site.root}")
    return 1 if errors or (parsed.strict and found) else 0


def _build(parsed: argparse.Namespace) -> int:
    site = open_site(parsed.site, parsed.as_of, parsed.clock)
    # The book is made of the ledger; what the files hold besides takes a tenth of the memory.
    site = replace(site, loaded=replace(site.loaded, documents={}))
    if not parsed.check:
        parsed.next_time = render_book(site, html=parsed.html)
        return 0
    wanted = _wanted(site, html=parsed.html)
    if _say_stale(site, wanted, html=parsed.html):
        return 1
    parsed.next_time = NextTime(output="", files=wanted)
    return 0


def _wanted(site: OpenSite, *, html: bool) -> dict[str, str]:
    from ledger.site.rendering import book_files

    return book_files(site.ledger, site.as_of, html=html)


def _leave(*, html: bool) -> tuple[str, ...]:
    return () if html else ("html",)


def _say_stale(site: OpenSite, wanted: Mapping[str, str], *, html: bool) -> bool:
    """Print which pages are stale; whether any is."""
    from ledger.book.words import format_count
    from ledger.files.book_files import stale

    old = stale(site.root / BOOK, wanted, leave=_leave(html=html))
    for path in old:
        print(f"stale: {BOOK}/{path}")
    if old:
        sys.stderr.write(
            f"{format_count(len(old), 'page')} {'is' if len(old) == 1 else 'are'} stale; "
            f"render with `tunnelbook build {site.root} --as-of {site.as_of}`\n"
        )
    return bool(old)


_COUNTS = "{} written, {} removed, {} untouched"


def render_book(site: OpenSite, *, html: bool) -> NextTime:
    """Write the book of a site; what doing it again would print."""
    from ledger.files.book_files import write_files
    from ledger.files.save import remove_leftovers

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


def _watch(parsed: argparse.Namespace) -> int:
    from ledger.cli.environment import require

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


_WAKES_AFTER_MS = 500

_WAKES_BETWEEN_TRIES = 10


def _changes(root: Path) -> Iterator[Collection[object]]:
    """What changes below a folder, as `follow` takes it; it goes on where watching fails."""
    from watchfiles import watch  # optional

    last_fault = ""
    while True:
        fault = ""
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
        except (OSError, RuntimeError) as error:
            # The library also has an error of its own, made from RuntimeError.
            fault = fault_text(error) if isinstance(error, OSError) else str(error)
        if fault and fault != last_fault:
            _say(f"changes cannot be noticed now, and are looked for again: {fault}\n")
        last_fault = fault
        tries = 0
        while tries < _WAKES_BETWEEN_TRIES or not root.is_dir():
            time.sleep(_WAKES_AFTER_MS / 1000)
            tries += 1
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

    site, fault = _rendered(root, as_of, html=html, clock=clock)
    rendered_on = day()
    _say(f"watching {root}; Ctrl-C ends\n", sys.stdout)
    wakes = 0
    for changed in changes:
        wakes += 1
        is_due = bool(fault) and wakes >= _WAKES_BETWEEN_TRIES
        if changed or is_due or day() != rendered_on:
            now, fault = _rendered(root, as_of, html=html, clock=clock, last_fault=fault)
            site = now or site
            rendered_on = day()
            wakes = 0


def _rendered(
    root: Path, as_of: date | None, *, html: bool, clock: Clock, last_fault: str = ""
) -> tuple[OpenSite | None, str]:
    """The site as it was rendered, or none, and what the system would not do.

    Nothing ends the watch; what keeps the book from being rendered is said, but not the same
    fault twice in a row.
    """
    from ledger.cli.diagnostics_forms import render_text

    site, fault = None, ""
    try:
        site = open_site(str(root), as_of, clock)
        if site.loaded.has_errors:
            _say(render_text(found for found in site.loaded.diagnostics if found.is_error))
        render_book(site, html=html)
        sys.stdout.flush()
    except Failure as failure:
        _say(f"not rendered: {failure}\n")
    except BrokenPipeError:
        raise
    except OSError as error:
        fault = fault_text(error)
        if fault != last_fault:
            _say(f"not rendered, and tried again in a while: {fault}\n")
    return site, fault


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
    from ledger.files.paths import FOLDERS

    parts = Path(path).relative_to(root).parts
    if any(part.startswith(".") for part in parts):
        return False
    return not parts or parts[0] in {SITE_FILE, *FOLDERS}


FORMATS = ("text", "json", "github", "sarif", "gitlab")

COMMANDS = {
    "check": command(
        _check,
        "List everything that is wrong in a site's files, with file, line and remedy.",
        """\
  tunnelbook check                      the site in this folder
  tunnelbook check --strict             warnings count too
  tunnelbook check --format github      as annotations of a pull request
  tunnelbook check --format sarif > check.sarif

An error is something the program cannot use. A warning is something a foreman
would ask about; it fails the check only with --strict.
""",
        SITE,
        AS_OF,
        arg("--format", None, "default: text", choices=FORMATS, default="text"),
        flag("--strict", "exit 1 on warnings too"),
        flag("--errors-only", "leave the warnings out"),
    ),
    "build": command(
        _build,
        "Render the book from the files of a site into its book/ folder.",
        """\
  tunnelbook build                       the book of the site in this folder
  tunnelbook build --html                also book/html/, a site that works from a file,
                                         with the pocket page for the phone, round.html
  tunnelbook build --check               write nothing; say which pages are stale
  tunnelbook build --as-of 2026-11-25    the book as it was known at the end of that day

Pages that did not change are not touched. Pages that depend on the day carry
an as-of line; all others change only when a file of the site changes.
Nothing filed, corrected, proposed or approved after the day is in the book;
machines, tasks and people are those of the files as they are now.
""",
        SITE,
        AS_OF,
        flag("--check", "write nothing; exit 1 where a page is stale"),
        flag("--html", "also render book/html/"),
    ),
    "watch": command(
        _watch,
        "Render the book, and again whenever a file of the site changes or a new day "
        "begins. Ctrl-C ends.",
        """\
  tunnelbook watch mywash                needs the extra `watch`
  tunnelbook watch mywash --html         also book/html/, to reload in a browser

A file with an error is named with its line, and the book stays as it was until it is mended.
With --as-of the day stays as it is; without it, midnight at the site begins a new one.
""",
        SITE,
        AS_OF,
        flag("--html", "also render book/html/"),
    ),
}
