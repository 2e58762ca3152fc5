"""Diagnostics for programs."""

from collections.abc import Iterable

from ledger.diagnostics import Diagnostic
from ledger.write.escape import json_text

VERSION = 1


def render(diagnostics: Iterable[Diagnostic]) -> str:
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
