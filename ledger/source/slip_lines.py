"""The text of one line as a recogniser of slips looks at it, and what it may propose instead."""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple


class Fix(NamedTuple):
    """What one recogniser proposes: where the slip is in its line, and the lines in its place."""

    start: int
    end: int
    lines: tuple[str, ...]
    #: Words that the message and the remedy may name.
    names: dict[str, str]
    #: How many lines of the file are replaced, and how many above the line of the slip.
    replaces: int = 1
    above: int = 0


Find = Callable[[Sequence[str], int], Iterator[Fix]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Recogniser:
    rule: str
    message: str
    remedy: str
    expected: str = ""
    find: Find
    #: Whether the line as it was meant is shown.
    offers: bool = True


_QUOTED = re.compile(
    r"(?<![^\s\[{,:])(?:\"(?:[^\"\\]|\\.)*\"|'(?:[^']|'')*')(?=\s*(?:[,:}\]]|$|\s#))"
)
COMMENT = re.compile(r"(?:^|(?<=\s))#.*$")
CLOSER_OF = {"{": "}", "[": "]"}
KEY = r"[A-Za-z_][\w-]*"
ITEM = r"\s*(?:-\s+)?"


def without_quoted(line: str) -> str:
    """The line with the text inside its quotes blotted out, of the same length."""
    return _QUOTED.sub(lambda m: m[0][0] + "x" * (len(m[0]) - 2) + m[0][-1], line)


def bare(line: str) -> str:
    """The line without the text inside its quotes and its comment, of the same length."""
    return COMMENT.sub(lambda m: " " * len(m[0]), without_quoted(line))


def in_quotes(text: str) -> str:
    """`text` as a quoted value."""
    if '"' in text or "\\" in text:
        return "'" + text.replace("'", "''") + "'"
    return f'"{text}"'


def indent_of(line: str) -> int:
    return len(line) - len(line.lstrip(" "))


def format_spaces(count: int) -> str:
    return f"{count} space" + ("" if count == 1 else "s")


def lines_before(lines: Sequence[str], n: int) -> Iterator[str]:
    """The lines above line `n` that hold more than a comment, from the nearest up."""
    return (line for line in reversed(lines[:n]) if bare(line).strip())


def unmatched_brackets(line: str) -> tuple[list[int], int | None]:
    """The brackets of a line that it opens only, and the first one that closes none of them."""
    is_open: list[int] = []
    for column, sign in enumerate(bare(line)):
        if sign in CLOSER_OF:
            is_open.append(column)
        elif sign in CLOSER_OF.values():
            if not is_open or CLOSER_OF[line[is_open[-1]]] != sign:
                return is_open, column
            is_open.pop()
    return is_open, None
