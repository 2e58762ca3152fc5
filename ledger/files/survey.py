"""What a folder holds, by stat alone: the same digest means that no file has changed.

A file touched only a moment ago may change once more within one tick of the clock, at the same
size, and its times would not show it. Such young files are known by their content as well, the
rule that git's index follows ("racy git", gitformat-index).

This module is read before anything else of a command is; so it imports next to nothing, and its
values are no dataclasses.
"""

import os
import stat
import struct
from collections.abc import Callable, Iterable, Sequence
from itertools import compress, starmap
from operator import attrgetter

from ledger.files.names import BOOK, PART_ENDING, SCHEMAS

try:
    from _blake2 import blake2b  # hashlib loads OpenSSL too, which takes longer than the question
except ImportError:  # a Python that keeps it elsewhere
    from hashlib import blake2b

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import TypeAlias

    Folder: TypeAlias = tuple[str, Sequence[str], bytes, bytes]
    """Its path with a slash, the names of its files, their rows, and a digest of these three."""

#: Times at least so much older than a moment are past for certain; FAT counts by two seconds.
SETTLED_NS = 2_000_000_000

_ROW = attrgetter("st_mode", "st_ino", "st_size", "st_mtime_ns", "st_ctime_ns")
_PACKED = struct.Struct("=5q")


class UnfitError(Exception):
    """A folder that stat alone cannot vouch for: it holds a link or a special file."""


class Survey:
    """One look at a folder: `digest` stands for all rows."""

    __slots__ = ("digest", "folders")

    def __init__(self, digest: str, folders: "Sequence[Folder]") -> None:
        self.digest = digest
        self.folders = folders

    def rows(self) -> dict[str, str]:
        """The row of each file by its path below the root."""
        return {
            prefix + name: row
            for prefix, names, packed, _ in self.folders
            for name, row in rows_of(names, packed).items()
        }

    def young(self, moment_ns: int) -> list[str]:
        """Paths below the root of files whose times lie near `moment_ns` or after it."""
        limit = moment_ns - SETTLED_NS
        found = []
        for prefix, names, packed, _ in self.folders:
            numbers = memoryview(packed).cast("q").tolist()
            changed, state = numbers[3::5], numbers[4::5]
            # Mostly none: so the folder is asked first.
            if max(changed + state, default=0) >= limit:
                times = map(max, changed, state)
                found += [prefix + n for n, at in zip(names, times, strict=True) if at >= limit]
        return found


def survey(root: str, tops: Iterable[str], leave: Callable[[str], bool]) -> Survey:
    """Stat every file in the folders `tops` below `root` ("" for the root itself).

    `leave` is asked for each name with a dot in front and for each folder, by its path below
    the root, and True keeps it out. A top that is missing counts as such.

    Raises:
        UnfitError: there is a link or a special file.
        OSError: a folder cannot be read.
    """
    folders: list[Folder] = []
    total = blake2b(digest_size=20)
    for top in tops:
        try:
            handle = os.open(os.path.join(root, top), _FOLDER_FLAGS)
        except FileNotFoundError:
            total.update(b"missing\0")
            continue
        try:
            _survey_folder(handle, f"{top}/" if top else "", leave, folders)
        except struct.error as error:  # an inode or a time beyond 63 bits
            raise UnfitError(top) from error
    for folder in folders:
        total.update(folder[3])
    return Survey(total.hexdigest(), folders)


def survey_of_files(site: str) -> Survey:
    """The files of a site that are read, and those that a build clears away."""
    return survey(site, ("", SCHEMAS), _is_not_read)


def _is_not_read(path: str) -> bool:
    """Dotted names and the rendered book are not read."""
    if path.endswith(PART_ENDING):
        return False
    return path == BOOK or path.startswith(".") or "/." in path


def rows_of(names: Sequence[str], packed: bytes) -> dict[str, str]:
    """Mode, inode, size and the two times of each file of one folder, as hexadecimal digits."""
    digits, width = packed.hex(), 2 * _PACKED.size
    return {name: digits[width * i : width * (i + 1)] for i, name in enumerate(names)}


# A link in a folder's place is refused. Windows has no such flags, and no store either.
_FOLDER_FLAGS = os.O_RDONLY | getattr(os, "O_DIRECTORY", 0) | getattr(os, "O_NOFOLLOW", 0)


def _survey_folder(
    handle: int, prefix: str, leave: Callable[[str], bool], folders: "list[Folder]"
) -> None:
    # Whole lists at a time: this is most of what a command costs where nothing has changed.
    try:
        names = [n for n in os.listdir(handle) if n[0] != "." or not leave(prefix + n)]
        found = [os.stat(n, dir_fd=handle, follow_symlinks=False) for n in names]
        below: list[str] = []
        if not all(map(stat.S_ISREG, {one.st_mode for one in found})):
            is_folder = [stat.S_ISDIR(one.st_mode) for one in found]
            below = [n for n in compress(names, is_folder) if not leave(prefix + n)]
            is_file = [not one for one in is_folder]
            names, found = [*compress(names, is_file)], [*compress(found, is_file)]
            if not all(stat.S_ISREG(one.st_mode) for one in found):
                raise UnfitError(prefix)
        packed = b"".join(starmap(_PACKED.pack, map(_ROW, found)))
        text = f"{prefix}\0{len(names)}\0" + "\0".join(names)
        digest = blake2b(text.encode("utf-8", "surrogateescape") + packed, digest_size=20).digest()
        folders.append((prefix, names, packed, digest))
        for name in below:
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
