"""What every command shares: finding the site, the day, loading with progress, failing clearly.

How this very program was installed, and the line that adds a library it lacks.

Commands that can look at the site as it stood at a commit or on a day.

What the machine can tell of its user: the name and address git signs with, and the time zone.
"""

import argparse
import os
import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, Self

from ledger.cli.clock import Clock

if TYPE_CHECKING:
    from ledger.book.blocks import Page
    from ledger.model.ledger import Ledger
    from ledger.model.machines import Machine
    from ledger.model.site import Site
    from ledger.site.pipeline import Loaded


_FEW_WORDS = 8


class CommandModule(Protocol):
    """A module of ledger.cli.commands."""

    DESCRIPTION: str
    EXAMPLES: str

    def add_arguments(self, parser: argparse.ArgumentParser) -> None: ...

    def run(self, parsed: argparse.Namespace) -> int: ...


class Failure(Exception):  # noqa: N818 - it ends a command, it is not a fault of the program
    """The command cannot go on; the text says why and what to do. Exit status 2."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenSite:
    """A site folder that was loaded, the day it is looked at, and what was known on it."""

    root: Path
    loaded: "Loaded"
    as_of: date
    known: "Ledger | None"

    @property
    def ledger(self) -> "Ledger":
        """What was known on the day, of a site without errors; Failure where there are some."""
        if self.known is None or self.loaded.has_errors:
            from ledger.book.words import count_faults  # noqa: PLC0415 - only where some are

            errors = (one for one in self.loaded.diagnostics if one.is_error)
            raise Failure(
                f"{count_faults(errors, 'error')} in the files of {self.root}; "
                f"see them with `tunnelbook check {self.root}`"
            )
        return self.known


@dataclass(frozen=True, slots=True, kw_only=True)
class NextTime:
    """What a build would print if it ran again at once, and the book it would find."""

    output: str
    files: Mapping[str, str]


def add_site_position(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "site",
        nargs="?",
        metavar="SITE",
        help="folder that holds site.yaml; by default this folder or one above it",
    )


def add_site_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--site",
        metavar="DIR",
        help="folder that holds site.yaml; by default this folder or one above it",
    )


def add_as_of(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--as-of",
        metavar="DATE",
        type=_day,
        help="the day to look from, such as 2026-11-25; by default today at the site; what was "
        "filed, corrected or approved after it counts for nothing",
    )


def add_json(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="print JSON instead of text")


def add_machine_choice(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "machine", nargs="?", metavar="MACHINE", help="file name in equipment/; default: all"
    )


def print_json(value: object) -> None:
    """JSON for another program; signs that the output's encoding may lack stand as escapes."""
    from ledger.book.escape import json_text  # noqa: PLC0415 - most commands print no JSON

    is_utf8 = (sys.stdout.encoding or "").lower().replace("-", "") == "utf8"
    print(json_text(value, ascii_only=not is_utf8), end="")


def open_site(folder: str | None, as_of: date | None, clock: Clock) -> OpenSite:
    """Load the site in a folder; a bar shows progress where a terminal watches."""
    from ledger.files.tree import DiskTree  # noqa: PLC0415
    from ledger.model.ledger import known_on  # noqa: PLC0415 - help and typing errors need none
    from ledger.site.pipeline import load  # noqa: PLC0415

    root = site_root(folder)
    with Progress() as progress:
        loaded = load(DiskTree(root), progress.show)
    day = as_of or today(loaded, clock)
    known = None if loaded.ledger is None else known_on(loaded.ledger, day)
    return OpenSite(root=root, loaded=loaded, as_of=day, known=known)


def site_root(folder: str | None) -> Path:
    """The folder named, or the nearest one upward that holds site.yaml."""
    if folder is not None:
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
    from ledger.files.names import site_above  # noqa: PLC0415

    try:
        here = Path.cwd()
    except FileNotFoundError:
        raise Failure("the folder you are in is gone; go to one that is there") from None
    found = site_above(str(here))
    if found is not None:
        return Path(found)
    raise Failure(
        "no site.yaml here or in a folder above; name the site's folder, "
        "or start one with `tunnelbook init DIR`"
    )


def today(loaded: "Loaded", clock: Clock) -> date:
    """The day on the site's clock; on this machine's where the site's zone is not known."""
    zone = loaded.ledger.site.zone if loaded.ledger else None
    return clock(zone).date()


def known(word: str, words: Iterable[str], what: str) -> str:
    """The word, if it is one of those known; else Failure with the nearest and, if few, all."""
    all_words = list(words)
    if word in all_words:
        return word
    import difflib  # noqa: PLC0415 - only after a slip

    near = difflib.get_close_matches(word, all_words, n=1)
    hints = [f"did you mean `{near[0]}`?"] if near else []
    if not near or len(all_words) <= _FEW_WORDS:
        hints.append(f"known are {', '.join(all_words)}")
    raise Failure(f"there is no {what} `{word}`; {' '.join(hints)}")


def fault_text(error: OSError) -> str:
    """What the system refused, and of which file, in the words of `main`."""
    where = f"{error.filename}: " if error.filename else ""
    return f"{where}{error.strerror or error}"


class Progress:
    """A bar on standard error for long work, only where a terminal watches."""

    _MANY = 500

    def __init__(self) -> None:
        self._bar: object | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.close()  # type: ignore[attr-defined]

    def show(self, done: int, total: int) -> None:
        if total < self._MANY or sys.__stderr__ is None or not sys.__stderr__.isatty():
            return
        if self._bar is None:
            from tqdm import tqdm  # noqa: PLC0415 - only a watched terminal pays for it

            self._bar = tqdm(total=total, unit="file", leave=False, file=sys.__stderr__)
        self._bar.n = done  # type: ignore[attr-defined]
        self._bar.refresh() if done == total else self._bar.update(0)  # type: ignore[attr-defined]


def _day(text: str) -> date:
    from ledger.files.schemas import is_date  # noqa: PLC0415 - only where a day is given

    if not is_date(text):
        raise argparse.ArgumentTypeError(f"`{text}` is no day; write it like 2026-11-25")
    return date.fromisoformat(text)


@dataclass(frozen=True, slots=True, kw_only=True)
class Installation:
    """What the installer left beside the program; None and empty for a program not installed.

    `prefix` is the environment's folder, `requires` the requirements as the program states them.
    """

    python: str
    prefix: Path
    version: str | None
    direct_url: str | None
    installer: str
    requires: tuple[str, ...]


def this_installation() -> Installation:
    """The installation that runs."""
    from importlib.metadata import PackageNotFoundError, distribution  # noqa: PLC0415

    python, prefix = sys.executable, Path(sys.prefix)
    try:
        found = distribution("tunnelbook")
    except PackageNotFoundError:
        return Installation(
            python=python, prefix=prefix, version=None, direct_url=None, installer="", requires=()
        )
    return Installation(
        python=python,
        prefix=prefix,
        version=found.version,
        direct_url=found.read_text("direct_url.json"),
        installer=(found.read_text("INSTALLER") or "").strip(),
        requires=tuple(found.requires or ()),
    )


def require(library: str, extra: str) -> None:
    """Failure, with the line that installs it, where a library of an extra is missing."""
    from importlib.util import find_spec  # noqa: PLC0415

    if find_spec(library) is None:
        line = install_line(library, this_installation())
        raise Failure(f"{extra} needs {library}; install it with: {line}")


def install_line(library: str, installed: Installation) -> str:
    """The line that adds a library to the program's own environment, by what made that.

    The library itself is named, never this program: its bare name may be anybody's on an index.
    """
    import shlex  # noqa: PLC0415 - only where a library is missing

    stated = (line.partition(";")[0].strip() for line in installed.requires)
    wanted = next((one for one in stated if one.startswith(library)), library)
    if (installed.prefix / "pipx_metadata.json").is_file():
        return f"pipx inject tunnelbook {shlex.quote(wanted)}"
    pip = f"{shlex.quote(installed.python)} -m pip install"
    if installed.installer == "uv":
        pip = f"uv pip install --python {shlex.quote(installed.python)}"
    return f"{pip} {shlex.quote(wanted)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """A ledger, and as of what: the words are empty for the files as they are now.

    `day` is None for a revision, which has no day of its own.
    """

    ledger: "Ledger"
    words: str
    commit: str | None
    day: date | None

    def dated(self, page: "Page", machines: "Iterable[Machine]") -> "Page":
        """The page with as of what it stands, and which newest settings had not begun by then."""
        from ledger.book.blocks import Paragraph  # noqa: PLC0415
        from ledger.upkeep.register.words import format_not_begun  # noqa: PLC0415

        day = self.day
        told = [] if day is None else [format_not_begun(self.ledger, one, day) for one in machines]
        later = [Paragraph(said) for said in told if said]
        return replace(page, as_of=self.words, blocks=[*later, *page.blocks])


def add_as_of_revision(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--as-of",
        metavar="REV|DATE",
        help="as it stood at a tag, branch or commit, or at the end of a day, read from git",
    )


def open_standing(folder: str | None, as_of: str | None, clock: Clock) -> Standing:
    """The site's ledger now, from its files, or as of a revision or day, from git's commits."""
    if as_of is None:
        ledger = open_site(folder, None, clock).ledger
        return Standing(ledger=ledger, words="", commit=None, day=None)
    from ledger.history.git import GitProblem  # noqa: PLC0415
    from ledger.history.repository import day_named, open_repository  # noqa: PLC0415
    from ledger.proof.sites import ledger_as_of  # noqa: PLC0415

    try:
        repository = open_repository(site_root(folder))
        ledger, commit = ledger_as_of(repository, as_of)
        day = day_named(repository, as_of)
    except GitProblem as problem:
        raise Failure(str(problem)) from problem
    said = f"As of {as_of}: commit {commit[:12]}."
    return Standing(ledger=ledger, words=said, commit=commit, day=day)


_ZONE_FOLDER = "zoneinfo/"


@dataclass(frozen=True, slots=True, kw_only=True)
class GitUser:
    """As commits would be signed; empty where git does not know."""

    name: str
    email: str


def git_user(folder: Path) -> GitUser:
    """The name and address that git would sign a commit with in a folder; empty without git.

    Reading configuration runs nothing. The user's own configuration counts here, which the other
    commands keep off.
    """
    from ledger.history.git import (  # noqa: PLC0415
        GitProblem,
        git_in,
    )

    try:
        git = git_in(folder)
    except GitProblem:
        return GitUser(name="", email="")
    own = {
        name: value for name, value in git.environment.items() if not name.startswith("GIT_CONFIG")
    }
    own |= {name: value for name, value in os.environ.items() if name.startswith("GIT_CONFIG")}
    asked = replace(git, environment=own)

    def said(key: str) -> str:
        return (asked.attempt("config", "--get", key) or b"").decode("utf-8", "replace").strip()

    return GitUser(name=said("user.name"), email=said("user.email"))


def person_of(site: "Site", user: GitUser) -> str:
    """The id of the person of a site whom git knows, by address and else by name; or nothing.

    Nothing also where several have the address and none of them the name.
    """
    name = user.name.casefold()
    people = list(site.people.values())
    by_address = [person for person in people if person.has_address(user.email)]
    by_name = [p for p in by_address or people if name in {p.name.casefold(), p.ident}]
    found = by_address if len(by_address) == 1 else by_name
    return found[0].ident if found else ""


def machine_zone() -> str:
    """The time zone of this machine by its IANA name; Etc/UTC where it does not say."""
    from zoneinfo import available_timezones  # noqa: PLC0415

    link = str(Path("/etc/localtime").resolve())
    for name in (os.environ.get("TZ", "").removeprefix(":"), link.rpartition(_ZONE_FOLDER)[2]):
        if name in available_timezones():
            return name
    return "Etc/UTC"
