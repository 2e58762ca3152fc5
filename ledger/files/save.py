"""Saves files so that a name always holds its old bytes or its new ones, whatever fails meanwhile.

The bytes go to a temporary file in the same folder, are forced to the disk, and take their name in
one step; then the folder is forced to the disk too. On any failure the temporary file is removed.
A process that is killed cannot do that, so each writer holds a lock on its temporary file:
`remove_leftovers` removes those that nobody holds any more.

Visits, settings, site files, exports and cards are forced to the disk (`fsync`). Pages of the book
are not: a build makes them again wherever their bytes differ, and a first build writes about a
thousand of them. An export replaces only a file of its own form.
"""

import errno
import os
import re
import shutil
import stat
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import NoReturn

if sys.platform != "win32":
    import fcntl

from ledger.files.names import PART_ENDING

_PART = re.compile(rf"\.[0-9a-f]{{12}}{re.escape(PART_ENDING)}")

_NEW_FILE = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)

_ANYBODY = 0o666

# What a file system without hard links answers to `link`.
_NO_LINKS = {errno.EPERM, errno.EACCES, errno.ENOSYS, errno.ENOTSUP, errno.EOPNOTSUPP}

# What a folder answers that cannot be forced to the disk by itself.
_NO_FOLDER_SYNC = {errno.EINVAL, errno.ENOTSUP, errno.EACCES, errno.EPERM, errno.EBADF}


class UnconfirmedError(OSError):
    """The new bytes stand whole under their name, but the disk did not confirm keeping them."""


def replace_file(target: Path, content: bytes, *, is_forced: bool = True) -> None:
    """Put `content` under a name, in place of what is there; missing folders are made.

    With `is_forced` it is on the disk on return. Raises OSError where the old bytes stay, and
    UnconfirmedError where the new ones stand but may not survive a loss of power.
    """
    _save(target, content, os.replace, is_forced=is_forced)


def create_file(target: Path, content: bytes, *, mode: int = _ANYBODY) -> None:
    """Put `content` under a name that is free; missing folders are made.

    `mode` is who may do what with it, less what the process masks.

    Raises FileExistsError where it is taken, OSError where nothing was written, and
    UnconfirmedError as `replace_file` does.
    """
    _save(target, content, _rename_to_free_name, is_forced=True, mode=mode)


def create_folder(target: Path, files: Mapping[str, bytes]) -> None:
    """Make a folder with all its files, by path from its top, or nothing at all.

    Raises OSError where the name is taken or nothing was written, and UnconfirmedError as
    `replace_file` does.
    """
    with _filled_folder(target, files) as part:
        os.rename(part, target)  # noqa: PTH104  one way of calling the system, here and in tests


def replace_folder(target: Path, new: Mapping[str, bytes], keep: Iterable[str] = ()) -> None:
    """Put a folder under a name, in place of the one that is there, with all its files in one step.

    `keep` are files of the folder that is there, by path from its top, which stay as they are; what
    is neither new nor kept is gone. Where the system cannot exchange two names (Linux can), the
    name is free for a moment; a kill just then leaves nothing under it. Raises as `create_folder`.
    """
    with _filled_folder(target, new, keep) as part:
        if target.exists():
            _exchange(part, target)
            shutil.rmtree(part, ignore_errors=True)
        else:
            os.rename(part, target)  # noqa: PTH104


@contextmanager
def _filled_folder(
    target: Path, files: Mapping[str, bytes], keep: Iterable[str] = ()
) -> Iterator[Path]:
    """A temporary folder with all its files on the disk, to take the name of `target`."""
    try:
        _make_folders(target.parent, is_forced=True)
        with _new_part_folder(target.parent) as part:
            for path in keep:
                _make_folders((part / path).parent, is_forced=False)
                if not _is_linked(target / path, part / path):
                    shutil.copyfile(target / path, part / path)
            for path, content in files.items():
                _make_folders((part / path).parent, is_forced=False)
                with _opened(part / path, _NEW_FILE) as handle:
                    _write_all(handle, content, is_forced=True)
            for here, _, _ in os.walk(part):
                _force_folder(Path(here))
            yield part
    except OSError as wrong:
        _raise_about(target, wrong)
    _confirm(target)


def _is_linked(source: Path, target: Path) -> bool:
    """Give a file a second name; False where the file system cannot."""
    try:
        os.link(source, target)
    except OSError as wrong:
        if wrong.errno not in _NO_LINKS:
            raise
        return False
    return True


_AT_FDCWD, _RENAME_EXCHANGE = -100, 2


def _exchange(part: Path, target: Path) -> None:
    """Two folders take each other's name: renameat2(2) of Linux, which Python does not offer."""
    if sys.platform == "linux":
        import ctypes  # noqa: PLC0415 - for folders alone

        rename = getattr(ctypes.CDLL(None), "renameat2", None)
        names = os.fsencode(part), os.fsencode(target)
        if rename and not rename(_AT_FDCWD, names[0], _AT_FDCWD, names[1], _RENAME_EXCHANGE):
            return
    aside = _part_name(target.parent)
    os.rename(target, aside)  # noqa: PTH104
    os.rename(part, target)  # noqa: PTH104
    shutil.rmtree(aside, ignore_errors=True)


def remove_leftovers(top: Path, *, below: bool = True) -> None:
    """Remove the temporary files in a folder whose writers no longer live.

    With `below` also those in the folders below it, git's own aside. Whatever cannot be removed
    stays, without a word: it does no harm, and the next start tries again.
    """
    for here, folders, names in os.walk(top):
        for name in (*folders, *names):
            if name[0] == "." and _PART.fullmatch(name):
                _remove_if_nobody_holds(Path(here, name))
        if not below:
            return
        folders[:] = [name for name in folders if name != ".git" and not _PART.fullmatch(name)]


def _save(
    target: Path,
    content: bytes,
    take_name: Callable[[Path, Path], None],
    *,
    is_forced: bool,
    mode: int = _ANYBODY,
) -> None:
    try:
        _make_folders(target.parent, is_forced=is_forced)
        part, handle = _new_part(target.parent, mode)
        try:
            try:
                _write_all(handle, content, is_forced=is_forced)
                if sys.platform != "win32":
                    take_name(part, target)
            finally:
                os.close(handle)
            if sys.platform == "win32":
                # What is open cannot be renamed there.
                take_name(part, target)
        finally:
            with suppress(OSError):
                os.unlink(part)  # noqa: PTH108
    except OSError as wrong:
        _raise_about(target, wrong)
    if is_forced:
        _confirm(target)


def _rename_to_free_name(part: Path, target: Path) -> None:
    if sys.platform == "win32":
        os.rename(part, target)  # noqa: PTH104  refuses a name that is taken, there
    elif not _is_linked(part, target):
        _rename_over_a_claim(part, target)


def _rename_over_a_claim(part: Path, target: Path) -> None:
    """Take a free name without a link: an empty file claims it, and the bytes replace that.

    Only a kill between these two calls leaves the empty file.
    """
    os.close(os.open(target, _NEW_FILE, _ANYBODY))
    try:
        os.replace(part, target)  # noqa: PTH105
    except BaseException:
        with suppress(OSError):
            os.unlink(target)  # noqa: PTH108
        raise


def _part_name(folder: Path) -> Path:
    return folder / f".{os.urandom(6).hex()}{PART_ENDING}"


def _new_part(folder: Path, mode: int) -> tuple[Path, int]:
    """A new temporary file and the open handle that holds its lock."""
    while True:
        part = _part_name(folder)
        handle = os.open(part, _NEW_FILE, mode)
        # Where a file system has no locks, nobody gets one to remove a leftover either.
        with suppress(OSError):
            _lock(handle)
        if os.fstat(handle).st_nlink:
            return part, handle
        # Another process took it for a leftover before it was locked.
        os.close(handle)


@contextmanager
def _new_part_folder(parent: Path) -> Iterator[Path]:
    """A new temporary folder, locked meanwhile; removed on any failure."""
    part = _part_name(parent)
    os.mkdir(part)  # noqa: PTH102
    try:
        if sys.platform == "win32":
            # A folder cannot be opened there.
            yield part
            return
        with _opened(part, os.O_RDONLY) as handle:
            with suppress(OSError):
                _lock(handle)
            yield part
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise


def _lock(handle: int) -> None:
    """Take the lock of an open file, or raise OSError at once; Windows locks what is open."""
    if sys.platform != "win32":
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _remove_if_nobody_holds(part: Path) -> None:
    with suppress(OSError):
        is_folder = stat.S_ISDIR(os.lstat(part).st_mode)
        remove = shutil.rmtree if is_folder else os.unlink
        if sys.platform == "win32":
            # What is open cannot be removed there.
            remove(part)
            return
        with _opened(part, (os.O_RDONLY if is_folder else os.O_RDWR) | os.O_NOFOLLOW) as handle:
            _lock(handle)
            remove(part)


@contextmanager
def _opened(path: Path, flags: int) -> Iterator[int]:
    handle = os.open(path, flags, _ANYBODY)
    try:
        yield handle
    finally:
        os.close(handle)


def _write_all(handle: int, content: bytes, *, is_forced: bool) -> None:
    left = memoryview(content)
    while left:
        left = left[os.write(handle, left) :]
    if is_forced:
        os.fsync(handle)


def _make_folders(folder: Path, *, is_forced: bool) -> None:
    if folder.is_dir():
        return
    _make_folders(folder.parent, is_forced=is_forced)
    with suppress(FileExistsError):
        os.mkdir(folder)  # noqa: PTH102
    if is_forced:
        _force_folder(folder.parent)


def _force_folder(folder: Path) -> None:
    if sys.platform == "win32":
        return
    try:
        with _opened(folder, os.O_RDONLY) as handle:
            os.fsync(handle)
    except OSError as wrong:
        if wrong.errno not in _NO_FOLDER_SYNC:
            raise


def _confirm(target: Path) -> None:
    """Force the folder of a name that was taken to the disk."""
    try:
        _force_folder(target.parent)
    except OSError as wrong:
        raise UnconfirmedError(
            wrong.errno,
            f"written, but the disk has not confirmed that it will keep it ({wrong.strerror})",
            str(target),
        ) from wrong


def _raise_about(target: Path, wrong: OSError) -> NoReturn:
    """Raise the error anew under the name that a person knows, not that of a temporary file."""
    raise OSError(wrong.errno, wrong.strerror, str(target)) from wrong


def write_exported(target: Path, content: bytes, begins: bytes) -> None:
    """Replaces `target` at once.

    Raises:
        FileExistsError: there is a file that does not begin as one of this form does, or no file.
        OSError: it cannot be written.
    """
    if target.exists():
        if not target.is_file():
            raise FileExistsError(f"{target} exists and is not a plain file; name another")
        with target.open("rb") as opened:
            if not opened.read(len(begins)).startswith(begins):
                raise FileExistsError(f"{target} exists and is another kind of file; move it away")
    remove_leftovers(target.parent, below=False)
    replace_file(target, content)
