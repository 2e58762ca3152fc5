"""Questions to the person at the terminal, or to whatever feeds standard input."""

import sys
from collections.abc import Callable
from typing import TypeVar

from ledger.cli.command import Failure

_T = TypeVar("_T")


def ask(question: str) -> str:
    """One line as typed, without blanks around it; Failure where the input has ended."""
    sys.stdout.flush()
    try:
        return input(question).strip()
    except EOFError:
        print()
        raise Failure("the input ended; nothing was filed") from None


def ask_for(question: str, parse: Callable[[str], _T]) -> _T | None:
    """What the answer means; None for an empty one. Says why and asks again where it has none."""
    while True:
        answer = ask(question)
        if not answer:
            return None
        try:
            return parse(answer)
        except ValueError as wrong:
            print(f"  {wrong}")


def agrees(question: str) -> bool:
    """Whether the answer is yes; anything else is no."""
    return ask(f"{question} (y/n) ").lower() in ("y", "yes")


def someone_is_there() -> bool:
    return sys.stdin.isatty()
