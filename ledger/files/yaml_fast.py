"""Accept fast: the value of a document that is plainly in order, and no word on one that is not.

PyYAML's binding of libyaml gives the events; the values are built here, because its own
constructor follows YAML 1.1 (`no` is false, `12:30` is 750), keeps the last of two equal keys
and follows aliases without end. The loop refuses whatever the format forbids, and whatever it
refuses `yaml_slow` decides: this module may say less than that one, never something else.

Unquoted words follow the core schema of YAML 1.2.2 (10.3.2) with two narrowings that both reading
paths share: a number that starts with a spare zero (`0123`), an octal (`0o17`) and a hexadecimal
(`0x1F`) stay text, because in a ledger they are part numbers and serials; and a number that a
64-bit float cannot hold exactly enough (infinite, not a number, an integer beyond 2**53) is
refused.
"""

import math
import re
from functools import lru_cache
from typing import Any

import yaml

from ledger.files.text import FORBIDDEN_IN_VALUE

_WORDS: dict[str, bool | None] = {
    "": None,
    "~": None,
    "null": None,
    "Null": None,
    "NULL": None,
    "true": True,
    "True": True,
    "TRUE": True,
    "false": False,
    "False": False,
    "FALSE": False,
}

_NUMBER_STARTS = frozenset("0123456789+-.")

_INTEGER = re.compile(r"[-+]?(?:0|[1-9][0-9]*)")

_FLOAT = re.compile(
    r"[-+]?(?:\.[0-9]+|(?:0|[1-9][0-9]*)(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?",
)

_NOT_FINITE = re.compile(r"[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)")

#: The largest size of integer that JSON readers agree on (RFC 8259 section 6).
MAX_INTEGER = 2**53


Scalar = str | int | float | bool | None


def number_without_commas(number: str) -> str:
    """A number typed with commas, as it was most likely meant: `42,5` is 42.5, `193,000` is 193000.

    "" where nothing is likely. Of comma and point the last one stands before the decimals.
    """
    if "." in number and "," in number and number.rfind(".") < number.rfind(","):
        number = number.translate(str.maketrans(",.", ".,"))
    whole, *parts = number.split(",")
    if not parts:
        return number
    first = whole.lstrip("-")
    is_grouped = all(re.match(r"[0-9]{3}(?![0-9])", part) for part in parts)
    if is_grouped and first != "0" and 0 < len(first) <= 3:
        return whole + "".join(parts)
    return f"{whole}.{parts[0]}" if len(parts) == 1 and "." not in number else ""


class NumberRefusedError(ValueError):
    """An unquoted word that is a number no ledger can use; the text says why."""


# The words of a site repeat without end; the cache also keeps one copy of each.
@lru_cache(maxsize=65_536)
def plain_value(word: str) -> Scalar:
    """The value of an unquoted word. Raises NumberRefusedError."""
    if word in _WORDS:
        return _WORDS[word]
    if word[0] not in _NUMBER_STARTS:
        return word
    if _INTEGER.fullmatch(word):
        # Counted in characters first: turning a very long numeral into an integer is slow.
        if len(word) > 20 or abs(int(word)) > MAX_INTEGER:
            raise NumberRefusedError("the number is too large to be kept exactly")
        return int(word)
    if _FLOAT.fullmatch(word):
        number = float(word)
        if not math.isfinite(number):
            raise NumberRefusedError("the number is too large")
        return number
    if _NOT_FINITE.fullmatch(word):
        raise NumberRefusedError("the number is not finite")
    return word


try:
    from yaml.cyaml import CParser  # type: ignore[attr-defined]  # the stub hides it
except ImportError:  # pragma: no cover - PyYAML built without libyaml; then all reading is slow
    CParser = None  # type: ignore[assignment,misc]


#: Collections within collections, the document's own included.
MAX_DEPTH = 32

MERGE_KEY = "<<"


# Where libyaml and ruamel.yaml part, found by mutating documents: tabs that separate; a comment
# or lines of mere spaces right after the sign of a block of text; `"key":value`; `?` without a
# space; an explicit end of the document. The tests look for more. Each pattern is tried only
# where its sign occurs at all.
_READERS_DIFFER = (
    ("\t", re.compile(r"\t")),
    ("|", re.compile(r"\|[-+0-9]{0,3} *(?:#|\n\n* +(?:\n|\Z))")),
    (">", re.compile(r">[-+0-9]{0,3} *(?:#|\n\n* +(?:\n|\Z))")),
    ('"', re.compile(r"\"[ \n]*:[^ \n]")),
    ("'", re.compile(r"'[ \n]*:[^ \n]")),
    ("?", re.compile(r"(?<![^ \n,\[{])\?[^ \n]")),
    ("...", re.compile(r"^\.\.\.", re.MULTILINE)),
)

# A document that is one word is no file of a ledger, and readers differ on where it ends.
_ROOTS = (dict, list)


class RefusedError(Exception):
    """The document is not plainly in order."""


def accept(text: str) -> Any:
    """The value of `text`, made of dict, list, str, int, float, bool and None.

    `text` has LF line ends and none of the characters that `text.decode` reports.
    Raises RefusedError without a reason.
    """
    if CParser is None:
        raise RefusedError
    value = _by_line(text)
    return _accept_whole(text) if value is None else value


def _refuse_where_readers_differ(text: str) -> None:
    for sign, pattern in _READERS_DIFFER:
        if sign in text and pattern.search(text):
            raise RefusedError


def _accept_whole(text: str) -> Any:
    _refuse_where_readers_differ(text)
    try:
        return _build(CParser(text))
    except (yaml.YAMLError, NumberRefusedError) as error:
        raise RefusedError from error


_STAMP_LINE = re.compile(
    r"(at|entered_at): ([0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(?::[0-9]{2})?)"
)


def _by_line(text: str) -> dict[str, Any] | None:
    """The value of a visit that is written one key and one entry a line, as most are; else None.

    Each of its lines is complete in itself, so that it means the same here as alone, and lines
    repeat: nine in ten entries of a site have been read before.
    """
    head, mark, entries = text.partition("\nentries:\n")
    if not mark or not entries.endswith("}\n"):
        return None
    value: dict[str, Any] = {}
    try:
        for line in head.split("\n"):
            if line.startswith("#"):
                _refuse_where_readers_differ(line)
                continue
            if stamp := _STAMP_LINE.fullmatch(line):
                key, found = stamp[1], stamp[2]
            elif "a" <= line[:1] <= "z":
                ((key, found),) = _line(line).items()
            else:
                return None
            if key in value or key == "entries":
                return None
            value[key] = found
        value["entries"] = [_entry_line(line) for line in entries[:-1].split("\n")]
    except (RefusedError, ValueError):
        return None
    return value


@lru_cache(maxsize=65_536)
def _line(line: str) -> Any:
    return _accept_whole(line)


@lru_cache(maxsize=262_144)
def _entry_line(line: str) -> Any:
    """The value of one entry, read at the depth that it has in its file."""
    if not (line.startswith("  - {") and line.endswith("}")):
        raise RefusedError
    item = _plain_items(line[5:-1])
    if item is None:
        (item,) = _accept_whole(f"entries:\n{line}\n")["entries"]
    return item


def forget_lines() -> None:
    """Give back what was kept so that a line seen before need not be read again."""
    _line.cache_clear()
    _entry_line.cache_clear()
    _plain_item.cache_clear()
    plain_value.cache_clear()


# Words without a sign that has a meaning in YAML, and so the same alone as in their line. A key of
# more than 1,024 characters is none to YAML (1.2.2, 7.4.2).
_PLAIN_ITEM = re.compile(r"([a-z][a-z_]{0,99}): ([A-Za-z0-9](?:[A-Za-z0-9 _./-]*[A-Za-z0-9_./-])?)")


def _plain_items(inside: str) -> dict[str, Scalar] | None:
    """What stands inside the braces of a line of plain words; None where they are not plain."""
    items = [_plain_item(text) for text in inside.split(", ")]
    found = dict(item for item in items if item is not None)
    return found if len(found) == len(items) else None


# One copy is kept of each item, and so of each key and word.
@lru_cache(maxsize=65_536)
def _plain_item(text: str) -> tuple[str, Scalar] | None:
    item = _PLAIN_ITEM.fullmatch(text)
    key = None if item is None else plain_value(item[1])
    return None if item is None or not isinstance(key, str) else (key, plain_value(item[2]))


def _build(parser: Any) -> Any:
    # Local names: this loop is most of the time a large site takes to read.
    scalar = yaml.ScalarEvent
    mapping_start, mapping_end = yaml.MappingStartEvent, yaml.MappingEndEvent
    sequence_start, sequence_end = yaml.SequenceStartEvent, yaml.SequenceEndEvent
    next_event = parser.get_event
    next_event()
    start = next_event()
    if start.__class__ is not yaml.DocumentStartEvent or start.version or start.tags:
        raise RefusedError
    # The document's value is the one item of a list, so that it needs no case of its own.
    holder: list[Any] = []
    target: Any = holder
    in_mapping = False
    key: str | None = None
    outer: list[tuple[Any, bool]] = []
    while True:
        event = next_event()
        kind = event.__class__
        if kind is scalar:
            value = event.value
            style = event.style
            if event.anchor is not None or event.tag is not None:
                raise RefusedError
            if not style:
                if value == MERGE_KEY:
                    raise RefusedError
                value = plain_value(value)
            elif style == '"' and FORBIDDEN_IN_VALUE.search(value):
                raise RefusedError
        elif kind is mapping_start or kind is sequence_start:
            if event.anchor is not None or event.tag is not None or len(outer) >= MAX_DEPTH:
                raise RefusedError
            value = {} if kind is mapping_start else []
        elif kind is mapping_end or kind is sequence_end:
            target, in_mapping = outer.pop()
            continue
        else:
            break
        if not in_mapping:
            target.append(value)
        elif key is None:
            if value.__class__ is not str or value in target:
                raise RefusedError
            key = value
            continue
        else:
            target[key] = value
            key = None
        if kind is not scalar:
            outer.append((target, in_mapping))
            target = value
            in_mapping = kind is mapping_start
    # An alias ends the loop too, with the document unfinished.
    if (
        kind is not yaml.DocumentEndEvent
        or next_event().__class__ is not yaml.StreamEndEvent
        or holder[0].__class__ not in _ROOTS
    ):
        raise RefusedError
    return holder[0]
