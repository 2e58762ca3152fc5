"""The program's start: a kept answer if there is one, else the command; and how it all ends.

Nothing is imported here that a kept answer does not need.
"""

import gc
import io
import os
import sys

from ledger.cli.calls import FAILED, KEPT_COMMANDS, NO_STORE
from ledger.cli.clock import Clock, system_clock

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import NoReturn

    from ledger.cli.keeper import Keeper
    from ledger.files.store import Answer

_INTERRUPTED = 130

_VALUES_BETWEEN_COLLECTIONS = 50_000


def entry_point(clock: Clock = system_clock) -> "NoReturn":
    """Run as a program."""
    # A command makes many small values and keeps them: to look for garbage often finds none.
    gc.set_threshold(_VALUES_BETWEEN_COLLECTIONS)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A terminal of an older encoding shows a sign it lacks as an escape.
            stream.reconfigure(errors="backslashreplace")
    try:
        status = answer_call(sys.argv[1:], clock)
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read the output has had enough; nothing is left to say to them.
        _drop_output()
        status = 0
    except OSError as error:
        sys.stderr.write(f"tunnelbook: the output cannot be written: {error.strerror or error}\n")
        _drop_output()
        status = FAILED
    except KeyboardInterrupt:
        sys.stderr.write("\n")
        status = _INTERRUPTED
    # The end of the program gives everything back; to look for garbage first would only take time.
    gc.freeze()
    sys.exit(status)


def answer_call(words: list[str], clock: Clock) -> int | str | None:
    """The exit status, also where argparse ends the program itself after help or a wrong call."""
    keeper = None
    if words and words[0] in KEPT_COMMANDS and NO_STORE not in words:
        answer = kept(words, clock)
        if answer is not None:
            sys.stdout.write(answer.output)
            return answer.status
        keeper = _keeper_of(words)
    from ledger.cli.main import main  # noqa: PLC0415 - a kept answer needs no parser

    try:
        return main(words, clock, keeper)
    except SystemExit as ended:
        return ended.code


def kept(words: list[str], clock: Clock) -> "Answer | None":
    """The answer of last time, if it still holds."""
    try:
        from ledger.cli.kept import kept_answer  # noqa: PLC0415 - other commands need none of it
    except ImportError:  # a Python without SQLite
        return None
    return kept_answer(words, clock)


def _keeper_of(words: list[str]) -> "Keeper | None":
    try:
        from ledger.cli.keeper import Keeper  # noqa: PLC0415
    except ImportError:  # a Python without SQLite
        return None
    return Keeper(words)


def _drop_output() -> None:
    """Send what is still held back nowhere, so that the end of the program does not fail on it."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
