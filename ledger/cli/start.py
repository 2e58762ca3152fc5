"""The program's start: a kept answer if there is one, else the command; and how it all ends.

Nothing is imported here that a kept answer does not need.
"""

import errno
import gc
import io
import os
import sys

from ledger.cli.calls import FAILED, KEPT_COMMANDS, NO_STORE, command_first
from ledger.cli.clock import Clock, system_clock

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import NoReturn

    from ledger.cli.keeper import Keeper
    from ledger.files.store import Answer

_INTERRUPTED = 130

_TRACEBACK = "TUNNELBOOK_TRACEBACK"

_GC_THRESHOLD = 1_000_000


def entry_point(clock: Clock = system_clock) -> "NoReturn":
    """Run as a program."""
    # A command makes many small values and keeps them: to look for garbage often finds none.
    gc.set_threshold(_GC_THRESHOLD)
    _open_closed_streams()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A terminal of an older encoding shows a sign it lacks as an escape.
            stream.reconfigure(errors="backslashreplace")
    try:
        status = answer_call(sys.argv[1:], clock)
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read the output has had enough; nothing is left to say to them.
        status = 0
    except OSError as error:
        why = "it is closed" if error.errno == errno.EBADF else error.strerror or str(error)
        _complain(f"tunnelbook: the output cannot be written: {why}\n")
        status = FAILED
    except KeyboardInterrupt:
        _complain("\n")
        status = _INTERRUPTED
    except Exception as error:  # noqa: BLE001 - the guard around the whole program
        _complain(_program_fault(error))
        status = FAILED
    _drop_unwritten()
    # The end of the program gives everything back; to look for garbage first would only take time.
    gc.freeze()
    sys.exit(status)


def answer_call(words: list[str], clock: Clock) -> int | str | None:
    """The exit status, also where argparse ends the program itself after help or a wrong call."""
    keeper = None
    words = command_first(words)
    if words and words[0] in KEPT_COMMANDS and NO_STORE not in words:
        answer, keeper = kept(words, clock)
        if answer is not None:
            sys.stdout.write(answer.output)
            return answer.status
    from ledger.cli.main import main  # a kept answer needs no parser

    try:
        return main(words, clock, keeper)
    except SystemExit as ended:
        return ended.code


def kept(words: list[str], clock: Clock) -> "tuple[Answer | None, Keeper | None]":
    """The answer of last time, if it still holds, else who keeps that of this time."""
    try:
        from ledger.cli.kept import kept_answer  # other commands need none of it

        answer, sight = kept_answer(words, clock)
        if answer is not None:
            return answer, None
        from ledger.cli.keeper import Keeper
    except ImportError:  # a Python without SQLite
        return None, None
    return None, Keeper(words, sight)


def _open_closed_streams() -> None:
    """Put something in the place of each standard stream that is closed.

    Else the next file that is opened would be taken for it. There is nothing to read, the output
    fails as on a full disk, and complaints go nowhere.
    """
    for number, flags in enumerate((os.O_RDONLY, os.O_RDONLY, os.O_WRONLY)):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, flags)
    sys.stdin = sys.stdin or os.fdopen(0, "r")
    sys.stdout = sys.stdout or os.fdopen(1, "w", encoding="utf-8")
    sys.stderr = sys.stderr or os.fdopen(2, "w", encoding="utf-8")


def _complain(text: str) -> None:
    """Say something on standard error, if that can be written."""
    try:
        sys.stderr.write(text)
        sys.stderr.flush()
    except OSError:
        return


def _program_fault(error: Exception) -> str:
    """What to say of a fault that nobody foresaw, with its trace where the user asked for it."""
    from ledger.cli.main import SUMMARIES

    name = "".join(word for word in command_first(sys.argv[1:])[:1] if word in SUMMARIES)
    message = (
        f"{f'tunnelbook {name}'.strip()}: the program failed, and this is its fault: "
        f"{type(error).__name__}: {error}\n"
        f"`tunnelbook check` may name the file it failed on; please report this with what "
        f"{_TRACEBACK}=1 prints\n"
    )
    if os.environ.get(_TRACEBACK):
        import traceback  # only where one is asked for

        return "".join(traceback.format_exception(error)) + message
    return message


def _drop_unwritten() -> None:
    """Send what cannot be written nowhere, so that the end of the program does not fail on it."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
