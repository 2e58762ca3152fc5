"""Explain slowly: the value of any document, where each part of it is, and what is wrong with it.

This module says what a document means; `yaml_fast` may only agree. ruamel.yaml gives the events
of YAML 1.2. Its pure reader is asked for by name: with its old C package installed the safe
loader would quietly use that one, which crashes on deep nesting and reads other documents.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Unpack

import yaml
from ruamel.yaml import YAML
from ruamel.yaml import events as slow_events
from ruamel.yaml.error import MarkedYAMLError, YAMLError

from ledger.files import yaml_fast
from ledger.files.diagnostics import Diagnostic, FaultText, FirstOfEach, Position
from ledger.files.document import Pointer
from ledger.files.schema_fault import kind_of
from ledger.files.slips import MAX_MENDED_FAULTS, Slip, find_slip, in_place_of
from ledger.files.text import FORBIDDEN_IN_VALUE, REPLACEMENT, describe_character, line_of, point_in
from ledger.values import dataclass

# What ruamel says, as a pattern, against what to tell a person and what the person can do.
_PLAIN_WORDS = (
    (
        "mapping values are not allowed here",
        "a colon and a space cannot be here",
        "put the text in quotes, or line the key up with its neighbours",
    ),
    (
        "expected <block end>",
        "the line does not line up with the ones above",
        "give entries of one list, and keys of one mapping, the same indentation",
    ),
    (r"found character '\\t'", "there is a tab here", "replace tabs by spaces"),
    (
        "that cannot start any token",
        "text cannot start with this character",
        "put the text in quotes",
    ),
    ("could not find expected ':'", "a key without its colon", "write key: value"),
    (
        "found unexpected (?:end of stream|document separator)",
        "a quote is opened and never closed",
        "close the quote",
    ),
    (
        "expected ',' or ']'",
        "a list in [ ] is not closed",
        "separate the items with commas and close it",
    ),
    (
        "expected ',' or '}'",
        "a mapping in { } is not closed",
        "separate the keys with commas and close it; text with a colon or comma in it needs quotes",
    ),
    (
        "expected the node content",
        "a value is missing here",
        "write the value, and close every bracket",
    ),
)

# The same for what no slip elsewhere in the text can be behind.
_SURE_WORDS = (
    (
        "more indented follow up line",
        "a block of text starts with a line of spaces only",
        "delete the spaces",
    ),
    ("unknown escape character", "there is no such escape", r"write \\ for a backslash"),
    ("undefined alias", "aliases are not part of the format", "write the value out"),
    ("undefined tag handle", "tags are not part of the format", "take the tag away"),
)

# What the format leaves out of YAML, by rule, and what to do about it.
_LEFT_OUT_OF_YAML = {
    "alias": "write the value out, or put it in quotes where it is text",
    "anchor": "remove the anchor, or put it in quotes where it is text",
    "directive": "delete the line",
    "merge-key": "write the keys out",
    "tag": "remove the tag, and put the value in quotes where it is text",
}


# So many lines before the one where a fault is seen are looked at for its cause.
_LINES_BEFORE = 3

# Each of many proposals is read by the slow reader where a text has several slips.
_MOST_READ_AGAIN = 8 * 1024

# JSON writes a character beyond U+FFFF as two escapes, and YAML reads JSON (YAML 1.2.2, 1.2).
_PAIR = re.compile("[\ud800-\udbff][\udc00-\udfff]")

# A file with so many faults of its text is not read on: it would take seconds, and help nobody.
_MOST_FAULTS = 500

_PAST_UNICODE = re.compile(r"\\U(?!000|0010)[0-9A-Fa-f]{8}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Explained:
    """What a document holds. `value` is None where nothing can be made of it.

    Where `diagnostics` is not empty the value is what is left without the parts at fault.
    `values` and `keys` tell the place of each value and of each key, by the path to the value.
    """

    value: Any
    values: Mapping[Pointer, Position]
    keys: Mapping[Pointer, Position]
    diagnostics: tuple[Diagnostic, ...]


class _Stop(Exception):  # noqa: N818 - not an error: the place where reading on makes no sense
    pass


def explain(text: str, path: str) -> Explained:
    """Read `text`, which `text.decode` gave, of the file `path`. Never raises for bad text."""
    reader = _read(text, path)
    return reader.explained(_with_slips(reader, text, path))


def located(text: str) -> Explained:
    """What `explain` gives, ten times sooner where the fast reader accepts the text."""
    if not _is_in_order(text):
        return explain(text, "")
    reader = _Reader(text, "", yaml.parse(text, Loader=yaml.CSafeLoader), yaml)
    return reader.explained(reader.problems.kept())


def _read(text: str, path: str = "") -> "_Reader":
    return _Reader(text, path, YAML(typ="safe", pure=True).parse(text), slow_events)


def _with_slips(reader: "_Reader", text: str, path: str) -> tuple[Diagnostic, ...]:
    """What is wrong, with the slip of a person in the place of the faults that it explains."""
    found = reader.problems.kept()
    for fault in [one for one in found if one in reader.seen_at][:MAX_MENDED_FAULTS]:
        if fault in found and (slip := _slip_behind(fault, reader, text, path)):
            others = [one for one in found if one is not fault]
            found = in_place_of(slip, others, _read(slip.text).problems.kept())
    return tuple(sorted(found, key=lambda one: one.position))


def _slip_behind(fault: Diagnostic, reader: "_Reader", text: str, path: str) -> Slip | None:
    seen = reader.seen_at[fault]
    lines = _lines_to_try(text, fault.position.line, seen)
    before = _faults_until(reader, seen)

    def is_better_so_far(other: str) -> bool:
        after = _faults_until(_read(other), seen)
        # A syntax that is wrong hides what follows; of other faults only this one may go.
        return after < before if fault.rule == "bad-yaml" else after == before - 1

    slip = find_slip(text, path, lines, _is_in_order)
    if slip is None and len(text) <= _MOST_READ_AGAIN:
        slip = find_slip(text, path, lines, is_better_so_far)
    return slip


def _is_in_order(text: str) -> bool:
    try:
        yaml_fast.accept(text)
    except yaml_fast.RefusedError:
        return False
    return True


def _faults_until(reader: "_Reader", line: int) -> int:
    """How many faults a reader saw up to a line; a text it could not begin with has all of them."""
    faults = reader.problems.kept()
    return sum(reader.seen_at.get(one, one.position.line) <= line for one in faults)


def _lines_to_try(text: str, named: int, seen: int) -> list[int]:
    """The lines on which the cause of a fault may be: where it is named, seen, and just before."""
    rows = text.split("\n")
    before = [n for n in range(seen - 1, 0, -1) if rows[n - 1].strip()]
    return [named, seen, *before[:_LINES_BEFORE]]


class _Reader:
    """Reads a text at once.

    `kinds` is the module with the classes of the events; both libraries name them alike.
    """

    def __init__(self, text: str, path: str, events: Iterator[Any], kinds: Any) -> None:
        self._text = text
        self._path = path
        self._events = events
        self._kinds = kinds
        self.problems = FirstOfEach()
        self._odd_texts = 0
        self.values: dict[Pointer, Position] = {}
        self.keys: dict[Pointer, Position] = {}
        #: Faults that a slip of the hand may be behind, and the line where the reader saw each.
        self.seen_at: dict[Diagnostic, int] = {}
        self.value = self._document()

    def explained(self, found: Iterable[Diagnostic]) -> Explained:
        return Explained(
            value=self.value, values=self.values, keys=self.keys, diagnostics=tuple(found)
        )

    def _document(self) -> Any:
        try:
            return self._stream()
        except _Stop:
            return None
        except MarkedYAMLError as error:
            self._syntax(error)
        except YAMLError as error:
            self._report(
                Position(path=self._path),
                rule="bad-yaml",
                message=str(error),
                remedy="write the file again, one key per line",
            )
        except AssertionError:
            # How the pure reader refuses a version other than 1.1 and 1.2.
            self._directive()
        except (ValueError, OverflowError):
            # How the pure reader meets an escape for a number past the last character.
            found = _PAST_UNICODE.search(self._text)
            if found is None:
                raise
            self._report(
                point_in(self._path, self._text, found.start(), width=len(found.group())),
                rule="bad-yaml",
                message=f"there is no character {found.group()}",
                expected="at most \\U0010FFFF",
                remedy=r"correct the escape; write \\ for a backslash",
            )
        return None

    def _stream(self) -> Any:
        next(self._events)
        start = next(self._events)
        if isinstance(start, self._kinds.StreamEndEvent):
            self._empty()
            return None
        if start.version or start.tags:
            self._directive()
        value = self._node(next(self._events), (), 0)
        next(self._events)
        after = next(self._events)
        if not isinstance(after, self._kinds.StreamEndEvent):
            self._report(
                self._place(after),
                rule="several-documents",
                message="a second document starts here",
                expected="one document per file",
                remedy="put it in a file of its own",
            )
        if value is None and not self.problems.count:
            self._empty()
        return value

    def _node(self, event: Any, pointer: Pointer | None, depth: int) -> Any:
        """The value that starts at `event`; its place is kept unless `pointer` is None."""
        if self.problems.count >= _MOST_FAULTS:
            raise _Stop
        if pointer is not None:
            self.values[pointer] = self._place(event)
        if isinstance(event, self._kinds.AliasEvent):
            self._refuse(self._place(event), "alias", f"aliases such as *{event.anchor}")
            return None
        self._no_properties(event)
        if isinstance(event, self._kinds.ScalarEvent):
            return self._scalar(event)
        if depth >= yaml_fast.MAX_DEPTH:
            self._report(
                self._place(event),
                rule="too-deep",
                message=f"lists and mappings are nested more than {yaml_fast.MAX_DEPTH} deep",
                remedy="check the brackets and the indentation",
            )
            raise _Stop
        if isinstance(event, self._kinds.SequenceStartEvent):
            return self._sequence(pointer, depth)
        return self._mapping(pointer, depth)

    def _sequence(self, pointer: Pointer | None, depth: int) -> list[Any]:
        items: list[Any] = []
        while not isinstance(event := next(self._events), self._kinds.SequenceEndEvent):
            below = None if pointer is None else (*pointer, len(items))
            items.append(self._node(event, below, depth + 1))
        return items

    def _mapping(self, pointer: Pointer | None, depth: int) -> dict[str, Any]:
        mapping: dict[str, Any] = {}
        while not isinstance(event := next(self._events), self._kinds.MappingEndEvent):
            key = self._key(event, mapping, pointer, depth)
            if key is None:
                self._node(next(self._events), None, depth + 1)
                continue
            below = None if pointer is None else (*pointer, key)
            mapping[key] = self._node(next(self._events), below, depth + 1)
            if below is not None:
                self.keys[below] = self._place(event)
                if mapping[key] is None and not self.values[below].end_column:
                    # Nothing was written, so there is nothing to point at but the key.
                    self.values[below] = self.keys[below]
        return mapping

    def _key(
        self, event: Any, mapping: dict[str, Any], pointer: Pointer | None, depth: int
    ) -> str | None:
        """The key at `event`, or None once it is reported that there is none to go by."""
        at = self._place(event)
        is_scalar = isinstance(event, self._kinds.ScalarEvent)
        if is_scalar and not event.style and event.value == yaml_fast.MERGE_KEY:
            self._no_properties(event)
            self._refuse(at, "merge-key", "merge keys (<<)")
            return None
        before, odd = self.problems.count, self._odd_texts
        key = self._node(event, None, depth + 1)
        if self._odd_texts > odd:
            # What such a key was meant to be is not to be told, so nothing is said of it twice.
            return None
        if not isinstance(key, str):
            if self.problems.count == before:
                self._report(
                    at,
                    rule="key-not-text",
                    message=f"the key is {kind_of(key)}",
                    expected="text",
                    remedy="put the key in quotes; a number has a decimal point, not a comma",
                    nearest=f'"{event.value}"' if is_scalar else "",
                    seen=at.line,
                )
            return None
        if key in mapping:
            first = self.keys.get((*pointer, key)) if pointer is not None else None
            where = f" on line {first.line}" if first else ""
            self._report(
                at,
                rule="duplicate-key",
                message=f"the key `{key}` was given before{where}",
                remedy="keep one of the two",
            )
            return None
        return key

    def _scalar(self, event: Any) -> Any:
        if not event.style:
            self._no_bare_question_mark(event)
            try:
                return yaml_fast.plain_value(event.value)
            except yaml_fast.NumberRefusedError as error:
                self._report(
                    self._place(event),
                    rule="bad-number",
                    message=str(error),
                    expected="a finite number",
                    remedy="correct the number, or put it in quotes where it is text",
                )
                return None
        if event.style != '"':
            return event.value
        text = _PAIR.sub(_joined, event.value)
        if found := FORBIDDEN_IN_VALUE.search(text):
            self._odd_texts += 1
            self._report(
                self._place(event),
                rule="control-character",
                message=f"the text holds {describe_character(found.group())}, written as an escape",
                remedy="write the character itself, or delete the escape"
                if "\ud800" <= found.group() <= "\udfff"
                else "delete the escape",
            )
        return FORBIDDEN_IN_VALUE.sub(REPLACEMENT, text)

    def _no_bare_question_mark(self, event: Any) -> None:
        # YAML 1.2.2 (7.3.3) reads ?x as text; the readers take the ? for the sign of a key.
        mark = event.start_mark
        if event.value and mark.index and self._text[mark.index - 1] == "?":
            self._report(
                Position(path=self._path, line=mark.line + 1, column=mark.column),
                rule="bad-yaml",
                message="text cannot start with a question mark",
                remedy="put the text in quotes",
            )

    def _no_properties(self, event: Any) -> None:
        if event.anchor is not None:
            self._refuse(self._place(event), "anchor", f"anchors such as &{event.anchor}")
        if event.tag is not None:
            self._refuse(self._place(event), "tag", f"tags such as {event.tag}")

    def _directive(self) -> None:
        at = point_in(self._path, self._text, f"\n{self._text}".index("\n%"))
        self._refuse(at, "directive", "directives (lines that start with %)")

    def _refuse(self, at: Position, rule: str, what: str) -> None:
        message = f"{what} are not part of the format"
        self._report(at, rule=rule, message=message, remedy=_LEFT_OUT_OF_YAML[rule])

    def _empty(self) -> None:
        self._report(
            Position(path=self._path),
            rule="empty-document",
            message="the file is empty",
            remedy="fill it in, or delete it",
        )

    def _syntax(self, error: MarkedYAMLError) -> None:
        problem = error.problem or error.context or "the text is not YAML"
        slip = next(
            (one for one in (*_PLAIN_WORDS, *_SURE_WORDS) if re.search(one[0], problem)), ()
        )
        _, message, remedy = slip or ("", problem, "correct the line, or put the text in quotes")
        mark = error.problem_mark or error.context_mark
        # A quote or bracket left open is found at its start, not where the file ends.
        if slip and "closed" in message and error.context_mark is not None:
            mark = error.context_mark
        at = Position(path=self._path)
        if mark is not None:
            at = Position(path=self._path, line=mark.line + 1, column=mark.column + 1)
        is_sure = error.problem_mark is None or slip in _SURE_WORDS
        seen = 0 if is_sure else error.problem_mark.line + 1
        self._report(at, rule="bad-yaml", message=message, remedy=remedy, seen=seen)

    def _place(self, event: Any) -> Position:
        """Where a value or a key starts, and where it ends if that is on the same line."""
        start, end = event.start_mark, event.end_mark
        is_word = isinstance(event, self._kinds.ScalarEvent | self._kinds.AliasEvent)
        wide = is_word and end.line == start.line and end.column > start.column
        return Position(
            path=self._path,
            line=start.line + 1,
            column=start.column + 1,
            end_column=end.column + 1 if wide else 0,
        )

    def _report(self, at: Position, *, seen: int = 0, **text: Unpack[FaultText]) -> None:
        if not self.problems.has_room(self._path, text["rule"]):
            return
        found = Diagnostic(position=at, source_line=line_of(self._text, at.line), **text)
        self.problems.add(found)
        if seen:
            self.seen_at[found] = seen


def _joined(pair: re.Match[str]) -> str:
    return pair.group().encode("utf-16", "surrogatepass").decode("utf-16")
