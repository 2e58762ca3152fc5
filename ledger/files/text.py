"""From bytes to the characters of a document, and what must not be among them."""

import re
from typing import Unpack

from ledger.files.diagnostics import Diagnostic, FaultText, Position, fault_of_file
from ledger.files.tree import MAX_FILE_BYTES

# C0 and C1 controls other than tab and line ends, a carriage return alone, line and paragraph
# separators (editors disagree whether they end a line), marks that reorder the text around them
# (a review would show another order than the bytes have), a byte order mark, non-characters,
# and the halves of surrogate pairs, which an escape can still produce.
_FORBIDDEN = (
    "\\x00-\\x08\\x0b\\x0c\\x0e-\\x1f\\x7f-\\x9f"
    "\\u2028\\u2029\\u202a-\\u202e\\u2066-\\u2069\\ufeff\\ufffe\\uffff\\ud800-\\udfff"
)

_FORBIDDEN_IN_FILE = re.compile(f"[{_FORBIDDEN}]|\\r(?!\\n)")

#: What no value may hold, even when it was written as an escape such as `\0`.
FORBIDDEN_IN_VALUE = re.compile(f"[{_FORBIDDEN}\\r]")

_TAB_INDENT = re.compile(r"^ *\t", re.MULTILINE)

#: Stands where a character was that no text may hold.
REPLACEMENT = "\N{REPLACEMENT CHARACTER}"


def decode(raw: bytes, path: str) -> tuple[str | None, tuple[Diagnostic, ...]]:
    """The text in the UTF-8 bytes of a file, its lines ended by LF, and what is wrong with it.

    None where there is nothing to go on with. Single characters at fault are replaced one for one,
    so that reading on finds the other faults at their places. One byte order mark at the very
    start is accepted.
    """
    if len(raw) > MAX_FILE_BYTES:
        too_large = fault_of_file(
            path,
            rule="file-too-large",
            message=f"the file is larger than {MAX_FILE_BYTES // 1024} KiB",
            remedy="split it: one visit, one machine or one task per file",
        )
        return None, (too_large,)
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        before = raw[: error.start].decode("utf-8").removeprefix("\ufeff")
        not_text = Diagnostic(
            rule="not-utf-8",
            position=point_in(path, before, len(before)),
            message=f"byte 0x{raw[error.start]:02x} is not UTF-8",
            remedy="save the file as UTF-8",
        )
        return None, (not_text,)
    text = text.removeprefix("\ufeff")
    problems = []
    if _FORBIDDEN_IN_FILE.search(text):
        problems = _control_characters(text, path)
        text = _FORBIDDEN_IN_FILE.sub(REPLACEMENT, text)
    text = text.replace("\r\n", "\n")
    tabs = list(_TAB_INDENT.finditer(text)) if "\t" in text else []
    if tabs:
        more = f", and {len(tabs) - 1} more such lines" if len(tabs) > 1 else ""
        problems.append(
            _fault_of_character(
                path,
                text,
                tabs[0].end() - 1,
                rule="tab-indentation",
                message=f"the line is indented with a tab{more}",
                expected="spaces",
                remedy="replace the tabs at the start of lines by spaces",
            )
        )
        # How deep a tab indents is anyone's guess, so nothing after it can be trusted.
        return None, tuple(problems)
    return text, tuple(problems)


def line_of(text: str, line: int) -> str:
    """The text of one line, counted from 1, without its end; "" past the last."""
    lines = text.split("\n", line)
    return lines[line - 1] if 0 < line <= len(lines) else ""


def describe_character(character: str) -> str:
    """A character by its code, with a word for the ones people meet."""
    known = {
        "\0": "a NUL",
        "\ufeff": "a byte order mark",
        "\r": "a carriage return without a line feed",
        "\x1b": "an escape",
        "\u2028": "a line separator",
        "\u2029": "a paragraph separator",
    }
    kind = (
        "half of a surrogate pair" if "\ud800" <= character <= "\udfff" else "a control character"
    )
    return f"{known.get(character, kind)} (U+{ord(character):04X})"


def _control_characters(text: str, path: str) -> list[Diagnostic]:
    """One diagnostic for each different character, at its first place."""
    first: dict[str, int] = {}
    for match in _FORBIDDEN_IN_FILE.finditer(text):
        first.setdefault(match.group(), match.start())
    return [
        _fault_of_character(
            path,
            text,
            offset,
            rule="control-character",
            message=f"the file holds {describe_character(character)}",
            remedy="delete the character, or save the file with LF or CRLF line ends"
            if character == "\r"
            else "delete the character",
        )
        for character, offset in first.items()
    ]


def _fault_of_character(path: str, text: str, offset: int, **said: Unpack[FaultText]) -> Diagnostic:
    position = point_in(path, text, offset, width=1)
    source_line = line_of(text, position.line).rstrip("\r")
    return Diagnostic(position=position, source_line=source_line, **said)


def point_in(path: str, text: str, offset: int, *, width: int = 0) -> Position:
    """The place of a character of a text, or of the so many from there on."""
    line = text.count("\n", 0, offset) + 1
    column = offset - text.rfind("\n", 0, offset)
    end = column + width if width else 0
    return Position(path=path, line=line, column=column, end_column=end)
