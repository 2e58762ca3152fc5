"""Diagnostics for people: place, what is wrong, the line with a caret, what was expected."""

import unicodedata
from collections.abc import Iterable

from ledger.diagnostics import Diagnostic, Severity
from ledger.write.escape import defused, log_text, terminal_text

# Lines of a file may be long; a reader needs what is around the caret.
_WIDEST = 100
_BEFORE_CARET = 60

_BOLD, _RED, _YELLOW, _CYAN, _PLAIN = "\x1b[1m", "\x1b[31m", "\x1b[33m", "\x1b[36m", "\x1b[0m"


def render(diagnostics: Iterable[Diagnostic], *, color: bool = False) -> str:
    """One block a diagnostic, with escape sequences for colour only where `color` says so."""
    return "".join(_block(diagnostic, color=color) for diagnostic in diagnostics)


def _block(diagnostic: Diagnostic, *, color: bool) -> str:
    def paint(code: str, words: str) -> str:
        return f"{code}{words}{_PLAIN}" if color else words

    weight = _RED if diagnostic.severity is Severity.ERROR else _YELLOW
    place = paint(_BOLD, log_text(f"{diagnostic.position}:"))
    severity = paint(weight, diagnostic.severity.value)
    lines = [
        f"{place} {severity}: {log_text(diagnostic.message)} [{log_text(diagnostic.rule)}]",
    ]
    if diagnostic.source_line.strip() and diagnostic.position.line:
        source, caret = _pointed_at(diagnostic)
        margin = f"{diagnostic.position.line:>5} | "
        lines += [margin + source, " " * 5 + " | " + paint(weight, caret)]
    for name, words in (
        ("expected", diagnostic.expected),
        ("did you mean", f"{diagnostic.nearest}?" if diagnostic.nearest else ""),
        ("remedy", diagnostic.remedy),
    ):
        if words:
            lines.append(f"        {paint(_CYAN, name)}: {log_text(words)}")
    return "\n".join(lines) + "\n"


def _pointed_at(diagnostic: Diagnostic) -> tuple[str, str]:
    """The source line, cut to the part that matters, and the line with the carets under it."""
    line = defused(diagnostic.source_line)
    start = min(max(diagnostic.position.column - 1, 0), len(line))
    end = min(max(diagnostic.position.end_column - 1, start + 1), len(line) + 1)
    first = 0
    if len(line) > _WIDEST:
        first = max(0, min(start - _BEFORE_CARET, len(line) - _WIDEST))
    last = first + _WIDEST
    before = ("…" if first else "") + terminal_text(line[first:start])
    after = terminal_text(line[start:last]) + ("…" if len(line) > last else "")
    marked = terminal_text(line[start : min(end, last)])
    return before + after, " " * _columns(before) + "^" * max(1, _columns(marked))


def _columns(text: str) -> int:
    """Columns that `text` takes: none for a combining mark, two for a wide character."""
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in text
    )
