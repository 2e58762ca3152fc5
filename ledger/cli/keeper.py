"""Watches a command do its work, and keeps its answer for the next time it is asked."""

import argparse
import sys
from collections.abc import Callable, Mapping
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import TextIO, cast

from ledger.cli.clock import Clock
from ledger.cli.command import NextTime
from ledger.cli.kept import (
    allowed_store,
    question_of,
    site_named,
    survey_of_book,
    survey_of_files,
    survey_of_program,
)
from ledger.files.names import BOOK
from ledger.files.store import Answer, moment_of, write_answer
from ledger.files.survey import Survey, UnfitError, content_hash, file_hash

Run = Callable[[argparse.Namespace], int]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Before:
    """The site before a command reads it, and the moment when it was looked at."""

    store: str
    moment_ns: int
    site: str
    files: Survey
    book: Survey
    young: Mapping[str, str]


class Keeper:
    """Runs a command and keeps what it prints, where that will hold."""

    def __init__(self, words: list[str]) -> None:
        self._words = words

    def run(self, parsed: argparse.Namespace, run: Run) -> int:
        """The command's exit status; nothing about the store changes how a command ends."""
        before = self._before(parsed)
        if before is None:
            return run(parsed)
        out, complaints = _Tee(sys.stdout), _Tee(sys.stderr)
        parsed.clock = clock = _DayOf(parsed.clock)
        with redirect_stdout(cast("TextIO", out)), redirect_stderr(cast("TextIO", complaints)):
            status = run(parsed)
        if not complaints.text() and clock.is_plain:
            self._keep(before, parsed, clock, status, out.text())
        return status

    def _before(self, parsed: argparse.Namespace) -> _Before | None:
        """The state that the answer will hold for; None where none is to be kept."""
        store = allowed_store()
        # A revision is read from git, and the store knows nothing of that.
        if store is None or (self._words[0] == "show" and parsed.as_of is not None):
            return None
        try:
            site = site_named(parsed.site or "")
            moment = moment_of(store)
            if site is None or moment is None or survey_of_program().young(moment):
                return None
            files = survey_of_files(site)
            return _Before(
                store=store,
                moment_ns=moment,
                site=site,
                files=files,
                book=survey_of_book(site),
                young={name: file_hash(f"{site}/{name}") for name in files.young(moment)},
            )
        except (OSError, UnfitError, ValueError):
            return None

    def _keep(
        self,
        before: _Before,
        parsed: argparse.Namespace,
        clock: "_DayOf",
        status: int,
        output: str,
    ) -> None:
        young = dict(before.young)
        book = ""
        next_time: NextTime | None = getattr(parsed, "next_time", None)
        try:
            if next_time is not None:
                output = next_time.output
                book = _book_as_wanted(before, next_time.files, young)
            answer = Answer(
                site=before.site,
                named=parsed.site or "",
                begins=clock.begins,
                ends=clock.ends,
                files=before.files.digest,
                book=book,
                young=young,
                status=status,
                output=output,
            )
            write_answer(before.store, question_of(self._words), answer)
        except (OSError, UnfitError, ValueError):
            return


def _book_as_wanted(before: _Before, wanted: Mapping[str, str], young: dict[str, str]) -> str:
    """The digest of the book on disk, once that is seen to be the wanted one; adds young pages.

    Raises:
        UnfitError: somebody else had a hand in it meanwhile.
    """
    book = survey_of_book(before.site)
    contents = {f"{BOOK}/{path}": content_hash(text.encode()) for path, text in wanted.items()}
    new = {path for path, _ in book.rows() - before.book.rows()}
    if not new <= contents.keys():
        raise UnfitError(BOOK)
    for path, content in contents.items():
        if file_hash(f"{before.site}/{path}") != content:
            raise UnfitError(path)
    for path in book.young(before.moment_ns):
        young[path] = contents.get(path) or file_hash(f"{before.site}/{path}")
    return book.digest


class _DayOf:
    """The clock, remembering how long the day that it gave lasts."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self.begins = float("-inf")
        self.ends = float("inf")
        self.is_plain = True

    def __call__(self, zone: tzinfo | None) -> datetime:
        now = self._clock(zone)
        begins = datetime(now.year, now.month, now.day, tzinfo=zone)
        ends = begins + timedelta(days=1)
        self.begins = max(self.begins, begins.timestamp())
        self.ends = min(self.ends, ends.timestamp())
        # On a day when the clocks are changed an hour may come twice.
        if zone is None or begins.utcoffset() != ends.utcoffset():
            self.is_plain = False
        return now


class _Tee:
    """A stream that also remembers what was written to it."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._parts: list[str] = []

    def write(self, text: str) -> int:
        self._parts.append(text)
        return self._stream.write(text)

    def text(self) -> str:
        return "".join(self._parts)

    def __getattr__(self, name: str) -> object:
        return getattr(self._stream, name)
