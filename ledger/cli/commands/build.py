"""`tunnelbook check`, `build` and `watch`: what is wrong with a site, and the book of it."""

import argparse
import os
import sys
import time
from collections.abc import Collection, Iterable, Iterator, Mapping
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from ledger.cli.arguments import PUSH, arg, command, flag
from ledger.cli.command import (
    Failure,
    FaultyFiles,
    NextTime,
    OpenSite,
    fault_text,
    give,
    note_site,
    open_folder,
    open_record,
    open_site,
    renew_editor_schemas,
    run_framed,
    site_root,
    store_of_parts,
    today,
)
from ledger.files.names import BOOK, BOOK_BRANCH, SCHEMAS, SITE_FILE
from ledger.values import replace

if TYPE_CHECKING:
    from ledger.cli.receiving import Inbox
    from ledger.files.book_files import File
    from ledger.files.diagnostics import Diagnostic


def _check(parsed: argparse.Namespace) -> int:
    from ledger.book.words import count_faults, format_count
    from ledger.cli.diagnostics_forms import from_top, render, rows
    from ledger.filing.new_site import stale_schemas
    from ledger.site.pipeline import check

    site = open_site(parsed)
    found = (*check(site.loaded, site.as_of), *_open_merges(parsed, site))
    errors = [diagnostic for diagnostic in found if diagnostic.is_error]
    warnings = [diagnostic for diagnostic in found if not diagnostic.is_error]
    if parsed.errors_only:
        found = tuple(errors)
    diagnostics, top = from_top(found, site.root)
    # Colour only for a terminal, and never where NO_COLOR is set (no-color.org).
    color = sys.stdout.isatty() and not os.environ.get("NO_COLOR")
    give(
        parsed,
        lambda: render(diagnostics, parsed.format, color=color, top=top),
        lambda: {"files": site.loaded.file_count, "diagnostics": rows(diagnostics)},
    )
    if parsed.format == "text":
        counts = [format_count(site.loaded.file_count, "file"), count_faults(errors, "error")]
        if not parsed.errors_only:
            counts.append(count_faults(warnings, "warning"))
        print(", ".join(counts), flush=True)
        if site.commit is None and (site.root / SCHEMAS).is_dir() and stale_schemas(site.root):
            sys.stderr.write(
                f"the schemas in {site.root}/{SCHEMAS}, by which an editor explains keys, are of "
                f"another version; renew them with `tunnelbook init {site.root} --renew-schemas`\n"
            )
    if site.loaded.ledger is None and not found:
        raise FaultyFiles(f"no site could be read in {site.root}")
    return 1 if errors or (parsed.strict and found) else 0


def _open_merges(parsed: argparse.Namespace, site: OpenSite) -> "Iterator[Diagnostic]":
    """A page that holds both sides of a merge: the files it is rendered from may well be sound."""
    from ledger.files.book_files import open_merges
    from ledger.files.diagnostics import Diagnostic, Position

    for path, line in open_merges(site.root / BOOK) if site.commit is None else ():
        # The next look may find it mended, though no file of the site has changed.
        parsed.answer.is_kept = False
        yield Diagnostic(
            rule="merge-left-open",
            position=Position(path=f"{BOOK}/{path}", line=line),
            message="a merge left both sides in this page",
            remedy=f"render it again with `tunnelbook build {site.root}`, then commit it",
        )


def _build(parsed: argparse.Namespace) -> int:
    site = open_record(parsed)
    # The book is made of the ledger; what the files hold besides takes a tenth of the memory.
    site = replace(site, loaded=replace(site.loaded, documents={}))
    if parsed.publish:
        return _write_pages(parsed, site)
    if not parsed.check:
        parsed.next_time = render_book(parsed, site)
        if _has_branch(site):
            from ledger.cli.into_git import write_branch

            # What git holds changes while no file of the site does.
            parsed.answer.is_kept = False
            write_branch(parsed, site.root)
        return 0
    wanted = _wanted(parsed, site)
    is_stale = _say_stale(parsed, site, wanted)
    if _has_branch(site):
        is_stale |= _say_stale_branch(parsed, site)
    if is_stale:
        return 1
    parsed.next_time = NextTime(output="", files=wanted)
    return 0


def _has_branch(site: OpenSite) -> bool:
    return site.ledger.site.policy.book == "branch"


def _wanted(parsed: argparse.Namespace, site: OpenSite) -> "Mapping[str, File]":
    """The files of the book that lie in its folder."""
    from ledger.files.book_files import are_there
    from ledger.site.rendering import book_files, book_files_by, main_files

    if not parsed.html and not _has_branch(site):
        store = store_of_parts(parsed, site)
        files = book_files_by(store, site.ledger, site.as_of)
        if store is None or are_there(site.root / BOOK, files, parsed.record.hashes):
            return files
        return book_files_by(None, site.ledger, site.as_of)
    pages = {}
    if parsed.html:
        notice, commit = _notice(parsed, site), _commit_of(parsed, site)
        pages = book_files(site.ledger, site.as_of, html=True, notice=notice, commit=commit)
    if not _has_branch(site):
        return pages
    return {path: pages[path] for path in pages if path.startswith("html/")} | main_files(
        site.ledger
    )


def _commit_of(parsed: argparse.Namespace, site: OpenSite) -> str:
    """What is checked out, for the phone's page to name; "" without git, and if git has the page.

    Else the page would be stale as soon as it is committed.
    """
    from ledger.files.names import repository_above
    from ledger.history.git import GitProblem
    from ledger.history.repository import open_repository
    from ledger.site.for_browser import POCKET_PATH

    if repository_above(str(site.root.resolve())) is None:
        return ""
    # What git holds changes while no file of the site does.
    parsed.answer.is_kept = False
    try:
        repository = open_repository(site.root)
        git, page = repository.git, f"HEAD:{repository.prefix}{BOOK}/{POCKET_PATH}"
        return "" if git.object_id(page) else (git.object_id("HEAD") or "")[:12]
    except (GitProblem, OSError):
        return ""


def _notice(parsed: argparse.Namespace, site: OpenSite) -> str:
    """What the pages for this clone's browser say of visits that nobody else has yet."""
    from ledger.cli.into_git import waiting_text

    if parsed.as_of is not None:
        return ""
    text = waiting_text(site.root, site.ledger.site.zone).strip()
    if not text:
        return ""
    # What git holds changes while no file of the site does.
    parsed.answer.is_kept = False
    return f"{text}. So it was when this page was made."


def _say_stale_branch(parsed: argparse.Namespace, site: OpenSite) -> bool:
    from ledger.cli.into_git import stale_on_branch

    parsed.answer.is_kept = False
    old = list(stale_on_branch(parsed, site.root))
    print("".join(f"stale on the branch {BOOK_BRANCH}: {one}\n" for one in old), end="")
    if old:
        sys.stderr.write(
            f"the branch {BOOK_BRANCH} is stale; render the last commit onto it with "
            f"`tunnelbook build {site.root}`\n"
        )
    return bool(old)


_PUBLISHED = {
    "off": "Nothing is published: `publish` in site.yaml is off.",
    "phone": "Published is the phone's page: names of people, machines, settings, due work and "
    "open findings.",
    "book": "Published is the whole book with the phone's page: names of people, every visit and "
    "finding, settings, costs and lockout sheets.",
}

_TO_WHOM = (
    "Whoever can open the address reads it. On GitHub that is everybody, also where the "
    "repository is private, but on its enterprise plans; on GitLab the project's settings say who."
)


def _write_pages(parsed: argparse.Namespace, site: OpenSite) -> int:
    """Say what becomes public, then write it into a folder that holds nothing yet."""
    from ledger.files.save import replace_file
    from ledger.site.for_browser import pages_for_server

    what = site.ledger.site.publish
    print(_PUBLISHED[what] if what == "off" else f"{_PUBLISHED[what]} {_TO_WHOM}", flush=True)
    folder = Path(parsed.publish)
    files = pages_for_server(site.ledger, site.as_of, _commit_of(parsed, site))
    if folder.is_dir() and any(folder.iterdir()):
        raise Failure(f"{folder} is not empty; name a folder that holds nothing")
    if files and not parsed.dry_run:
        for path, held in files.items():
            (folder / path).parent.mkdir(parents=True, exist_ok=True)
            replace_file(folder / path, held)
        print(f"{len(files)} files in {folder} as of {site.as_of}")
    return 0


def _leave(*, html: bool) -> tuple[str, ...]:
    return () if html else ("html",)


def _say_stale(parsed: argparse.Namespace, site: OpenSite, wanted: "Mapping[str, File]") -> bool:
    """Print which pages are stale; whether any is."""
    from ledger.book.words import format_count
    from ledger.files.book_files import stale

    old = stale(site.root / BOOK, wanted, leave=_leave(html=parsed.html))
    for path in old:
        print(f"stale: {BOOK}/{path}")
    if old:
        html = " --html" if parsed.html else ""
        day = f" --as-of {site.as_of}" if parsed.as_of or not html else ""
        sys.stderr.write(
            f"{format_count(len(old), 'page')} {'is' if len(old) == 1 else 'are'} stale; "
            f"render with `tunnelbook build {site.root}{html}{day}`\n"
        )
    return bool(old)


_COUNTS = "{} written, {} removed, {} untouched"


def render_book(parsed: argparse.Namespace, site: OpenSite) -> NextTime | None:
    """Write the book of a site; what doing it again would print, where it was written."""
    from ledger.files.book_files import KeptFile, hash_of, stale, write_files
    from ledger.files.save import remove_leftovers

    folder, leave = site.root / BOOK, _leave(html=parsed.html)
    wanted = _wanted(parsed, site)
    if parsed.dry_run:
        old = stale(folder, wanted, leave=leave)
        parsed.answer.data = {"stale": list(old)}
        print("".join(f"would write or remove {BOOK}/{path}\n" for path in old), end="")
        return None
    if "record" not in parsed or parsed.record.shows_leftovers:
        remove_leftovers(site.root)
    renew_editor_schemas(site.root, site.ledger)
    result = write_files(folder, wanted, leave=leave)
    if result.refused:
        for refusal in result.refused:
            sys.stderr.write(f"not written: {BOOK}/{refusal.path}: {refusal.why}\n")
        raise Failure("nothing was written; move those files away and build again")
    summary = f"{len(wanted)} files in {folder} as of {site.as_of}: "
    counts = (len(result.written), len(result.removed), result.unchanged)
    print(summary + _COUNTS.format(*counts))
    parsed.answer.data = _counted(counts)
    parsed.answer.written += [f"{BOOK}/{path}" for path in result.written]
    none = (0, 0, len(wanted))
    # Their texts have been written, and would lie in memory beside what is kept.
    files = wanted if "record" in parsed else {}
    return NextTime(
        output=summary + _COUNTS.format(*none) + "\n",
        files={path: KeptFile(hash_of(file)) for path, file in files.items()},
        data=_counted(none),
    )


def _counted(counts: tuple[int, int, int]) -> dict[str, int]:
    return dict(zip(("written", "removed", "untouched"), counts, strict=True))


def _watch(parsed: argparse.Namespace) -> int:
    from ledger.cli.environment import require
    from ledger.cli.receiving import BRANCH, Inbox

    require("watchfiles", "watch")
    root = site_root(parsed.site).resolve()
    changes = _changes(root)
    try:
        # The first to come is empty and says that changes are noticed from now on, so that none
        # falls between the first rendering and the watch.
        next(changes)
        follow(parsed, root, changes, Inbox(Path(parsed.inbox), BRANCH) if parsed.inbox else None)
    except KeyboardInterrupt:
        if _is_plain(parsed):
            print("ended")
    return 0


def _is_plain(parsed: argparse.Namespace) -> bool:
    return parsed.format == "text" and not parsed.quiet


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
                    if not changed:
                        # It went before anybody looked.
                        yield (root,)
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
    parsed: argparse.Namespace,
    root: Path,
    changes: Iterable[Collection[object]],
    inbox: "Inbox | None" = None,
) -> None:
    """Render, and again after each change that comes and each midnight at the site.

    What lands in an inbox is received onto its branch.

    `changes` comes several times a minute, empty where no file has changed. What the system
    refuses is tried again some seconds later.
    """

    def day() -> date | None:
        return parsed.as_of or (today(site.loaded, parsed.clock) if site else None)

    site, fault = _rendered(parsed, root)
    rendered_on = day()
    if _is_plain(parsed):
        _say(f"watching {root}; Ctrl-C ends\n", sys.stdout)
    wakes = 0
    for changed in changes:
        wakes += 1
        if inbox is not None:
            _take_in(parsed, inbox)
        is_due = bool(fault) and wakes >= _WAKES_BETWEEN_TRIES
        if changed or is_due or day() != rendered_on:
            now, fault = _rendered(parsed, root, last_fault=fault)
            site = now or site
            rendered_on = day()
            wakes = 0


def _take_in(parsed: argparse.Namespace, inbox: "Inbox") -> None:
    """Receive what is new in the inbox; the same trouble is not told twice in a row."""
    last_fault = inbox.fault
    if inbox.has_news():
        run_framed("watch", parsed, inbox.receive)
        sys.stdout.flush()
    if inbox.fault and inbox.fault != last_fault:
        _say(f"nothing is received now, and it is tried again in a while: {inbox.fault}\n")


def _rendered(
    parsed: argparse.Namespace, root: Path, *, last_fault: str = ""
) -> tuple[OpenSite | None, str]:
    """The site as it was rendered, or none, and what the system would not do.

    Nothing ends the watch; what keeps the book from being rendered is said, but not the same
    fault twice in a row.
    """
    from ledger.cli.diagnostics_forms import from_top, render_text

    site, fault = None, ""
    try:
        site = opened = open_folder(site_root(str(root)), parsed.as_of, parsed.clock)
        note_site(parsed, site)
        parsed.answer.written.clear()
        if site.loaded.has_errors:
            errors = [found for found in site.loaded.diagnostics if found.is_error]
            _say(render_text(from_top(errors, root)[0]))

        def render(_: argparse.Namespace) -> int:
            render_book(parsed, opened)
            return 0

        run_framed("watch", parsed, render)
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
        flag("--strict", "exit 1 on warnings too"),
        flag("--errors-only", "leave the warnings out"),
        takes="site-here day commit",
        forms=("github", "sarif", "gitlab"),
    ),
    "build": command(
        _build,
        "Render the book from the files of a site into its book/ folder.",
        """\
  tunnelbook build                       the book of the site in this folder
  tunnelbook build --html                also book/html/, a site that works from a file,
                                         with the pocket page for the phone, round.html
  tunnelbook build --publish public      what `publish` in site.yaml puts on a server, where
                                         the phone's page opens without it too
  tunnelbook build --check               write nothing; say which pages are stale
  tunnelbook build --as-of 2026-11-25    the book as it was known at the end of that day

With `policy: {book: branch}` in site.yaml the folder holds the register, and the other
pages of the last commit go to the branch `book`, whatever is checked out.
Pages that did not change are not touched. Pages that depend on the day carry
an as-of line; all others change only when a file of the site changes.
Nothing filed, corrected, proposed or approved after the day is in the book;
machines, tasks and people are those of the files as they are now.
""",
        flag("--check", "write nothing; exit 1 where a page is stale"),
        flag("--html", "also render book/html/"),
        arg("--publish", "FOLDER", "write what `publish` says into a folder for a web server"),
        takes="site-here day dry-run",
    ),
    "watch": command(
        _watch,
        "Render the book, and again whenever a file of the site changes or a new day "
        "begins. Ctrl-C ends.",
        """\
  tunnelbook watch mywash                needs the extra `watch`
  tunnelbook watch mywash --html         also book/html/, to reload in a browser
  tunnelbook watch mywash --inbox ~/inbox --push    visits that land there, onto a branch

A file with an error is named with its line, and the book stays as it was until it is mended.
What lands in the inbox goes through `receive` onto the branch `received`, never onto
the one that is checked out; a pull request brings it from there.
With --as-of the day stays as it is; without it, midnight at the site begins a new one.
""",
        flag("--html", "also render book/html/"),
        arg("--inbox", "FOLDER", "receive what lands there onto the branch `received`"),
        PUSH,
        flag("--accept-changed", "with --inbox: file also what is not as it was sent"),
        takes="site-here day dry-run streams",
    ),
}
