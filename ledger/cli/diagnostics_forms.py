"""Diagnostics for people: place, what is wrong, the line with a caret, what was expected.

What a diagnostic says, as sentences, and the fingerprint by which it is known again.

Diagnostics as GitHub workflow commands, which become annotations of a pull request.

GitHub Docs, "Workflow commands for GitHub Actions": a command is one line,
`::error file=…,line=…,col=…,endColumn=…,title=…::message`.

Diagnostics as a GitLab code quality report (GitLab Docs, "Code Quality report format").

Diagnostics for programs.

Diagnostics as SARIF 2.1.0 (OASIS, Static Analysis Results Interchange Format).

The forms that diagnostics can be written in, by name.
"""

import hashlib
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any
from urllib.parse import quote

from ledger.book.escape import (
    defused,
    github_command_property,
    github_command_text,
    json_text,
    log_text,
    terminal_text,
)
from ledger.files.diagnostics import Diagnostic, Severity

_LINE_NUMBER = re.compile(r"\bline \d+")


def sentences(diagnostic: Diagnostic) -> list[str]:
    """What is wrong, what was expected, the nearest spelling and the remedy, as far as known."""
    said = [terminal_text(diagnostic.message)]
    if diagnostic.expected:
        said.append(f"Expected: {terminal_text(diagnostic.expected)}.")
    if diagnostic.nearest:
        said.append(f"Did you mean {terminal_text(diagnostic.nearest)}?")
    if diagnostic.remedy:
        said.append(f"Remedy: {terminal_text(diagnostic.remedy)}.")
    return said


def fingerprints(diagnostics: Sequence[Diagnostic]) -> list[str]:
    """For each diagnostic a digest that stays when lines move: no line number goes into it.

    Equal faults on equal lines of one file are told apart by their order.
    """
    seen: Counter[tuple[str, ...]] = Counter()
    digests = []
    for diagnostic in diagnostics:
        identity = (
            diagnostic.rule,
            diagnostic.position.path,
            _LINE_NUMBER.sub("line", diagnostic.message),
            diagnostic.source_line.strip(),
        )
        parts = (*identity, str(seen[identity]))
        seen[identity] += 1
        # A length before each part, so that no two lists of parts read alike.
        text = "".join(f"{len(part)}:{part}" for part in parts)
        digest = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
        digests.append(digest)
    return digests


def render_github(diagnostics: Iterable[Diagnostic]) -> str:
    """One command a line; no text from a file can start another."""
    return "".join(_command(diagnostic) for diagnostic in diagnostics)


def _command(diagnostic: Diagnostic) -> str:
    position = diagnostic.position
    properties = {"file": position.path}
    if position.line:
        properties["line"] = str(position.line)
        properties["col"] = str(position.column)
    if position.end_column:
        # GitHub's endColumn is the last column; ours is one past it.
        properties["endColumn"] = str(position.end_column - 1)
    properties["title"] = diagnostic.rule
    listed = ",".join(f"{name}={github_command_property(v)}" for name, v in properties.items())
    message = github_command_text("\n".join(sentences(diagnostic)))
    return f"::{diagnostic.severity.value} {listed}::{message}\n"


_SEVERITIES = {Severity.ERROR: "major", Severity.WARNING: "minor"}


def render_gitlab(diagnostics: Sequence[Diagnostic]) -> str:
    """A JSON array with one object a diagnostic."""
    issues = [
        {
            "description": " ".join(sentences(diagnostic)),
            "check_name": diagnostic.rule,
            "fingerprint": fingerprint,
            "severity": _SEVERITIES[diagnostic.severity],
            "location": {
                "path": diagnostic.position.path,
                # The format wants a line; a fault of the whole file is shown at its first.
                "lines": {"begin": max(1, diagnostic.position.line)},
            },
        }
        for diagnostic, fingerprint in zip(diagnostics, fingerprints(diagnostics), strict=True)
    ]
    return json_text(issues)


VERSION = 1


def render_json(diagnostics: Iterable[Diagnostic]) -> str:
    """A JSON object with the version of this form and the diagnostics in their order."""
    listed = [
        {
            "path": diagnostic.position.path,
            "line": diagnostic.position.line,
            "column": diagnostic.position.column,
            "end_column": diagnostic.position.end_column,
            "severity": diagnostic.severity.value,
            "rule": diagnostic.rule,
            "message": diagnostic.message,
            "expected": diagnostic.expected,
            "nearest": diagnostic.nearest,
            "remedy": diagnostic.remedy,
            "source_line": diagnostic.source_line,
        }
        for diagnostic in diagnostics
    ]
    return json_text({"version": VERSION, "diagnostics": listed})


_SCHEMA = "https://json.schemastore.org/sarif-2.1.0.json"

_BASE = "SITE"


def render_sarif(diagnostics: Sequence[Diagnostic]) -> str:
    """One run with its rules and results; paths are relative to the site, as URIs."""
    rules = sorted({diagnostic.rule for diagnostic in diagnostics})
    number = {rule: index for index, rule in enumerate(rules)}
    run = {
        "tool": {
            "driver": {
                "name": "tunnelbook",
                "rules": [
                    {"id": rule, "shortDescription": {"text": rule.replace("-", " ").capitalize()}}
                    for rule in rules
                ],
            }
        },
        "columnKind": "unicodeCodePoints",
        "originalUriBaseIds": {_BASE: {"description": {"text": "The folder of the site."}}},
        "results": [
            _result(diagnostic, number[diagnostic.rule], fingerprint)
            for diagnostic, fingerprint in zip(diagnostics, fingerprints(diagnostics), strict=True)
        ],
    }
    return json_text({"$schema": _SCHEMA, "version": "2.1.0", "runs": [run]})


def _result(diagnostic: Diagnostic, rule_index: int, fingerprint: str) -> dict[str, Any]:
    place: dict[str, Any] = {
        # Safe characters stop at the slash: a colon in the first part would name a scheme.
        "artifactLocation": {
            "uri": quote(diagnostic.position.path, safe="/", errors="replace"),
            "uriBaseId": _BASE,
        }
    }
    if diagnostic.position.line:
        place["region"] = _region(diagnostic)
    return {
        "ruleId": diagnostic.rule,
        "ruleIndex": rule_index,
        "level": diagnostic.severity.value,
        "message": {"text": " ".join(sentences(diagnostic))},
        "locations": [{"physicalLocation": place}],
        "partialFingerprints": {"ruleAndText/v1": fingerprint},
    }


def _region(diagnostic: Diagnostic) -> dict[str, Any]:
    position = diagnostic.position
    region: dict[str, Any] = {"startLine": position.line}
    if position.column:
        region["startColumn"] = position.column
    if position.end_column:
        region["endColumn"] = position.end_column
    if diagnostic.source_line:
        region["snippet"] = {"text": diagnostic.source_line}
    return region


# Lines of a file may be long; a reader needs what is around the caret.
_WIDEST = 100

_BEFORE_CARET = 60


_BOLD, _RED, _YELLOW, _CYAN, _PLAIN = "\x1b[1m", "\x1b[31m", "\x1b[33m", "\x1b[36m", "\x1b[0m"


def render_text(diagnostics: Iterable[Diagnostic], *, color: bool = False) -> str:
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


_FORMS = {
    "github": render_github,
    "gitlab": render_gitlab,
    "json": render_json,
    "sarif": render_sarif,
}

FORMATS = ("text", *sorted(_FORMS))


def render(diagnostics: Sequence[Diagnostic], form: str, *, color: bool = False) -> str:
    """The diagnostics in the form of that name; only text has colour. Raises KeyError."""
    if form == "text":
        return render_text(diagnostics, color=color)
    return _FORMS[form](diagnostics)
