"""Answers kept from one run to the next, in one SQLite file that may be deleted at any time.

It lies in the user's cache folder, so that no clone, archive or branch brings one along, and
holds text and numbers only. Whatever is wrong with it - missing, damaged, locked, read-only, of
another user or another format - is as if it held nothing: reading gives None and writing nothing.

This module is read before anything else of a command is; so it imports next to nothing, and its
values are no dataclasses.
"""

import os
import sqlite3
import stat
from collections.abc import Iterable, Iterator, Mapping

from ledger.files.survey import content_hash

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

_FORMAT = 4
_MOST_ANSWERS = 200
_MOST_PARTS = 5_000
_MOST_MADE = 20_000

_TABLES = {
    "answer": """
  question TEXT PRIMARY KEY, site TEXT, named TEXT, begins REAL, ends REAL, files TEXT, book TEXT,
  young TEXT, status INTEGER, output TEXT, hash TEXT
""",
    "part": "site TEXT, name TEXT, body BLOB, hash TEXT, PRIMARY KEY (site, name)",
    "made": "site TEXT, name TEXT, body TEXT, hash TEXT, PRIMARY KEY (site, name)",
}

# https://www.sqlite.org/rescode.html: the low byte is the primary code.
_PRIMARY_CODE = 0xFF
_DAMAGED = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR)

#: What goes wrong with a file that others may have had their hands in.
_TROUBLE = (sqlite3.Error, OSError, ValueError, OverflowError)


class Answer:
    """What a command printed, and all that this holds for.

    `site` is the real path of the site and `named` how the call named it, "" where it did not.
    It holds from `begins` to `ends`, in seconds since 1970. `files` and `book` are digests of the
    site's files and of its rendered book, "" where the book has no part in it. `young` gives the
    content of files that their times cannot vouch for yet, by path from the site.
    """

    __slots__ = ("begins", "book", "ends", "files", "named", "output", "site", "status", "young")

    def __init__(
        self,
        *,
        site: str,
        named: str,
        begins: float,
        ends: float,
        files: str,
        book: str,
        young: dict[str, str],
        status: int,
        output: str,
    ) -> None:
        self.site = site
        self.named = named
        self.begins = begins
        self.ends = ends
        self.files = files
        self.book = book
        self.young = young
        self.status = status
        self.output = output


def store_path() -> str | None:
    """Where the store is, or None where this machine or user can have none.

    The folder is that of the XDG Base Directory Specification. Windows keeps no time of a file's
    last change of state, without which an edit can hide, so there is no store.
    """
    if os.name != "posix":
        return None
    base = os.environ.get("XDG_CACHE_HOME", "")
    if not os.path.isabs(base):
        base = os.path.expanduser("~/.cache")
    return os.path.join(base, "tunnelbook", "store.sqlite") if os.path.isabs(base) else None


def read_answer(path: str, question: str) -> Answer | None:
    """The answer kept for a question, if it is there and whole."""
    connection = _opened(path)
    if connection is None:
        return None
    try:
        query = "SELECT * FROM answer WHERE question = ?"
        row = connection.execute(query, (question,)).fetchone()
        return None if row is None or row[0] != question else _answer(row)
    except _TROUBLE:
        return None
    finally:
        connection.close()


class Rows(Mapping[str, "Any"]):
    """What is kept of a site in a table, by name; each is read as it is asked for.

    What is not whole, or cannot be read now, is not there.
    """

    def __init__(self, path: str, table: str, site: str) -> None:
        self._path = path
        self._table = table
        self._site = site
        # No process may use the connection of the one that started it:
        # https://www.sqlite.org/howtocorrupt.html, 2.6.
        self._connections: dict[int, sqlite3.Connection | None] = {}

    def __del__(self) -> None:
        own = self._connections.get(os.getpid())
        if own is not None:
            own.close()

    def __getitem__(self, name: str) -> "Any":
        asked = (self._site, name)
        for *row, kept in self._read("*", "site = ? AND name = ?", asked):
            if tuple(row[:2]) == asked and _hash(tuple(row)) == kept:
                return row[2]
        raise KeyError(name)

    def __iter__(self) -> Iterator[str]:
        return (name for (name,) in self._read("name", "site = ?", (self._site,)))

    def __len__(self) -> int:
        return sum(1 for _ in self)

    def _read(self, columns: str, where: str, values: tuple[str, ...]) -> "list[Any]":
        process = os.getpid()
        if process not in self._connections:
            self._connections[process] = _opened(self._path)
        connection = self._connections[process]
        if connection is None:
            return []
        query = f"SELECT {columns} FROM {self._table} WHERE {where}"  # noqa: S608 - our own words
        try:
            return connection.execute(query, values).fetchall()
        except _TROUBLE:
            return []


def write_parts(path: str, site: str, parts: Iterable[tuple[str, bytes]]) -> None:
    """Keep these in place of all that was kept of a site; the oldest of others make room."""
    if not _holds_half_characters((site,)):
        _write(path, _statements_of(site, parts))


def _statements_of(
    site: str, parts: Iterable[tuple[str, bytes]]
) -> Iterator[tuple[str, tuple[object, ...]]]:
    """One part after the other, so that they are never all in memory."""
    yield "DELETE FROM part WHERE site = ?", (site,)
    for part in parts:
        row = (site, *part)
        yield "INSERT INTO part VALUES (?,?,?,?)", (*row, _hash(row))
    yield "DELETE FROM part WHERE rowid <= (SELECT max(rowid) FROM part) - ?", (_MOST_PARTS,)


def add_made(path: str, site: str, made: dict[str, str]) -> None:
    """Keep these beside what else was kept of a site; the oldest make room."""
    if not made or _holds_half_characters((site, *made)):
        return
    rows = [(site, name, body, _hash((site, name, body))) for name, body in made.items()]
    _write(
        path,
        (
            *(("INSERT OR REPLACE INTO made VALUES (?,?,?,?)", row) for row in rows),
            ("DELETE FROM made WHERE rowid <= (SELECT max(rowid) FROM made) - ?", (_MOST_MADE,)),
        ),
    )


def _opened(path: str) -> sqlite3.Connection | None:
    """The store to be read from; None where there is none of this user and format."""
    if not _is_ours(path):
        return None
    try:
        connection = sqlite3.connect(path, timeout=0, isolation_level=None)
    except _TROUBLE:
        return None
    try:
        is_known = connection.execute("PRAGMA user_version").fetchone() == (_FORMAT,)
    except _TROUBLE:
        is_known = False
    if is_known:
        return connection
    connection.close()
    return None


def write_answer(path: str, question: str, answer: Answer) -> None:
    """Keep the answer in place of the one before; old ones make room."""
    young = "\0".join(f"{found} {name}" for name, found in sorted(answer.young.items()))
    row = (
        *(question, answer.site, answer.named, answer.begins, answer.ends, answer.files),
        *(answer.book, young, answer.status, answer.output),
    )
    if _holds_half_characters(row):
        return
    _write(
        path,
        (
            ("INSERT OR REPLACE INTO answer VALUES (?,?,?,?,?,?,?,?,?,?,?)", (*row, _hash(row))),
            (
                "DELETE FROM answer WHERE rowid <= (SELECT max(rowid) FROM answer) - ?",
                (_MOST_ANSWERS,),
            ),
        ),
    )


def moment_of(path: str) -> int | None:
    """The present moment in nanoseconds, as the file system that holds the store counts it.

    Makes the store where there is none; None where it cannot be written.
    """
    try:
        folder = os.path.dirname(path)
        os.makedirs(folder, mode=0o700, exist_ok=True)
        if not os.path.lexists(path):
            os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))
        if not _is_ours(path):
            return None
        os.utime(path)
        return os.stat(path).st_mtime_ns
    except OSError:
        return None


def _write(path: str, statements: Iterable[tuple[str, tuple[object, ...]]]) -> None:
    try:
        connection = sqlite3.connect(path, timeout=0, isolation_level=None)
        try:
            # Nothing is lost with it, so nobody waits for the disk.
            connection.execute("PRAGMA synchronous = OFF")
            connection.execute("BEGIN IMMEDIATE")
            if connection.execute("PRAGMA user_version").fetchone() != (_FORMAT,):
                _make_anew(connection)
            for statement, values in statements:
                connection.execute(statement, values)
            connection.execute("COMMIT")
        finally:
            connection.close()
    except sqlite3.Error as error:
        # Locked, read-only or full: another time. Else it is damaged.
        if error.sqlite_errorcode & _PRIMARY_CODE in _DAMAGED:
            _remove(path)
    except UnicodeDecodeError:
        # Its complaint quotes the damaged bytes.
        _remove(path)
    except OSError:
        return


def _make_anew(connection: sqlite3.Connection) -> None:
    for name, columns in _TABLES.items():
        connection.execute(f"DROP TABLE IF EXISTS {name}")
        connection.execute(f"CREATE TABLE {name} ({columns})")
    connection.execute(f"PRAGMA user_version = {_FORMAT}")


def _remove(path: str) -> None:
    """Take a damaged store away, so that the next run starts a new one."""
    for name in (path, f"{path}-journal"):
        try:
            os.unlink(name)
        except OSError:
            continue


def _is_ours(path: str) -> bool:
    """Whether it is a plain file of this user that nobody else may write."""
    try:
        found = os.lstat(path)
    except FileNotFoundError:
        return False
    return (
        stat.S_ISREG(found.st_mode)
        and found.st_uid == os.geteuid()
        and not found.st_mode & (stat.S_IWGRP | stat.S_IWOTH)
    )


def _answer(row: tuple[object, ...]) -> Answer | None:
    *values, kept_hash = row
    if _hash(tuple(values)) != kept_hash:
        return None
    _, site, named, begins, ends, files, book, young, status, output = values
    pairs = (pair.partition(" ") for pair in str(young).split("\0") if pair)
    return Answer(
        site=str(site),
        named=str(named),
        begins=float(str(begins)),
        ends=float(str(ends)),
        files=str(files),
        book=str(book),
        young={name: found for found, _, name in pairs},
        status=int(str(status)),
        output=str(output),
    )


def _holds_half_characters(row: tuple[object, ...]) -> bool:
    """Whether a name of a file is no text, so that SQLite cannot hold it as one."""
    try:
        "".join(map(str, row)).encode()
    except UnicodeEncodeError:
        return True
    return False


def _hash(values: tuple[object, ...]) -> str:
    # One flipped bit makes bytes of a text.
    told = (b"\1" + one if isinstance(one, bytes) else str(one).encode() for one in values)
    return content_hash(b"\0".join(told))
