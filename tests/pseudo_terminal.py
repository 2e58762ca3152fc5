"""A program on a real pseudo-terminal: what it asks is waited for, and answers are typed."""

import fcntl
import os
import pty
import select
import signal
import struct
import sys
import termios
import time
from pathlib import Path

REPOSITORY = Path(__file__).parents[1]
PROGRAM = "tests.pinned_clock"
# A limit that only a program that hangs will meet, on a machine that has much else to do.
PATIENCE_S = 60


class Terminal:
    """A program on a real pseudo-terminal."""

    def __init__(
        self, *words: str | Path, rows: int = 40, columns: int = 100, program: str = PROGRAM
    ) -> None:
        self._pid, self._fd = pty.fork()
        if self._pid == 0:
            os.chdir(REPOSITORY)
            command = [sys.executable, "-m", program, *map(str, words)]
            size = f"LINES={rows}", f"COLUMNS={columns}"
            os.execv("/usr/bin/env", ["env", *size, *command])
        fcntl.ioctl(self._fd, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        self.seen = ""

    def wait_for(self, words: str) -> str:
        """Read until the words are seen past what was waited for before; what stood up to them."""
        until = time.monotonic() + PATIENCE_S
        while words not in self.seen:
            assert time.monotonic() < until, self.seen
            if select.select([self._fd], [], [], 1)[0]:
                self.seen += self._read()
        before, _, self.seen = self.seen.partition(words)
        return before

    def type(self, keys: str) -> None:
        os.write(self._fd, keys.encode())

    def answer(self, question: str, answer: str) -> str:
        """Answer a question; what was shown before it."""
        shown = self.wait_for(question)
        self.type(f"{answer}\n")
        return shown

    def interrupt(self) -> None:
        """Ctrl-C, once the program waits for a key: before that, Python hears it only at the next."""
        state = Path(f"/proc/{self._pid}/stat")
        until = time.monotonic() + PATIENCE_S
        while state.exists() and state.read_text().rpartition(")")[2].split()[0] != "S":
            assert time.monotonic() < until, self.seen
            select.select([], [], [], 0.01)
        self.seen = ""
        self.type("\x03")

    def end(self) -> int:
        """What the program has yet to say goes into `seen`; its exit status."""
        while select.select([self._fd], [], [], PATIENCE_S)[0]:
            chunk = self._read()
            if not chunk:
                break
            self.seen += chunk
        else:
            os.kill(self._pid, signal.SIGKILL)
        _, status = os.waitpid(self._pid, 0)
        os.close(self._fd)
        return os.waitstatus_to_exitcode(status)

    def _read(self) -> str:
        try:
            return os.read(self._fd, 4096).decode(errors="replace").replace("\r\n", "\n")
        except OSError:  # Linux says so where the other side is closed
            return ""
