"""A command asked again while nothing has changed: its answer as it was, before any real work.

The same command line in the same surroundings asks the same question. Its answer holds as long as
no file of the site has changed, nor of the book for `build`, nor the day at the site. A run
without the store prints the same bytes.

This runs before anything else of a command; so it imports next to nothing.
"""

import os
import sys
from datetime import UTC

from ledger.cli.calls import SITE_VARIABLE
from ledger.cli.clock import Clock
from ledger.files.names import BOOK, repository_above, site_above
from ledger.files.store import Answer, moment_of, read_answer, store_path, write_answer
from ledger.files.survey import Survey, UnfitError, content_hash, file_hash, survey, survey_of_files

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import TextIO, TypeAlias

    Sight: TypeAlias = tuple[str, Survey, int | None]
    """A site, its files as they were seen, and the moment of the store just after that."""

_NO_STORE_VARIABLE = "TUNNELBOOK_NO_STORE"

# Read by the program, and so part of the question.
_VARIABLES = ("COLUMNS", "NO_COLOR", "TZ", "PYTHONTZPATH", SITE_VARIABLE)
_ZONES = "/usr/share/zoneinfo"


def kept_answer(words: list[str], clock: Clock) -> "tuple[Answer | None, Sight | None]":
    """The answer to a command line, if one is kept and holds; else what was seen of the site."""
    path = allowed_store()
    if path is None or not os.path.exists(path):
        return None, None
    try:
        question = question_of(words)
        answer = read_answer(path, question)
        if answer is None or site_named(answer.named) != answer.site:
            return None, None
        files = survey_of_files(answer.site)
        if not _holds(answer, state_of(answer.site, files), clock):
            return None, sight_of(path, answer.site, files)
        if answer.young:
            return _settled(path, question, answer), None
    except (OSError, UnfitError, ValueError):
        return None, None
    return answer, None


def sight_of(store: str, site: str, files: Survey | None = None) -> "Sight":
    """How a site looks now; of its files what was seen already."""
    return site, files or survey_of_files(site), moment_of(store)


def allowed_store() -> str | None:
    """The store's path, where the user has nothing against it."""
    return None if os.environ.get(_NO_STORE_VARIABLE) else store_path()


def site_named(named: str) -> str | None:
    folder = named or site_above(os.getcwd())
    return None if folder is None else os.path.realpath(folder)


def question_of(words: list[str]) -> str:
    """Everything but the files and the day that an answer depends on, as one hash."""
    facts = (
        words,
        os.getcwd(),
        [os.environ.get(name) for name in _VARIABLES],
        [_look_of(stream) for stream in (sys.stdout, sys.stderr)],
        program_now(),
    )
    return content_hash(repr(facts).encode())


def program_now() -> str:
    """The Python, its libraries and this program, as one hash."""
    # A library that is installed or removed changes the time of the folder it lies in.
    places = [place for place in (*sys.path, _ZONES) if place and place != os.getcwd()]
    facts = (
        sys.version,
        [(place, os.stat(place).st_mtime_ns) for place in places if os.path.exists(place)],
        survey_of_program().digest,
        os.environ.get("PYTHONTZPATH"),
    )
    return content_hash(repr(facts).encode())


def _look_of(stream: "TextIO") -> tuple[object, ...]:
    """What a text may be fitted to: a terminal, its width, the encoding."""
    if not stream.isatty():
        return (stream.encoding,)
    return (stream.encoding, os.get_terminal_size(stream.fileno()).columns)


def survey_of_program() -> Survey:
    """The files of this program as they were when first asked for."""
    if not _seen_of_program:
        package = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
        # In a checkout the schemas lie beside the package, in an installation inside it.
        beside = (os.path.basename(package), "schemas")
        folder = os.path.dirname(package)
        found = survey(folder, beside, lambda path: path.endswith("__pycache__"))
        _seen_of_program.append(found)
    return _seen_of_program[0]


_seen_of_program: list[Survey] = []


def state_of(site: str, files: Survey) -> str:
    """The files of a site and the top of its repository, from which `check` writes their paths."""
    return f"{files.digest} {repository_above(site) or ''}"


def survey_of_book(site: str) -> Survey:
    return survey(site, (BOOK,), lambda _: False)


def _holds(answer: Answer, files: str, clock: Clock) -> bool:
    """Whether an answer was given for the moment, the files and the book as they are."""
    return (
        answer.begins <= clock(UTC).timestamp() < answer.ends
        and files == answer.files
        and (not answer.book or survey_of_book(answer.site).digest == answer.book)
    )


def _settled(path: str, question: str, answer: Answer) -> Answer | None:
    """The answer, once the content of its young files is seen to be the same.

    Those that have grown old by then are known by their times from now on.
    """
    moment = moment_of(path)
    if any(file_hash(f"{answer.site}/{name}") != kept for name, kept in answer.young.items()):
        return None
    if moment is not None:
        young = {*survey_of_files(answer.site).young(moment)}
        if answer.book:
            young |= {*survey_of_book(answer.site).young(moment)}
        if young.isdisjoint(answer.young):
            answer.young = {}
            write_answer(path, question, answer)
    return answer
