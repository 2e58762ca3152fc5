"""Runs a command while the system refuses one call of those by which files are written.

A command runs in a process of its own, forked from this one. Its calls that write below one folder
are counted; the one with the number asked for fails, or the process is killed there.
"""

import builtins
import errno
import io
import os
import shutil
import signal
import sys
import traceback
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from pinned_clock import pinned_clock

from ledger.cli.main import main
from ledger.files.names import PART_ENDING

KILL = "kill"
_ERRORS = ("ENOSPC", "EIO")
# Python itself tries the other calls again after a signal.
_NOT_TRIED_AGAIN = {"link", "rename", "replace", "unlink", "mkdir", "rmdir"}
_NAMED = ("link", "rename", "replace", "unlink", "mkdir", "rmdir")
_AUDITED = {"os.link", "os.rename", "os.remove", "os.mkdir", "os.rmdir"}
_WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT
_CRASHED = 99
_NOBODY = 65534


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """What happens at which of the calls that write; the first has number 1."""

    number: int
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ran:
    """How a run ended; `calls` are those that wrote, in order, and `audited` how many the
    interpreter itself counted of those that it reports."""

    status: int
    out: str
    err: str
    calls: tuple[str, ...]
    audited: int

    @property
    def was_killed(self) -> bool:
        return self.status == -signal.SIGKILL


def run(
    words: Sequence[str],
    box: Path,
    notes: Path,
    fault: Fault | None = None,
    *,
    as_nobody: bool = False,
) -> Ran:
    """Run a command whose files lie below `box`; what it prints is kept in `notes`.

    With `as_nobody` an administrator's rights are given away first.
    """
    notes.mkdir(exist_ok=True)
    for name in ("out", "err", "calls"):
        (notes / name).write_text("")
    child = os.fork()
    if not child:
        _run_and_end(words, box, notes, fault, as_nobody=as_nobody and os.geteuid() == 0)
    _, ended = os.waitpid(child, 0)
    calls = (notes / "calls").read_text().splitlines()
    return Ran(
        status=os.waitstatus_to_exitcode(ended),
        out=(notes / "out").read_text(),
        err=(notes / "err").read_text(),
        calls=tuple(call for call in calls if not call.startswith("audit ")),
        audited=sum(call.startswith("audit ") for call in calls),
    )


def faults_of(calls: Sequence[str]) -> list[Fault]:
    """Everything that can happen at each of the calls of a clean run."""
    return [
        Fault(number=number, what=what)
        for number, call in enumerate(calls, 1)
        for what in (*_ERRORS, *(("EINTR",) if call in _NOT_TRIED_AGAIN else ()), KILL)
    ]


def files_in(box: Path) -> dict[str, bytes]:
    """Every file by path, leftovers too; not the hints for an editor, which no command fails for.

    Nor the manifest of a roll-up, which knows the files of the site by their inodes and times.
    """
    return {
        path.relative_to(box).as_posix(): path.read_bytes()
        for path in sorted(box.rglob("*"))
        if path.is_file()
        and path.parent.parts[-2:] != (".schemas", "site")
        and path.name != "_manifest.json"
    }


def without_leftovers(files: dict[str, bytes]) -> dict[str, bytes]:
    return {path: content for path, content in files.items() if PART_ENDING not in path}


def put_back(box: Path, before: Path) -> None:
    shutil.rmtree(box, ignore_errors=True)
    shutil.copytree(before, box)


def _run_and_end(
    words: Sequence[str], box: Path, notes: Path, fault: Fault | None, *, as_nobody: bool
) -> NoReturn:
    status = _CRASHED
    try:
        sys.stdout = (notes / "out").open("w", encoding="utf-8")
        sys.stderr = (notes / "err").open("w", encoding="utf-8")
        os.chdir(box)
        _Calls(box, notes / "calls", fault).patch()
        if as_nobody:
            os.setgroups([])
            os.setgid(_NOBODY)
            os.setuid(_NOBODY)
        status = main(words, pinned_clock)
    except SystemExit as ended:
        status = ended.code if isinstance(ended.code, int) else _CRASHED
    except BaseException:  # noqa: BLE001  a traceback is what the tests look for
        traceback.print_exc()
    finally:
        with suppress(OSError):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(status)


class _Calls:
    """The calls that write below a folder, counted, with a fault at one of them."""

    def __init__(self, box: Path, noted: Path, fault: Fault | None) -> None:
        self._box = str(box.resolve())
        self._noted = os.open(noted, os.O_WRONLY | os.O_APPEND)
        self._fault = fault
        self._number = 0
        self._handles: set[int] = set()
        self._real_write = os.write

    def patch(self) -> None:
        sys.addaudithook(self._audit)
        for name in _NAMED:
            setattr(os, name, self._named(name, getattr(os, name)))
        os.open = self._opened(os.open)
        os.close = self._closed(os.close)
        os.write = self._written(os.write)
        os.fsync = self._of_handle("fsync", os.fsync)
        io.open = builtins.open = self._opened_stream(io.open)

    def _is_ours(self, place: Any, folder: int | None = None) -> bool:
        if folder is not None and folder >= 0:
            return folder in self._handles
        if isinstance(place, int):
            return place in self._handles
        return os.path.abspath(os.fsdecode(place)).startswith(self._box + os.sep)  # noqa: PTH100

    def _note(self, text: str) -> None:
        self._real_write(self._noted, f"{text}\n".encode())

    def _audit(self, event: str, words: tuple[Any, ...]) -> None:
        if event == "open":
            place, _, flags = words
            is_written = bool(flags & _WRITES) and self._is_ours(place)
        elif event in _AUDITED:
            # The folder that the name is seen from comes last, if the event tells it.
            folder = words[-1] if isinstance(words[-1], int) and event != "os.mkdir" else None
            is_written = self._is_ours(words[0], folder)
        else:
            return
        if is_written:
            self._note(f"audit {event}")

    def _call(self, name: str, do: Callable[[], Any], half: Callable[[], Any] | None = None) -> Any:
        """Do it, unless it is this call's turn to fail; `half` of it is done before that."""
        self._note(name)
        self._number += 1
        if self._fault is None or self._number != self._fault.number:
            return do()
        if half is not None:
            half()
        if self._fault.what == KILL:
            if half is None:
                do()
            os.kill(os.getpid(), signal.SIGKILL)
        number = getattr(errno, self._fault.what)
        raise OSError(number, os.strerror(number))

    def _named(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*words: Any, **options: Any) -> Any:
            if not self._is_ours(words[0], options.get("dir_fd")):
                return real(*words, **options)
            return self._call(name, lambda: real(*words, **options))

        return call

    def _opened(self, real: Callable[..., int]) -> Callable[..., int]:
        def call(place: Any, flags: int, *words: Any, **options: Any) -> int:
            if not self._is_ours(place, options.get("dir_fd")) and str(place) != self._box:
                return real(place, flags, *words, **options)
            do = lambda: real(place, flags, *words, **options)  # noqa: E731
            handle = self._call("open", do) if flags & _WRITES else do()
            self._handles.add(handle)
            return handle

        return call

    def _opened_stream(self, real: Callable[..., Any]) -> Callable[..., Any]:
        """Files that are written through Python's own streams are counted as they are opened."""

        def call(place: Any, mode: str = "r", *words: Any, **options: Any) -> Any:
            if isinstance(place, int) or not set(mode) & set("wax+") or not self._is_ours(place):
                return real(place, mode, *words, **options)
            return self._call("stream", lambda: real(place, mode, *words, **options))

        return call

    def _closed(self, real: Callable[[int], None]) -> Callable[[int], None]:
        def call(handle: int) -> None:
            self._handles.discard(handle)
            real(handle)

        return call

    def _written(self, real: Callable[..., int]) -> Callable[..., int]:
        def call(handle: int, content: Any) -> int:
            if not self._is_ours(handle):
                return real(handle, content)
            return self._call(
                "write",
                lambda: real(handle, content),
                half=lambda: real(handle, content[: len(content) // 2]),
            )

        return call

    def _of_handle(self, name: str, real: Callable[[int], None]) -> Callable[[int], None]:
        def call(handle: int) -> None:
            if self._is_ours(handle):
                self._call(name, lambda: real(handle))
            else:
                real(handle)

        return call
