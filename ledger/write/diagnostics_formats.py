"""The forms that diagnostics can be written in, by name."""

from collections.abc import Sequence

from ledger.diagnostics import Diagnostic
from ledger.write import (
    diagnostics_github,
    diagnostics_gitlab,
    diagnostics_json,
    diagnostics_sarif,
    diagnostics_text,
)

_FORMS = {
    "github": diagnostics_github.render,
    "gitlab": diagnostics_gitlab.render,
    "json": diagnostics_json.render,
    "sarif": diagnostics_sarif.render,
}
FORMATS = ("text", *sorted(_FORMS))


def render(diagnostics: Sequence[Diagnostic], form: str, *, color: bool = False) -> str:
    """The diagnostics in the form of that name; only text has colour. Raises KeyError."""
    if form == "text":
        return diagnostics_text.render(diagnostics, color=color)
    return _FORMS[form](diagnostics)
