"""Diagnostics as a GitLab code quality report (GitLab Docs, "Code Quality report format")."""

from collections.abc import Sequence

from ledger.diagnostics import Diagnostic, Severity
from ledger.write.diagnostics_sentence import fingerprints, sentences
from ledger.write.escape import json_text

_SEVERITIES = {Severity.ERROR: "major", Severity.WARNING: "minor"}


def render(diagnostics: Sequence[Diagnostic]) -> str:
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
