"""Watches a command do its work, and keeps its answer for the next time it is asked."""

import json
import os
import sys
from argparse import Namespace
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import redirect_stderr, redirect_stdout
from datetime import date, datetime, timedelta, tzinfo
from functools import cached_property
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO, cast

from ledger.cli import kept
from ledger.cli.clock import Clock
from ledger.cli.command import NextTime
from ledger.files.book_files import File, hash_of
from ledger.files.names import BOOK, PART_ENDING, PHOTOS
from ledger.files.store import Answer, Rows, add_made, write_answer, write_parts
from ledger.files.survey import Survey, UnfitError, content_hash, file_hash, rows_of
from ledger.files.tree import DiskTree, FileTree
from ledger.values import dataclass

if TYPE_CHECKING:
    from ledger.site.excerpt import LedgerExcerpt
    from ledger.site.kept_ledger import KeptLedger
    from ledger.site.parts import Store

Run = Callable[[Namespace], int]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Before:
    """The site before a command reads it, and the moment when it was looked at."""

    store: str
    moment_ns: int
    site: str
    files: Survey
    book: Survey | None
    young: Mapping[str, str]


class Keeper:
    """Runs a command and keeps what it prints, where that will hold."""

    def __init__(self, words: list[str], sight: "kept.Sight | None" = None) -> None:
        self._words = words
        self._sight = sight

    def run(self, parsed: Namespace, run: Run) -> int:
        """The command's exit status; nothing about the store changes how a command ends."""
        before = self._before(parsed)
        if before is None:
            return run(parsed)
        out, complaints = _Tee(sys.stdout), _Tee(sys.stderr)
        parsed.clock = clock = _DayOf(parsed.clock)
        parsed.record = KeptRecord(before)
        with redirect_stdout(cast("TextIO", out)), redirect_stderr(cast("TextIO", complaints)):
            status = run(parsed)
        if not complaints.text() and clock.is_plain:
            self._keep(before, parsed, status, out.text())
        parsed.record.keep_made()
        return status

    def _before(self, parsed: Namespace) -> _Before | None:
        """The state that the answer will hold for; None where none is to be kept."""
        store = kept.allowed_store()
        # A commit is read from git, and the store knows nothing of that.
        if store is None or parsed.at_commit is not None:
            return None
        return _look(store, parsed.site, self._sight, with_book=self._words[0] == "build")

    def _keep(self, before: _Before, parsed: Namespace, status: int, output: str) -> None:
        clock: _DayOf = parsed.clock
        young = dict(before.young)
        book = ""
        next_time: NextTime | None = parsed.next_time
        try:
            if next_time is not None:
                output = next_time.output
                book = _book_as_wanted(before, parsed.record, next_time.files, young)
            answer = Answer(
                site=before.site,
                named=parsed.site or "",
                begins=clock.begins,
                ends=clock.ends,
                files=kept.state_of(before.site, before.files),
                book=book,
                young=young,
                status=status,
                output=output,
            )
            if parsed.answer.is_kept:
                write_answer(before.store, kept.question_of(self._words), answer)
            parsed.record.keep()
        except (OSError, UnfitError, ValueError):
            return


def _look(
    store: str, folder: str | None, sight: "kept.Sight | None" = None, *, with_book: bool = False
) -> _Before | None:
    """The site in a folder as it is now; None where the store cannot vouch for it."""
    try:
        site = kept.site_named(folder or "")
        if site is None:
            return None
        if sight is None or sight[0] != site:
            sight = kept.sight_of(store, site)
        _, files, moment = sight
        if moment is None or kept.survey_of_program().young(moment):
            return None
        return _Before(
            store=store,
            moment_ns=moment,
            site=site,
            files=files,
            book=kept.survey_of_book(site) if with_book else None,
            young={name: file_hash(f"{site}/{name}") for name in files.young(moment)},
        )
    except (OSError, UnfitError, ValueError):
        return None


def kept_record(folder: str | None) -> "KeptRecord | None":
    """What the store keeps of a site's record, for a command whose answer is not kept."""
    store = kept.allowed_store()
    if store is None or not Path(store).exists():
        return None
    before = _look(store, folder)
    return None if before is None else KeptRecord(before)


_BASE = "base"
_BOOK_FILES = "book files"
_MOST_ADDED = 200


class KeptRecord:
    """The excerpt of a site's record that the store keeps, for as long as visits only come."""

    def __init__(self, before: _Before) -> None:
        self._before = before
        self._make: Callable[[], Iterable[tuple[str, str]]] | None = None
        self._beside: dict[str, Callable[[], str]] = {}
        self._is_new = False
        self._made: Store | None = None

    def excerpt(self, day: Callable[[tzinfo], date]) -> "LedgerExcerpt | None":
        """The ledger of what is kept and the visits filed since; None where that does not do."""
        from ledger.site.excerpt import ledger_of

        added = self._added
        return None if added is None else ledger_of(self._read, self._tree, added, day)

    def ledger(self, day: Callable[[tzinfo], date]) -> "KeptLedger | None":
        """The same of all that is kept."""
        from ledger.site.kept_ledger import kept_ledger

        added = self._added
        if added is None:
            return None
        ledger = kept_ledger(self._read, self._tree, added, day)
        if ledger is not None:
            self.make(ledger.texts, is_new=False)
        return ledger

    def make(self, texts: Callable[[], Iterable[tuple[str, str]]], *, is_new: bool) -> None:
        """Give what is to be kept of the record; where it is not new, only if more is."""
        self._make, self._is_new = texts, is_new

    def make_beside(self, name: str, text: Callable[[], str]) -> None:
        self._beside[name] = text

    def keep(self) -> None:
        """Keep what the command can make, if any, with the files that it holds for."""
        make = self._make
        if make is not None and (self._is_new or self._beside):
            beside = ((name, text()) for name, text in self._beside.items())
            texts = self._parts(chain(make(), beside))
            write_parts(self._before.store, self._before.site, texts)

    def _parts(self, texts: Iterable[tuple[str, str]]) -> Iterator[tuple[str, bytes]]:
        """What is to be kept, and last of all what vouches for it."""
        folders = self._before.files.folders
        surveyed = (
            (f"folder {prefix}", json.dumps([names, packed.hex()]))
            for prefix, names, packed, _ in folders
        )
        hashes: dict[str, str] = {}
        for name, text in chain(surveyed, texts):
            body = text.encode()
            hashes[name] = content_hash(body)
            yield name, body
        base = {
            "program": kept.program_now(),
            "young": dict(self._before.young),
            "folders": {prefix: digest.hex() for prefix, _, _, digest in folders},
            "hashes": hashes,
        }
        yield _BASE, json.dumps(base).encode()

    def made(self) -> "Store":
        """What was worked out of single machines last time, and room for what is worked out now."""
        from ledger.site.parts import Store

        if self._made is None:
            rules = os.environ.get("PYTHONTZPATH", "")
            before = Rows(self._before.store, "made", self._before.site)
            self._made = Store(program=f"{kept.program_now()} {rules}", kept=before, new={})
        return self._made

    @cached_property
    def hashes(self) -> Mapping[str, str]:
        """Of the files of the book that nobody has touched since they were read last."""
        text = self.made().kept.get(_BOOK_FILES)
        if text is None or self._before.book is None:
            return {}
        rows = self._before.book.rows()
        return {
            path.removeprefix(f"{BOOK}/"): found
            for path, (row, found) in json.loads(text).items()
            if rows.get(path) == row
        }

    @property
    def shows_leftovers(self) -> bool:
        """Whether the site or its book holds what a writer that was killed may have left."""
        surveys = (self._before.files, self._before.book)
        folders = (folder for one in surveys if one is not None for folder in one.folders)
        return any(PART_ENDING in "/".join((prefix, *names)) for prefix, names, _, _ in folders)

    def keep_made(self) -> None:
        """Keep what was worked out; each piece of it names what it is made of."""
        if self._made is not None:
            add_made(self._before.store, self._before.site, self._made.new)

    @property
    def _tree(self) -> FileTree:
        return DiskTree(Path(self._before.site))

    @cached_property
    def _added(self) -> list[str] | None:
        """The visits added since, and all pictures.

        None where they are many or anything else is not as it was.
        """
        base = self._base
        if base is None or base["program"] != kept.program_now():
            return None
        site, folders = self._before.site, self._before.files.folders
        if not base["folders"].keys() <= {folder[0] for folder in folders}:
            return None
        try:
            if any(file_hash(f"{site}/{name}") != was for name, was in base["young"].items()):
                return None
        except OSError:  # taken away since
            return None
        added: list[str] = []
        pictures: list[str] = []
        for prefix, names, packed, digest in folders:
            if prefix.startswith(f"{PHOTOS}/"):
                pictures += [prefix + name for name in names]
            if base["folders"].get(prefix) == digest.hex():
                continue
            rows = rows_of(names, packed)
            was = self._read(f"folder {prefix}") if prefix in base["folders"] else '[[], ""]'
            if was is None or not prefix.startswith(("observations/", f"{PHOTOS}/")):
                return None
            names_before, rows_before = json.loads(was)
            before = rows_of(names_before, bytes.fromhex(rows_before))
            if not before.items() <= rows.items():
                return None
            added.extend(prefix + name for name in rows.keys() - before.keys())
        return sorted({*added, *pictures}) if len(added) <= _MOST_ADDED else None

    @cached_property
    def _rows(self) -> Rows:
        return Rows(self._before.store, "part", self._before.site)

    @cached_property
    def _base(self) -> Any:
        body = self._rows.get(_BASE)
        return None if body is None else json.loads(body)

    def _read(self, name: str) -> str | None:
        """A part as it was when the base was kept; another process may have kept it anew since."""
        body = self._rows.get(name)
        if body is None or content_hash(body) != self._base["hashes"].get(name):
            return None
        text: str = body.decode()
        return text


def _book_as_wanted(
    before: _Before, record: "KeptRecord", wanted: Mapping[str, File], young: dict[str, str]
) -> str:
    """The digest of the book on disk, once that is seen to be the wanted one; adds young pages.

    Raises:
        UnfitError: somebody else had a hand in it meanwhile.
    """
    book = kept.survey_of_book(before.site)
    contents = {f"{BOOK}/{path}": hash_of(file) for path, file in wanted.items()}
    rows = book.rows()
    was_there = {} if before.book is None else before.book.rows()
    if any(was_there.get(path) != row and path not in contents for path, row in rows.items()):
        raise UnfitError(BOOK)
    for path, content in contents.items():
        known = record.hashes.get(path.removeprefix(f"{BOOK}/"))
        if known is None or was_there.get(path) != rows.get(path):
            known = file_hash(f"{before.site}/{path}")
        if known != content:
            raise UnfitError(path)
    for path in book.young(before.moment_ns):
        young[path] = contents.get(path) or file_hash(f"{before.site}/{path}")
    seen = {path: (rows[path], found) for path, found in contents.items() if path not in young}
    record.made().new[_BOOK_FILES] = json.dumps(seen)
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
