"""Slips that a pattern tells, and the patterns of keys and values they are made of.

The text of one line as a recogniser of slips looks at it, and what it may propose instead.
"""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from ledger.files.resources import format_key


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


def replaced(
    pattern: str,
    put: str | Callable[[re.Match[str]], str | None],
    *,
    everywhere: bool = False,
    in_comments: bool = False,
    with_known_key: bool = False,
) -> Find:
    """Puts something in the place of the group `slip` of a pattern, at its first place or at all.

    The pattern is matched to the line without the text in its quotes. Its other groups are the
    words that a message may name; `with_known_key` asks that `key` is one that schemas name.
    Nothing is proposed where `put` gives None.
    """
    compiled = re.compile(pattern)

    def find(lines: Sequence[str], n: int) -> Iterator[Fix]:
        line = lines[n]
        shown = without_quoted(line) if in_comments else bare(line)
        found = [
            match
            for match in compiled.finditer(shown)
            if not with_known_key or match["key"] in format_key()
        ]
        for chosen in [found] if everywhere and found else [[match] for match in found]:
            mended_line = line
            for match in reversed(chosen):
                start, end = match.span("slip")
                # Quoted text is blotted out in the match, not in the file.
                true = match if shown == line else (compiled.match(line, match.start()) or match)
                new = put if isinstance(put, str) else put(true)
                if new is None:
                    break
                mended_line = mended_line[:start] + new + mended_line[end:]
            if mended_line == line:
                continue
            first = chosen[0]
            start, end = first.span("at") if "at" in compiled.groupindex else first.span("slip")
            names = {
                name: line[slice(*first.span(name))]
                for name in compiled.groupindex
                if first[name] is not None
            }
            yield Fix(start, end, (mended_line,), names)

    return find


def lookalike(signs: str, put: str) -> Find:
    return replaced(f"(?P<slip>[{signs}])", put, everywhere=True)


CURLY_QUOTES = (
    "\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u201b\u00ab\u00bb\u2039\u203a\uff02\uff07"
)

ODD_SPACES = "\u00a0\u1680\u2000-\u200a\u202f\u205f\u3000"

UNSEEN = "\u00ad\u200b-\u200d\u2060"

DASHES = "\u2010-\u2015\u2212\ufe58\ufe63\uff0d"


def quoted_slip(match: re.Match[str]) -> str:
    return in_quotes(match["slip"].strip().strip(CURLY_QUOTES))


# The value of a key in braces: it ends where the next key or the end of the braces stands.
FLOW_END = rf"(?=\s*(?:,\s*[\"']?{KEY}[\"']?:(?:\s|$)|\}}\s*$|\}}\s*,))"

FLOW_KEY = rf"[{{,]\s*(?P<key>{KEY}):\s+"

# A character of a value, which ends before the next key.
TEXT = rf"(?:(?!,\s*{KEY}:\s)[^{{}}])"

BLOCK_KEY = rf"^{ITEM}(?P<key>{KEY}):\s+"

SIGNS = r"@`%&*!|>\[\]{}\"'#?,-"
