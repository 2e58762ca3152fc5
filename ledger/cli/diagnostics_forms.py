"""Diagnostics as text for a person and in the formats that git hosts and other programs read.

GitHub: workflow commands, one line each, which become annotations of a pull request (GitHub Docs,
"Workflow commands for GitHub Actions"). GitLab: GitLab Docs, "Code Quality report format". SARIF:
OASIS, Static Analysis Results Interchange Format, 2.1.0.
"""

import hashlib
import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import quote

from ledger import __version__
from ledger.book import escape
from ledger.book.escape import json_text, log_text, terminal_text
from ledger.book.flat import fields_of
from ledger.files.diagnostics import Diagnostic, Severity
from ledger.values import replace


def render(
    diagnostics: Sequence[Diagnostic], form: str, *, color: bool = False, top: Path | None = None
) -> str:
    """The diagnostics in the form of that name; only text has colour. Raises KeyError.

    `top` is the folder that their paths begin at.
    """
    if form == "text":
        return render_text(diagnostics, color=color)
    if form == "sarif":
        return _sarif(diagnostics, top)
    return _FORMS[form](diagnostics)


def from_top(diagnostics: Sequence[Diagnostic], site: Path) -> tuple[tuple[Diagnostic, ...], Path]:
    """The diagnostics with paths from the top of the repository that holds a site, and that top.

    Without a repository they begin at the site.
    """
    from ledger.files.names import repository_above

    whole = site.resolve()
    top = Path(repository_above(str(whole)) or whole)
    if top == whole:
        return tuple(diagnostics), top

    def moved(one: Diagnostic) -> Diagnostic:
        path = (whole.relative_to(top) / one.position.path).as_posix()
        return replace(one, position=replace(one.position, path=path))

    return tuple(map(moved, diagnostics)), top


# Lines of a file may be long; a reader needs what is around the caret.
_WIDEST = 100

_BEFORE_CARET = 60

_BOLD, _RED, _YELLOW, _CYAN, _PLAIN = "\x1b[1m", "\x1b[31m", "\x1b[33m", "\x1b[36m", "\x1b[0m"


def render_text(diagnostics: Iterable[Diagnostic], *, color: bool = False) -> str:
    """One block a diagnostic: place, what is wrong, the line with a caret, what was expected."""
    return "".join(_block(diagnostic, color=color) for diagnostic in diagnostics)


def _block(diagnostic: Diagnostic, *, color: bool) -> str:
    def paint(code: str, words: str) -> str:
        return f"{code}{words}{_PLAIN}" if color else words

    weight = _RED if diagnostic.severity is Severity.ERROR else _YELLOW
    place = paint(_BOLD, log_text(f"{diagnostic.position}:"))
    severity = paint(weight, diagnostic.severity.value)
    lines = [f"{place} {severity}: {log_text(diagnostic.message)} [{log_text(diagnostic.rule)}]"]
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
    line = escape.defused(diagnostic.source_line)
    start = min(max(diagnostic.position.column - 1, 0), len(line))
    end = min(max(diagnostic.position.end_column - 1, start + 1), len(line) + 1)
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


def sentences(diagnostic: Diagnostic) -> list[str]:
    """What is wrong, what was expected, the nearest spelling and the remedy, as far as known."""
    message = terminal_text(diagnostic.message)
    found = [message if message.endswith((".", "?", "!")) else f"{message}."]
    for form, words in (
        ("Expected: {}.", diagnostic.expected),
        ("Did you mean {}?", diagnostic.nearest),
        ("Remedy: {}.", diagnostic.remedy),
    ):
        if words:
            found.append(form.format(terminal_text(words)))
    return found


def _description(diagnostic: Diagnostic) -> str:
    return " ".join(sentences(diagnostic))


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
            re.sub(r"\bline \d+", "line", diagnostic.message),
            diagnostic.source_line.strip(),
        )
        parts = (*identity, str(seen[identity]))
        seen[identity] += 1
        # A length before each part, so that no two lists of parts read alike.
        text = "".join(f"{len(part)}:{part}" for part in parts)
        digests.append(hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest())
    return digests


def _github(diagnostics: Iterable[Diagnostic]) -> str:
    """One command a line; no text from a file can start another."""
    commands = []
    for diagnostic in diagnostics:
        position = diagnostic.position
        properties = {
            "file": position.path,
            "line": position.line or None,
            "col": position.column if position.line else None,
            # GitHub's endColumn is the last column; ours is one past it.
            "endColumn": position.end_column - 1 if position.end_column else None,
            "title": diagnostic.rule,
        }
        listed = ",".join(
            f"{name}={escape.github_command_property(str(value))}"
            for name, value in properties.items()
            if value is not None
        )
        message = escape.github_command_text("\n".join(sentences(diagnostic)))
        commands.append(f"::{diagnostic.severity.value} {listed}::{message}\n")
    return "".join(commands)


def _gitlab(diagnostics: Sequence[Diagnostic]) -> str:
    """A JSON array with one object a diagnostic."""
    issues = [
        {
            "description": _description(diagnostic),
            "check_name": diagnostic.rule,
            "fingerprint": fingerprint,
            "severity": "major" if diagnostic.is_error else "minor",
            "location": {
                "path": diagnostic.position.path,
                # The format wants a line; a fault of the whole file is shown at its first.
                "positions": {
                    "begin": _gitlab_place(diagnostic, diagnostic.position.column),
                    "end": _gitlab_place(diagnostic, diagnostic.position.end_column),
                },
            },
        }
        for diagnostic, fingerprint in zip(diagnostics, fingerprints(diagnostics), strict=True)
    ]
    return json_text(issues)


def _gitlab_place(diagnostic: Diagnostic, column: int) -> dict[str, int]:
    return {"line": max(1, diagnostic.position.line), "column": max(1, column)}


def rows(diagnostics: Iterable[Diagnostic]) -> list[dict[str, Any]]:
    """The diagnostics for JSON, in their order."""
    return [
        {
            **fields_of(diagnostic.position, "path", "line", "column", "end_column"),
            "severity": diagnostic.severity.value,
            **fields_of(diagnostic, "rule", "message", "expected"),
            **fields_of(diagnostic, "nearest", "remedy", "source_line"),
        }
        for diagnostic in diagnostics
    ]


# The name by which hosts know the top of the repository.
_BASE = "%SRCROOT%"


def _sarif(diagnostics: Sequence[Diagnostic], top: Path | None) -> str:
    """One run with its rules and results; paths are relative to `top`, as URIs."""
    rules = sorted({diagnostic.rule for diagnostic in diagnostics})
    described = [_sarif_rule(rule) for rule in rules]
    results = [
        {
            "ruleId": diagnostic.rule,
            "ruleIndex": rules.index(diagnostic.rule),
            "level": diagnostic.severity.value,
            "message": {"text": _description(diagnostic)},
            "locations": [{"physicalLocation": _sarif_place(diagnostic)}],
            "partialFingerprints": {"ruleAndText/v1": fingerprint},
        }
        for diagnostic, fingerprint in zip(diagnostics, fingerprints(diagnostics), strict=True)
    ]
    base: dict[str, Any] = {"description": {"text": "The top of the repository."}}
    if top is not None:
        base["uri"] = top.as_uri().rstrip("/") + "/"
    run = {
        "tool": {"driver": {"name": "tunnelbook", "version": __version__, "rules": described}},
        "columnKind": "unicodeCodePoints",
        "originalUriBaseIds": {_BASE: base},
        "results": results,
    }
    schema = "https://json.schemastore.org/sarif-2.1.0.json"
    return json_text({"$schema": schema, "version": "2.1.0", "runs": [run]})


def _sarif_rule(rule: str) -> dict[str, Any]:
    """A rule with why it is asked, or that the files cannot be read with such a fault."""
    from ledger.rules.questions import QUESTIONS, examples_text

    why = QUESTIONS.get(rule, "The file cannot be used while this stands in it.")
    examples = f"\n\n{examples_text(rule)}\n" if rule in QUESTIONS else " "
    return {
        "id": rule,
        "shortDescription": {"text": rule.replace("-", " ").capitalize()},
        "fullDescription": {"text": why},
        "help": {"text": f"{why}{examples}See `tunnelbook explain`."},
    }


def _sarif_place(diagnostic: Diagnostic) -> dict[str, Any]:
    position = diagnostic.position
    # Safe characters stop at the slash: a colon in the first part would name a scheme.
    uri = quote(position.path, safe="/", errors="replace")
    place: dict[str, Any] = {"artifactLocation": {"uri": uri, "uriBaseId": _BASE}}
    if position.line:
        snippet = {"text": diagnostic.source_line} if diagnostic.source_line else None
        region = {
            "startLine": position.line,
            "startColumn": position.column,
            "endColumn": position.end_column,
            "snippet": snippet,
        }
        place["region"] = {name: value for name, value in region.items() if value}
    return place


_FORMS: Mapping[str, Callable[[Sequence[Diagnostic]], str]] = {"github": _github, "gitlab": _gitlab}


FORMATS = ("text", "sarif", *_FORMS)
