"""Diagnostics as GitHub workflow commands, which become annotations of a pull request.

GitHub Docs, "Workflow commands for GitHub Actions": a command is one line,
`::error file=…,line=…,col=…,endColumn=…,title=…::message`.
"""

from collections.abc import Iterable

from ledger.diagnostics import Diagnostic
from ledger.write.diagnostics_sentence import sentences
from ledger.write.escape import github_command_property, github_command_text


def render(diagnostics: Iterable[Diagnostic]) -> str:
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
