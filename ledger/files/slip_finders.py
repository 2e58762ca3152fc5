"""Ways to find what was mistyped on a line: each proposes the line, or the lines, as meant.

A finder may be generous: what it proposes counts only where the fault is gone with it.
"""

import re
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from typing import Any, NamedTuple

from ledger.files.schemas import shipped_schemas


class Fix(NamedTuple):
    """Where the slip is in its line, and the lines in its place."""

    start: int
    end: int
    lines: tuple[str, ...]
    #: Words that the message and the remedy may name.
    names: dict[str, str]
    #: How many lines of the file are replaced, and how many above the line of the slip.
    replaces: int = 1
    above: int = 0


Find = Callable[[Sequence[str], int], Iterator[Fix]]

_QUOTED = re.compile(
    r"(?<![^\s\[{,:])(?:\"(?:[^\"\\]|\\.)*\"|'(?:[^']|'')*')(?=\s*(?:[,:}\]]|$|\s#))"
)

_COMMENT = re.compile(r"(?:^|(?<=\s))#.*$")

_CLOSER_OF = {"{": "}", "[": "]"}

KEY = r"[A-Za-z_][\w-]*"

ITEM = r"\s*(?:-\s+)?"


def without_quoted(line: str) -> str:
    """The line with the text inside its quotes blotted out, of the same length."""
    return _QUOTED.sub(lambda m: m[0][0] + "x" * (len(m[0]) - 2) + m[0][-1], line)


def bare(line: str) -> str:
    """The line without the text inside its quotes and its comment, of the same length."""
    return _COMMENT.sub(lambda m: " " * len(m[0]), without_quoted(line))


def in_quotes(text: str) -> str:
    """`text` as a quoted value."""
    if '"' in text or "\\" in text:
        return "'" + text.replace("'", "''") + "'"
    return f'"{text}"'


def replaced(
    pattern: str,
    put: str | Callable[[re.Match[str]], str],
    *,
    in_comments: bool = False,
    with_known_key: bool = False,
) -> Find:
    r"""Puts something in the place of the group `slip`: at one match of a pattern, then at all.

    A text to put may name groups, as in `[\g<slip>]`.
    The pattern is matched to the line without the text in its quotes. Its other groups are the
    words that a message may name; a group `at` is the place to show. `with_known_key` asks that
    `key` is one that schemas name. Nothing is proposed where `put` gives "" for a text.
    """
    compiled = re.compile(pattern)

    def find(lines: Sequence[str], n: int) -> Iterator[Fix]:
        line = lines[n]
        shown = without_quoted(line) if in_comments else bare(line)
        found = [
            match
            for match in compiled.finditer(shown)
            if not with_known_key or match["key"] in _known_keys()
        ]
        for chosen in [*([match] for match in found), *([found] if len(found) > 1 else [])]:
            mended = line
            for match in reversed(chosen):
                start, end = match.span("slip")
                # Quoted text is blotted out in the match, not in the file.
                true = match if shown == line else (compiled.match(line, match.start()) or match)
                new = true.expand(put) if isinstance(put, str) else put(true) or match["slip"]
                mended = mended[:start] + new + mended[end:]
            if mended != line:
                first = chosen[0]
                start, end = first.span("at" if "at" in compiled.groupindex else "slip")
                names = {
                    name: line[slice(*first.span(name))]
                    for name in compiled.groupindex
                    if first[name] is not None
                }
                yield Fix(start, end, tuple(mended.split("\n")), names)

    return find


@cache
def _known_keys() -> frozenset[str]:
    """Every key that some schema names."""
    return frozenset(_keys_in([*shipped_schemas().by_uri.values()]))


def _keys_in(schema: Any) -> Iterator[str]:
    if isinstance(schema, dict):
        yield from schema.get("properties", ())
        schema = list(schema.values())
    for part in schema if isinstance(schema, list) else ():
        yield from _keys_in(part)


def removed(pattern: str) -> Find:
    """Takes the lines away that begin with a pattern."""

    def find(lines: Sequence[str], n: int) -> Iterator[Fix]:
        if match := re.match(pattern, lines[n]):
            yield Fix(indent_of(lines[n]), match.end(), (), {})

    return find


def indent_of(line: str) -> int:
    return len(line) - len(line.lstrip(" "))


def _lines_before(lines: Sequence[str], n: int) -> Iterator[str]:
    """The lines above line `n` that hold more than a comment, from the nearest up."""
    return (line for line in reversed(lines[:n]) if bare(line).strip())


def unmatched_brackets(line: str) -> tuple[list[int], int | None]:
    """The brackets of a line that it opens only, and the first one that closes none of them."""
    is_open: list[int] = []
    for column, sign in enumerate(bare(line)):
        if sign in _CLOSER_OF:
            is_open.append(column)
        elif sign in _CLOSER_OF.values():
            if not is_open or _CLOSER_OF[line[is_open[-1]]] != sign:
                return is_open, column
            is_open.pop()
    return is_open, None


def wrong_bracket(lines: Sequence[str], n: int) -> Iterator[Fix]:
    """One bracket closes what another opened: `{a: 1]`."""
    line = lines[n]
    is_open, wrong = unmatched_brackets(line)
    if is_open and wrong is not None:
        right = _CLOSER_OF[line[is_open[-1]]]
        new = line[:wrong] + right + line[wrong + 1 :]
        yield Fix(wrong, wrong + 1, (new,), {"bracket": line[wrong], "right": right})


def open_bracket(lines: Sequence[str], n: int) -> Iterator[Fix]:
    """A bracket that is not closed: before another that is, as in `[30, 60}}`, or at all."""
    line = lines[n]
    is_open, wrong = unmatched_brackets(line)
    if is_open:
        at = is_open[-1]
        closing = "".join(_CLOSER_OF[line[column]] for column in reversed(is_open))
        end = len(bare(line).rstrip().rstrip(","))
        if wrong is not None:
            closing, end = closing[0], wrong
        rest = line[end:] if wrong is not None else line[end:].lstrip(",")
        yield Fix(at, at + 1, (line[:end] + closing + rest,), {"bracket": line[at]})


def spare_bracket(lines: Sequence[str], n: int) -> Iterator[Fix]:
    """A bracket that closes nothing."""
    line = lines[n]
    is_open, wrong = unmatched_brackets(line)
    if not is_open and wrong is not None:
        new = line[:wrong] + line[wrong + 1 :]
        yield Fix(wrong, wrong + 1, (new,), {"bracket": line[wrong]})


def missing_dash(lines: Sequence[str], n: int) -> Iterator[Fix]:
    """An item without its dash; the other lines of the item may have to move with it."""
    line, start = lines[n], indent_of(lines[n])
    above = list(_lines_before(lines, n))[:4]
    below = next((row for row in lines[n + 1 :] if row.strip()), "")
    is_in_list = any(re.match(rf" {{{start}}}- ", row) for row in (*above, below))
    opens_list = bool(above) and above[0].rstrip().endswith(":") and indent_of(above[0]) <= start
    if line[start : start + 1] in {"-", ""} or not (is_in_list or opens_list):
        return
    dashed = f"{line[:start]}- {line[start:]}"
    yield Fix(start, start + 1, (dashed,), {})
    rest = n + 1
    while rest < len(lines) and re.match(rf" {{{start},}}(?!- )\S", lines[rest]):
        rest += 1
    moved = tuple("  " + row for row in lines[n + 1 : rest])
    yield Fix(start, start + 1, (dashed, *moved), {}, replaces=rest - n)


def value_below(lines: Sequence[str], n: int) -> Iterator[Fix]:
    """The value of a key on the next line, not indented: one line further in it counts as well."""
    above, line = lines[n - 1] if n else "", lines[n]
    key = re.fullmatch(rf"{ITEM}(?P<key>{KEY}):\s*", above)
    if key is not None and not re.match(rf"\s*(?:-\s|[{{[]|{KEY}:(?:\s|$)|$)", line):
        names = {"key": key["key"], "right": f"{key['key']}: {line.strip()}"}
        moved = " " * (indent_of(above) + 4) + line.strip()
        yield Fix(indent_of(line), len(line.rstrip()), (moved,), names)


def text_goes_on(lines: Sequence[str], n: int) -> Iterator[Fix]:
    """Text that goes on in the next line, and has a colon there."""
    line, above = lines[n], lines[n - 1] if n else ""
    key = re.fullmatch(rf"(?P<before>{ITEM}{KEY}:\s+)(?P<text>[^\s{{\[\"'].*)", above)
    # No key has a space in it.
    colon = re.match(r"\s*[^\s:]+\s[^:]*:(?:\s|$)", line)
    if key and colon and indent_of(line) > indent_of(above):
        whole = in_quotes(f"{key['text'].rstrip()} {line.strip()}")
        yield Fix(indent_of(line), len(line.rstrip()), (key["before"] + whole,), {}, above=1)


def wrong_indent(lines: Sequence[str], n: int) -> Iterator[Fix]:
    """A line indented otherwise than those around it, alone or with the deeper ones below it."""
    line, start = lines[n], indent_of(lines[n])
    if not line.strip():
        return
    above = list(_lines_before(lines, n))[:6]
    below = [row for row in lines[n + 1 : n + 4] if row.strip()]
    depths: list[int] = []
    for row in (*above, *below):
        dash = re.match(r"\s*-\s+", row)
        depths.append(indent_of(row))
        if dash and not line[start:].startswith("-"):
            depths.append(dash.end())
    last = n + 1
    while last < len(lines) and lines[last].strip() and indent_of(lines[last]) > start:
        last += 1
    for depth in dict.fromkeys(depths):
        if depth == start:
            continue
        right = f"indent it by {_spaces(depth)}" if depth else "remove the spaces before it"
        names = {"is": _spaces(start), "right": right}
        moved = tuple(
            " " * max(0, indent_of(row) + depth - start) + row.lstrip() for row in lines[n:last]
        )
        yield Fix(start, start, moved[:1], names)
        if len(moved) > 1:
            yield Fix(start, start, moved, names, replaces=last - n)


def indent_unlike_both(lines: Sequence[str], n: int) -> Iterator[Fix]:
    """A line between two that are indented alike, and it is not."""
    above = next(_lines_before(lines, n), None)
    below = next((row for row in lines[n + 1 :] if bare(row).strip()), None)
    if above is not None and below is not None:
        dash = re.match(r"\s*-\s+", above)
        depths = {indent_of(above), dash.end() if dash else indent_of(above)}
        for fix in wrong_indent(lines, n):
            depth = indent_of(fix.lines[0])
            if len(fix.lines) == 1 and depth in depths and depth == indent_of(below):
                yield fix


def _spaces(count: int) -> str:
    return f"{count} space" + ("" if count == 1 else "s")


def open_quote(lines: Sequence[str], n: int) -> Iterator[Fix]:
    """A quote without its other end, which may belong wherever a value can end."""
    line = lines[n]
    for match in re.finditer(r"(?<![^\s\[{,:])[\"']", bare(line)):
        for end in re.finditer(rf",\s*{KEY}:\s|[}}\]]\s*$|\s*$", line[match.end() :]):
            at = match.end() + end.start()
            yield Fix(match.start(), match.end(), (line[:at] + match[0] + line[at:],), {})
