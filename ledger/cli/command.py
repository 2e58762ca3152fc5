"""What every command shares: finding the site, the day, loading with progress, failing clearly."""

import argparse
import difflib
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, Self

from ledger.cli.clock import Clock

if TYPE_CHECKING:
    from ledger.model.ledger import Ledger
    from ledger.pipeline import Loaded


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
            from ledger.report.plain import count_faults  # noqa: PLC0415 - only where some are

            errors = (one for one in self.loaded.diagnostics if one.is_error)
            raise Failure(
                f"{count_faults(errors, 'error')} in the files of {self.root}; "
                f"see them with `tunnelbook check {self.root}`"
            )
        return self.known


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
    from ledger.write.escape import json_text  # noqa: PLC0415 - most commands print no JSON

    is_utf8 = (sys.stdout.encoding or "").lower().replace("-", "") == "utf8"
    print(json_text(value, ascii_only=not is_utf8), end="")


def open_site(folder: str | None, as_of: date | None, clock: Clock) -> OpenSite:
    """Load the site in a folder; a bar shows progress where a terminal watches."""
    from ledger.model.known import known_on  # noqa: PLC0415 - help and typing errors need none
    from ledger.pipeline import load  # noqa: PLC0415
    from ledger.source.tree import DiskTree  # noqa: PLC0415

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
    try:
        here = Path.cwd()
    except FileNotFoundError:
        raise Failure("the folder you are in is gone; go to one that is there") from None
    for candidate in (here, *here.parents):
        if (candidate / "site.yaml").is_file():
            return candidate
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
        if total < self._MANY or not sys.stderr.isatty():
            return
        if self._bar is None:
            from tqdm import tqdm  # noqa: PLC0415 - only a watched terminal pays for it

            self._bar = tqdm(total=total, unit="file", leave=False, file=sys.stderr)
        self._bar.n = done  # type: ignore[attr-defined]
        self._bar.refresh() if done == total else self._bar.update(0)  # type: ignore[attr-defined]


def _day(text: str) -> date:
    from ledger.schema.formats import is_date  # noqa: PLC0415 - only where a day is given

    if not is_date(text):
        raise argparse.ArgumentTypeError(f"`{text}` is no day; write it like 2026-11-25")
    return date.fromisoformat(text)
