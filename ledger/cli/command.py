"""What every command shares: how it finds its site and day, prints, and fails."""

import errno
import io
import os
import sys
from argparse import Namespace
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, redirect_stdout
from datetime import date, tzinfo
from functools import partial
from typing import TYPE_CHECKING

from ledger.cli.calls import FAILED, FOUND, SITE_VARIABLE
from ledger.cli.clock import Clock
from ledger.files.names import SCHEMAS
from ledger.values import dataclass, field, replace

if TYPE_CHECKING:
    from pathlib import Path

    from ledger.cli.keeper import KeptRecord
    from ledger.files.book_files import File
    from ledger.files.diagnostics import Diagnostic
    from ledger.files.tree import FileTree
    from ledger.model.ledger import Ledger
    from ledger.site.parts import Store
    from ledger.site.pipeline import LoadedSite


class Failure(Exception):  # noqa: N818 - it ends a command, it is not a fault of the program
    """The command cannot go on; the text says why and what to do.

    The call is at fault, or what the system refuses; `FaultyFiles` where files are.
    """

    status = FAILED


class FaultyFiles(Failure):
    """The command cannot go on, for what stands in files that it could read."""

    status = FOUND


@contextmanager
def failing_on(*kinds: type[Exception], after: str = "") -> Iterator[None]:
    """Let an error of these kinds end the command with its own words, `after` some on the work."""
    try:
        yield
    except BrokenPipeError:
        raise
    except kinds as error:
        ends = FaultyFiles if getattr(error, "rule", "") in _OF_FILES_IN_GIT else Failure
        words = fault_text(error) if isinstance(error, OSError) else error
        raise ends(f"{after}{words}") from error


def ending_of(error: Exception) -> tuple[str, int] | None:
    """What to say of an error that ends a command, and the status; None for all but these:

    a failure, what the system refuses, and what git cannot do. That an output is closed is said
    where the program ends.
    """
    if isinstance(error, Failure):
        return str(error), error.status
    if isinstance(error, OSError):
        is_of_output = isinstance(error, BrokenPipeError) or error.errno == errno.EBADF
        return None if is_of_output else (fault_text(error), FAILED)
    from ledger.history.git import GitProblem

    if not isinstance(error, GitProblem):
        return None
    return str(error), FOUND if error.rule in _OF_FILES_IN_GIT else FAILED


_OF_FILES_IN_GIT = ("no-site", "past-at-fault")
"""Rules of a GitProblem that blame what a commit holds."""


def fault_text(error: OSError) -> str:
    """What the system refused, and of which file."""
    where = f"{error.filename}: " if error.filename else ""
    return f"{where}{error.strerror or error}"


def known(word: str, words: Iterable[str], what: str) -> str:
    """The word, if it is one of those known; else Failure with the nearest and, if few, all."""
    all_words = list(words)
    if word in all_words:
        return word
    from pathlib import Path

    if Path(word, "site.yaml").is_file():
        raise Failure(f"there is no {what} `{word}`; name a site with --site {word}")
    from ledger.files.spelling import nearest_word, value_meant

    near = value_meant(word, all_words) or nearest_word(word, all_words)
    hints = [f"did you mean `{near}`?"] if near else []
    if not near or len(all_words) <= _FEW_WORDS:
        hints.append(f"known: {', '.join(all_words)}")
    raise Failure(f"there is no {what} `{word}`; {' '.join(hints)}")


_FEW_WORDS = 8


def output_is_utf8() -> bool:
    """Else signs that the output's encoding may lack stand as escapes in JSON."""
    return (sys.stdout.encoding or "").lower().replace("-", "") == "utf8"


class Held(io.StringIO):
    """Output that is held back until the command has ended, so that nobody sees a question."""


@dataclass(slots=True, kw_only=True)
class Answer:
    """What a command gives beside what it prints: which site it looked at, and what it found.

    Without `data` it is what was printed. It is kept for the next time only where `is_kept`.
    """

    site: "Path | None" = None
    day: date | None = None
    commit: str | None = None
    units: str | None = None
    written: list[str] = field(default_factory=list)
    data: object = None
    is_kept: bool = True


SCHEMA = "tunnelbook-answer-1"


def fit_frame(parsed: Namespace) -> None:
    """Settle which site is meant, and give the command an answer to fill in."""
    here = parsed.site_here
    if here is not None and parsed.site not in (None, here):
        raise Failure(f"the site is named twice; name it once, with --site {parsed.site}")
    parsed.site = parsed.site or here or os.environ.get(SITE_VARIABLE) or None
    parsed.answer = Answer()


def run_framed(name: str, parsed: Namespace, run: Callable[[Namespace], int]) -> int:
    """Run a command, or a part of it that prints an answer of its own; its exit status.

    What it prints becomes JSON, or is held back by `--quiet`, without its doing.
    """
    if parsed.format != "json" and not parsed.quiet:
        return run(parsed)
    with redirect_stdout(Held()) as held:
        status = run(parsed)

    def formed(text: str, data: object) -> str:
        if parsed.format == "json":
            return _envelope(name, parsed.answer, status, text, data)
        return text if status else ""

    next_time = parsed.next_time
    if next_time is not None:
        text = formed(next_time.output, next_time.data)
        parsed.next_time = replace(next_time, output=text)
    print(formed(held.getvalue(), parsed.answer.data), end="", flush=True)
    return status


def _envelope(name: str, answer: Answer, status: int, text: str, data: object) -> str:
    from ledger.book.escape import json_text

    whole = {
        "schema": SCHEMA,
        "command": name,
        "site": None if answer.site is None else answer.site.as_posix(),
        "day": None if answer.day is None else answer.day.isoformat(),
        "commit": answer.commit,
        "units": answer.units,
        "status": status,
        "written": answer.written,
        "data": {"text": text.splitlines()} if data is None else data,
    }
    return json_text(whole, ascii_only=not output_is_utf8())


def give(parsed: Namespace, text: Callable[[], str], data: Callable[[], object]) -> None:
    """Print what was found, or hand it over as a value for JSON; only the one asked for is made."""
    if parsed.format == "json":
        parsed.answer.data = data()
    else:
        print(text(), end="")


def say_written(parsed: Namespace, path: object) -> None:
    parsed.answer.written.append(str(path))
    print(f"would write {path}" if parsed.dry_run else f"wrote {path}")


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenSite:
    """A site that was loaded, the day it is looked at, and what was known on it.

    `commit` is where it was read from git, `day_named` the day by which that was asked for.
    """

    root: "Path"
    loaded: "LoadedSite"
    as_of: date
    known: "Ledger | None"
    commit: str | None = None
    day_named: date | None = None
    confirmed: frozenset[tuple[str, int]] = frozenset()
    """Settings in force that need no reading, by machine and number; the ledger may not tell."""

    @property
    def ledger(self) -> "Ledger":
        """What was known on the day, of a site without errors; Failure where there are some."""
        if self.known is None or self.loaded.has_errors:
            from ledger.book.words import count_faults

            errors = (one for one in self.loaded.diagnostics if one.is_error)
            at_commit = f" --at-commit {self.commit[:12]}" if self.commit else ""
            raise FaultyFiles(
                f"{count_faults(errors, 'error')} in the files of {self.root}; "
                f"see them with `tunnelbook check {self.root}{at_commit}`"
            )
        return self.known


@dataclass(frozen=True, slots=True, kw_only=True)
class NextTime:
    """What a build would print if it ran again at once, and the book it would find."""

    output: str
    files: "Mapping[str, File]"
    data: object = None


def open_site(parsed: Namespace) -> OpenSite:
    """Load the site that a call names, as the call asks; a bar shows progress at a terminal."""
    root = site_root(parsed.site)
    if parsed.at_commit is None:
        site = open_folder(root, parsed.as_of, parsed.clock)
    else:
        site = _open_commit(root, parsed.at_commit)
        site = _known_on(site, parsed.as_of) if parsed.as_of else site
    note_site(parsed, site)
    return site


def open_record(parsed: Namespace) -> OpenSite:
    """Load a site for a command that asks for its record alone: from the store where that does.

    What the store lacks it is given once the command has ended.
    """
    record: KeptRecord | None = getattr(parsed, "record", None)
    if record is None or parsed.at_commit is not None:
        return open_site(parsed)
    kept = _open_kept(parsed, record.ledger)
    if kept is not None:
        return kept
    from ledger.files.paths import Kind
    from ledger.site.excerpt import EXCERPT, excerpt_on
    from ledger.site.kept_ledger import record_texts

    site = open_site(parsed)
    ledger = site.loaded.ledger
    if ledger is not None and ledger.visits and not site.loaded.has_errors:
        documents = [
            (one.path, one.value, one.digest)
            for one in site.loaded.documents.values()
            if one.kind is not Kind.VISIT
        ]
        record.make(partial(record_texts, ledger, documents), is_new=True)
        if site.known is ledger:
            record.make_beside(EXCERPT, partial(excerpt_on, ledger, site.as_of))
    return site


def note_site(parsed: Namespace, site: OpenSite) -> None:
    """Note for the answer which site was looked at, on which day."""
    answer = parsed.answer
    answer.site, answer.day, answer.commit = site.root, site.as_of, site.commit
    answer.units = None if site.known is None else site.known.site.units.value


def open_folder(root: "Path", as_of: date | None, clock: Clock) -> OpenSite:
    """Load the site whose folder this is, as known on a day, by default today."""
    from ledger.files.tree import DiskTree
    from ledger.site.pipeline import load

    with progress_bar() as show:
        loaded = load(DiskTree(root), show)
    day = as_of or today(loaded, clock)
    return _known_on(OpenSite(root=root, loaded=loaded, as_of=day, known=None), day)


def _known_on(site: OpenSite, day: date) -> OpenSite:
    """The site with what was known of it on a day."""
    from ledger.model.ledger import known_on

    ledger = site.loaded.ledger
    return replace(site, as_of=day, known=None if ledger is None else known_on(ledger, day))


def _open_commit(root: "Path", named: str) -> OpenSite:
    """Load all that git held of a site, looked at on the day named, or that of the commit."""
    from ledger.history.repository import open_repository
    from ledger.proof.sites import past_site

    past, committed, day_named = past_site(open_repository(root), named)
    return OpenSite(
        root=root,
        loaded=past.loaded,
        as_of=day_named or committed,
        known=past.loaded.ledger,
        commit=past.commit,
        day_named=day_named,
    )


def open_commit_today(parsed: Namespace, root: "Path", commit: str) -> OpenSite:
    """Load what a commit holds of a site, looked at on the day that its folder would be."""
    site = _open_commit(root, commit)
    site = _known_on(site, parsed.as_of or today(site.loaded, parsed.clock))
    note_site(parsed, site)
    return site


def store_of_parts(parsed: Namespace, site: OpenSite) -> "Store | None":
    """What was worked out of single machines of the site's files before, and room for more."""
    if "record" not in parsed or site.commit or site.ledger is not site.loaded.ledger:
        return None
    store: Store = parsed.record.made()
    return store


def open_due(parsed: Namespace) -> OpenSite:
    """Load a site for a command that asks for due work alone, from the store where that does."""
    return open_excerpt(parsed, getattr(parsed, "record", None)) or open_record(parsed)


def open_excerpt(parsed: Namespace, record: "KeptRecord | None") -> OpenSite | None:
    """The site for a command that asks for due work alone; None where the store does not do."""
    if record is None or parsed.at_commit is not None:
        return None
    return _open_kept(parsed, record.excerpt)


def _open_kept(
    parsed: Namespace, give: "Callable[[Callable[[tzinfo], date]], Ledger | None]"
) -> OpenSite | None:
    """The site with the ledger that the store gives, if it does."""
    from ledger.site.pipeline import LoadedSite

    def day(zone: tzinfo) -> date:
        as_of: date | None = parsed.as_of
        return as_of or parsed.clock(zone).date()

    ledger = give(day)
    if ledger is None:
        return None
    confirmed = getattr(ledger, "confirmed", None)
    whole = ledger if confirmed is None else None
    loaded = LoadedSite(
        ledger=whole, documents={}, file_count=0, left_out=frozenset(), diagnostics=()
    )
    site = OpenSite(
        root=site_root(parsed.site),
        loaded=loaded,
        as_of=day(ledger.site.zone),
        known=ledger,
        confirmed=confirmed or frozenset(),
    )
    note_site(parsed, site)
    return site


def site_root(folder: str | None) -> "Path":
    """The folder named, or the nearest one upward that holds site.yaml."""
    from pathlib import Path

    if folder:
        root = Path(folder)
        if root.is_file():
            raise Failure(f"`{folder}` is a file; name the folder that holds site.yaml")
        if not root.is_dir():
            raise Failure(f"there is no folder `{folder}`")
        if not (root / "site.yaml").is_file():
            raise Failure(
                f"`{folder}` holds no site.yaml; name the site's folder, "
                f"or start one with `tunnelbook init {folder}`"
            )
        return root
    from ledger.files.names import site_above

    try:
        here = Path.cwd()
    except FileNotFoundError:
        raise Failure("the folder you are in no longer exists; change to one that does") from None
    found = site_above(str(here))
    if found is not None:
        return Path(found)
    raise Failure(
        "no site.yaml here or in a folder above; name the site's folder with --site DIR, "
        "or start one with `tunnelbook init DIR`"
    )


def today(loaded: "LoadedSite", clock: Clock) -> date:
    """The day on the site's clock; on this machine's where the site's zone is not known."""
    zone = loaded.ledger.site.zone if loaded.ledger else None
    return clock(zone).date()


@contextmanager
def progress_bar() -> Iterator[Callable[[int, int], None]]:
    """What shows how much of long work is done, on standard error where a terminal watches."""
    terminal, last_shown = sys.__stderr__, ""

    def show(done: int, total: int) -> None:
        nonlocal last_shown
        if total < _LONG_WORK or terminal is None or not terminal.isatty():
            return
        now = f"{100 * done // total:3} % of {total:,} files"
        if now != last_shown:
            terminal.write(f"\r{now}")
            terminal.flush()
            last_shown = now

    try:
        yield show
    finally:
        if last_shown and terminal is not None:
            terminal.write(f"\r{' ' * len(last_shown)}\r")
            terminal.flush()


_LONG_WORK = 500


@contextmanager
def tree_of(site: OpenSite) -> "Iterator[FileTree]":
    """The files that a site was read from: those of its folder, or of a commit."""
    from ledger.files.tree import DiskTree
    from ledger.history.objects import GitTree
    from ledger.history.repository import open_repository

    if site.commit is None:
        yield DiskTree(site.root)
    else:
        with GitTree(open_repository(site.root), site.commit) as tree:
            yield tree


def faults_with(
    site: OpenSite, path: str, text: str, beside: Iterable[str] = ()
) -> "list[Diagnostic]":
    """What a check of the whole site finds about a new file in it; nothing is written.

    `beside` are paths of other files that would come with it, and are not read.
    """
    from ledger.files.tree import WithNewFiles
    from ledger.site.pipeline import check, load

    with tree_of(site) as tree:
        loaded = load(WithNewFiles(tree=tree, new={**dict.fromkeys(beside, ""), path: text}))
    return [found for found in check(loaded, site.as_of) if found.position.path == path]


def print_faults(found: "Iterable[Diagnostic]") -> None:
    """What is wrong with files, on standard error."""
    from ledger.cli import diagnostics_forms

    sys.stderr.write(diagnostics_forms.render(list(found), "text"))


def renew_editor_schemas(root: "Path", ledger: "Ledger") -> None:
    """Write the site's own names for an editor that differ, in a site that keeps schemas.

    No command fails for them.
    """
    folder = root / SCHEMAS
    if not folder.is_dir() or not folder.resolve().is_relative_to(root.resolve()):
        return
    from ledger.files.save import replace_file
    from ledger.site.editor_schemas import editor_schemas

    try:
        for path, text in editor_schemas(ledger).items():
            place, raw = root / path, text.encode()
            if not place.is_file() or place.read_bytes() != raw:
                replace_file(place, raw)
    except OSError as error:
        sys.stderr.write(f"the names for the editor were not updated: {fault_text(error)}\n")
