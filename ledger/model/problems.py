"""Collects what is wrong between files, each at the words that say it."""

import difflib
from collections.abc import Iterable

from ledger.diagnostics import Diagnostic, Severity
from ledger.source.document import Document, Pointer


class Problems:
    """Grows while the model is built and checked; positions are looked up only here."""

    def __init__(self) -> None:
        self.found: list[Diagnostic] = []

    def error(
        self,
        document: Document,
        pointer: Pointer,
        *,
        rule: str,
        message: str,
        expected: str = "",
        remedy: str = "",
        nearest: str = "",
    ) -> None:
        self._add(Severity.ERROR, document, pointer, rule, message, expected, remedy, nearest)

    def warning(
        self,
        document: Document,
        pointer: Pointer,
        *,
        rule: str,
        message: str,
        expected: str = "",
        remedy: str = "",
        nearest: str = "",
    ) -> None:
        self._add(Severity.WARNING, document, pointer, rule, message, expected, remedy, nearest)

    def unknown(
        self,
        document: Document,
        pointer: Pointer,
        *,
        what: str,
        word: str,
        known: Iterable[str],
        remedy: str,
    ) -> None:
        """A reference to something that no file defines; `what` is one word, such as `machine`."""
        self.error(
            document,
            pointer,
            rule=f"unknown-{what}",
            message=f"there is no {what} `{word}`",
            expected=f"the id of a {what} of this site",
            remedy=remedy,
            nearest=nearest(word, known),
        )

    def _add(
        self,
        severity: Severity,
        document: Document,
        pointer: Pointer,
        rule: str,
        message: str,
        expected: str,
        remedy: str,
        near: str,
    ) -> None:
        position = document.locate(pointer)
        self.found.append(
            Diagnostic(
                rule=rule,
                severity=severity,
                position=position,
                message=message,
                expected=expected,
                remedy=remedy,
                nearest=near,
                source_line=document.line_text(position.line),
            )
        )


def nearest(word: str, known: Iterable[str]) -> str:
    """The closest known spelling, or nothing where none is close."""
    close = difflib.get_close_matches(word, sorted(known), n=1, cutoff=0.6)
    return close[0] if close else ""
