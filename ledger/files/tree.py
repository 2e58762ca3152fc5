"""The files of a site as names and bytes: on a disk, or as they will be with some new ones."""

import os
import stat
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Protocol

from ledger.values import dataclass

#: No file of a site may be larger; a tree may stop reading one byte later.
MAX_FILE_BYTES = 256 * 1024

_PAGE = 4096


class UnreadableFileError(Exception):
    """A file that is listed but must not or cannot be read; the text says why, in plain words."""


class FileTree(Protocol):
    """Files below one root. Nothing outside the root can be named or reached."""

    def paths(self) -> tuple[str, ...]:
        """Every file and every link, sorted, relative to the root, with `/` between folders."""
        ...

    def read(self, path: str) -> bytes:
        """The bytes of one file, perhaps cut after MAX_FILE_BYTES + 1 bytes.

        Raises UnreadableFileError for a link, a special file, a name that leads out of the root,
        and a file that is gone or withheld.
        """
        ...


def is_inside(path: str) -> bool:
    """Whether a path, with `/` between folders, leads to something below where it starts."""
    return not ("\\" in path or "\0" in path or {"", ".", ".."} & set(path.split("/")))


_OPENS_LINKS = not hasattr(os, "O_NOFOLLOW")


class DiskTree:
    """The files in a folder. Links are listed but never followed; dotted names are left out."""

    def __init__(self, root: Path) -> None:
        # The root itself may be reached through a link; only what lies below is held to the rule.
        self._root = root.resolve()
        self._plain_folders = {""}

    def paths(self) -> tuple[str, ...]:
        return tuple(sorted(self._walk(self._root, "")))

    def read(self, path: str) -> bytes:
        folder, _, _ = path.rpartition("/")
        if not is_inside(path):
            raise UnreadableFileError("its name leads out of the site")
        self._require_plain(folder)
        # O_NOFOLLOW and O_NONBLOCK: a name swapped for a link or a pipe since it was listed
        # is refused rather than followed or waited for.
        flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
        flags |= getattr(os, "O_BINARY", 0)
        place = f"{self._root}/{path}"
        try:
            # Where the system opens no link, there is no need to ask first.
            handle = None if _OPENS_LINKS and Path(place).is_symlink() else os.open(place, flags)
        except OSError as error:
            if not Path(place).is_symlink():
                raise UnreadableFileError(error.strerror or "it cannot be opened") from error
            handle = None
        if handle is None:
            raise UnreadableFileError("it is a link, and a ledger holds plain files only")
        try:
            found = os.fstat(handle)
            if not stat.S_ISREG(found.st_mode):
                raise UnreadableFileError("it is not a plain file")
            # Of many small files half of the time went into a buffer for each.
            raw = os.read(handle, min(found.st_size, MAX_FILE_BYTES) + 1)
            # A plain file that gives less than was asked for has come to its end.
            while found.st_size < len(raw) <= MAX_FILE_BYTES and (more := os.read(handle, _PAGE)):
                raw += more
            return raw[: MAX_FILE_BYTES + 1]
        finally:
            os.close(handle)

    def _walk(self, folder: Path, prefix: str) -> Iterator[str]:
        with os.scandir(folder) as entries:
            for entry in entries:
                if entry.name.startswith("."):
                    continue
                path = prefix + entry.name
                if entry.is_dir(follow_symlinks=False):
                    self._plain_folders.add(path)
                    yield from self._walk(Path(entry.path), path + "/")
                else:
                    yield path

    def _require_plain(self, folder: str) -> None:
        if folder in self._plain_folders:
            return
        parent, _, _ = folder.rpartition("/")
        self._require_plain(parent)
        if (self._root / folder).is_symlink():
            raise UnreadableFileError(f"{folder} is a link, and a ledger holds plain files only")
        self._plain_folders.add(folder)


@dataclass(frozen=True, slots=True, kw_only=True)
class WithNewFiles:
    """The files of `tree` and the new ones by path; a new one hides an old one of its path."""

    tree: FileTree
    new: Mapping[str, str]

    def paths(self) -> tuple[str, ...]:
        return tuple(sorted({*self.tree.paths(), *self.new}))

    def read(self, path: str) -> bytes:
        text = self.new.get(path)
        return self.tree.read(path) if text is None else text.encode()
