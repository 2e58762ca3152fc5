"""Questions to the person at the terminal, or to whatever feeds standard input."""

import shutil
import sys
import textwrap
from collections.abc import Callable
from typing import TypeVar

from ledger.cli.command import Failure
from ledger.write.escape import terminal_text

_T = TypeVar("_T")
_WIDEST = 100


class InputEnded(Failure):
    """Whatever fed standard input has no more to say."""


def ask(question: str) -> str:
    """One line as typed, without blanks around it; InputEnded where there is none."""
    sys.stdout.flush()
    try:
        return input(question).strip()
    except EOFError:
        print()
        raise InputEnded("the input ended; nothing was filed") from None


def ask_until(question: str, parse: Callable[[str], _T]) -> _T:
    """What the answer means; says why and asks again where it means nothing."""
    while True:
        try:
            return parse(ask(question))
        except ValueError as wrong:
            say(f"  {wrong}")


def agrees(question: str) -> bool:
    """Whether the answer is yes; anything else is no."""
    return ask(f"{question} (y/n) ").lower() in ("y", "yes")


def someone_is_there() -> bool:
    return sys.stdin.isatty()


def say(text: str) -> None:
    print("\n".join(wrapped(text)))


def wrapped(text: str) -> list[str]:
    """The lines of a text as wide as a page is, those after the first set in."""
    columns = min(_WIDEST, shutil.get_terminal_size((_WIDEST, 24)).columns)
    indent = " " * (len(text) - len(text.lstrip()))
    return textwrap.wrap(
        terminal_text(text), columns, subsequent_indent=f"{indent}    ", break_on_hyphens=False
    ) or [""]
