"""Diagnostics as SARIF 2.1.0 (OASIS, Static Analysis Results Interchange Format)."""

from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

from ledger.diagnostics import Diagnostic
from ledger.write.diagnostics_sentence import fingerprints, sentences
from ledger.write.escape import json_text

_SCHEMA = "https://json.schemastore.org/sarif-2.1.0.json"
_BASE = "SITE"


def render(diagnostics: Sequence[Diagnostic]) -> str:
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
