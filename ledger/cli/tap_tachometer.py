"""The space bar as a tachometer: one tap a pass, the speed and its uncertainty live."""

import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

try:
    import termios
    import tty
except ImportError:  # pragma: no cover - no such terminals on Windows: counts are typed there
    termios = None  # type: ignore[assignment]

from ledger.cli.command import Failure

_TAP, _AGAIN = b" ", (b"r", b"\x7f", b"\x08")
_ENDS = (b"\n", b"\r", b"\x04")
_DECIMALS = 3
_CLEAR_LINE = "\r\x1b[K"


def can_tap() -> bool:
    """Whether single keys of a terminal can be read."""
    return termios is not None and sys.stdin.isatty()


def tapped_times(shown: Callable[[tuple[float, ...]], str]) -> tuple[float, ...]:
    """Times of the taps in seconds from the first, until Enter; `shown` words them as they come."""
    times: list[float] = []
    with _single_keys() as descriptor:
        print("Tap the space bar each time the mark passes; r starts over; Enter ends.")
        while True:
            sys.stdout.write(f"{_CLEAR_LINE}{shown(_from_first(times))}")
            sys.stdout.flush()
            key = os.read(descriptor, 1)
            now = time.monotonic()
            if not key:
                raise Failure("the terminal went away; nothing was filed")
            if key == _TAP:
                times.append(now)
            elif key in _AGAIN:
                times.clear()
            elif key in _ENDS:
                print()
                return _from_first(times)


def _from_first(times: list[float]) -> tuple[float, ...]:
    return tuple(round(each - times[0], _DECIMALS) for each in times)


@contextmanager
def _single_keys() -> Iterator[int]:
    """Keys come one by one, without echo; Ctrl-C still ends. The terminal is put back after."""
    descriptor = sys.stdin.fileno()
    before = termios.tcgetattr(descriptor)
    try:
        # Keys typed ahead would count as taps.
        tty.setcbreak(descriptor, termios.TCSAFLUSH)
        yield descriptor
    finally:
        termios.tcsetattr(descriptor, termios.TCSADRAIN, before)
