"""Positions in text and what is wrong there; the one place where a failure is a value."""

from dataclasses import dataclass, field
from enum import StrEnum


class Severity(StrEnum):
    """How much a diagnostic weighs: an error stops the build, a warning is for the foreman."""

    ERROR = "error"
    WARNING = "warning"


@dataclass(frozen=True, slots=True, order=True, kw_only=True)
class Position:
    """A place in a file of the site; line and column count from 1, columns in characters.

    Line 0 means the file as a whole. `path` is relative to the site root, with `/`.
    `end_column` is one past the last offending character, or 0 where only a point is known.
    """

    path: str
    line: int = 0
    column: int = 0
    end_column: int = 0

    def __str__(self) -> str:
        if self.line == 0:
            return self.path
        return f"{self.path}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnostic:
    """One thing wrong with the sources, with where, what was expected and how to mend it.

    `rule` is a stable kebab-case id in plain words. `message` says what is wrong, `expected`
    what would be right, `remedy` what to do and is never empty, `nearest` the closest right
    spelling if there is one.
    `source_line` is the text of the line at `position`, without its line end.
    """

    rule: str
    severity: Severity = Severity.ERROR
    position: Position
    message: str
    expected: str = ""
    remedy: str
    nearest: str = ""
    source_line: str = field(default="", compare=False)

    @property
    def is_error(self) -> bool:
        return self.severity is Severity.ERROR


def program_fault(path: str, error: Exception) -> Diagnostic:
    """What is said of a file on which this program itself failed, so that the others are read."""
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    where = f", line {trace.tb_lineno} of {trace.tb_frame.f_code.co_name}" if trace else ""
    return Diagnostic(
        rule="program-fault",
        position=Position(path=path),
        message=f"the program failed on this file: {type(error).__name__}: {error}{where}",
        remedy="take back the last change of the file, and report this as a fault of the program",
    )


def in_reading_order(found: list[Diagnostic]) -> list[Diagnostic]:
    """The same diagnostics by path, line, column, rule; exact repeats once."""
    unique = dict.fromkeys(found)
    return sorted(unique, key=lambda d: (d.position, d.rule, d.message))
