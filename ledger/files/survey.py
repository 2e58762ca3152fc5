"""What a folder holds, by stat alone: the same digest means that no file has changed.

A file touched only a moment ago may change once more within one tick of the clock, at the same
size, and its times would not show it. Such young files are known by their content as well, the
rule that git's index follows ("racy git", gitformat-index).

This module is read before anything else of a command is; so it imports next to nothing, and its
values are no dataclasses.
"""

import os
import stat
from array import array
from collections.abc import Callable, Iterable, Sequence
from hashlib import blake2b
from itertools import chain
from operator import attrgetter

from ledger.files.names import BOOK, PART_ENDING, SCHEMAS

#: Times at least so much older than a moment are past for certain; FAT counts by two seconds.
SETTLED_NS = 2_000_000_000

_ROW = attrgetter("st_mode", "st_ino", "st_size", "st_mtime_ns", "st_ctime_ns")
_WIDTH = 5
_TIMES = 3


class UnfitError(Exception):
    """A folder that stat alone cannot vouch for: it holds a link or a special file."""


class Survey:
    """One look at a folder: `digest` stands for all rows."""

    __slots__ = ("digest", "folders")

    def __init__(
        self, digest: str, folders: "Sequence[tuple[str, Sequence[str], array[int]]]"
    ) -> None:
        self.digest = digest
        self.folders = folders

    def rows(self) -> set[tuple[str, tuple[int, ...]]]:
        """Each file's path below the root, and its mode, inode, size and two times."""
        return {
            (prefix + name, row)
            for prefix, names, numbers in self.folders
            for name, row in rows_of(names, numbers).items()
        }

    def young(self, moment_ns: int) -> list[str]:
        """Paths below the root of files whose times lie near `moment_ns` or after it."""
        limit = moment_ns - SETTLED_NS
        return [
            prefix + name
            for prefix, names, numbers in self.folders
            for index, name in enumerate(names)
            if max(numbers[_WIDTH * index + _TIMES : _WIDTH * (index + 1)]) >= limit
        ]


def survey(root: str, tops: Iterable[str], leave: Callable[[str], bool]) -> Survey:
    """Stat every file in the folders `tops` below `root` ("" for the root itself).

    `leave` is asked for each name with a dot in front and for each folder, by its path below
    the root, and True keeps it out. A top that is missing counts as such.

    Raises:
        UnfitError: there is a link or a special file.
        OSError: a folder cannot be read.
    """
    folders: list[tuple[str, list[str], array[int]]] = []
    total = blake2b(digest_size=20)
    for top in tops:
        try:
            handle = os.open(os.path.join(root, top), _FOLDER_FLAGS)
        except FileNotFoundError:
            total.update(b"missing\0")
            continue
        try:
            _survey_folder(handle, f"{top}/" if top else "", leave, folders)
        except OverflowError as error:  # an inode or a time beyond 63 bits
            raise UnfitError(top) from error
    for folder in folders:
        total.update(folder_digest(folder))
    return Survey(total.hexdigest(), folders)


def survey_of_files(site: str) -> Survey:
    """The files of a site that are read, and those that a build clears away."""
    return survey(site, ("", SCHEMAS), _is_not_read)


def _is_not_read(path: str) -> bool:
    """Dotted names and the rendered book are not read."""
    if path.endswith(PART_ENDING):
        return False
    return path == BOOK or path.startswith(".") or "/." in path


def folder_digest(folder: "tuple[str, Sequence[str], array[int]]") -> bytes:
    """What stands for one folder of a survey."""
    prefix, names, numbers = folder
    text = f"{prefix}\0{len(names)}\0" + "\0".join(names)
    return blake2b(
        text.encode("utf-8", "surrogateescape") + numbers.tobytes(), digest_size=20
    ).digest()


def rows_of(names: Sequence[str], numbers: "array[int]") -> dict[str, tuple[int, ...]]:
    """Mode, inode, size and the two times of each file of one folder."""
    return {
        name: tuple(numbers[_WIDTH * index : _WIDTH * (index + 1)])
        for index, name in enumerate(names)
    }


# A link in a folder's place is refused. Windows has no such flags, and no store either.
_FOLDER_FLAGS = os.O_RDONLY | getattr(os, "O_DIRECTORY", 0) | getattr(os, "O_NOFOLLOW", 0)


def _survey_folder(
    handle: int,
    prefix: str,
    leave: Callable[[str], bool],
    folders: "list[tuple[str, list[str], array[int]]]",
) -> None:
    # Whole lists at a time: this is most of what a command costs where nothing has changed.
    try:
        with os.scandir(handle) as entries:
            kept = [e for e in entries if e.name[0] != "." or not leave(prefix + e.name)]
        below = [e.name for e in kept if e.is_dir(follow_symlinks=False)]
        files = [e for e in kept if not e.is_dir(follow_symlinks=False)] if below else kept
        rows = map(_ROW, [e.stat(follow_symlinks=False) for e in files])
        numbers = array("q", chain.from_iterable(rows))
        if not all(map(stat.S_ISREG, numbers[::_WIDTH])):
            raise UnfitError(prefix)
        folders.append((prefix, [e.name for e in files], numbers))
        for name in below:
            if not leave(prefix + name):
                inner = os.open(name, _FOLDER_FLAGS, dir_fd=handle)
                _survey_folder(inner, f"{prefix}{name}/", leave, folders)
    finally:
        os.close(handle)


def content_hash(content: bytes) -> str:
    """The hash by which the content of one file is known again."""
    return blake2b(content, digest_size=20).hexdigest()


def file_hash(path: str) -> str:
    """The hash of a file's content. Raises OSError where it cannot be read."""
    with open(path, "rb") as opened:
        return content_hash(opened.read())
