"""Positions in text and what is wrong there; the one place where a failure is a value."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from enum import StrEnum
from typing import NotRequired, TypedDict, Unpack

from ledger.values import dataclass, field, replace

MOST_OF_A_KIND = 10
"""How many faults of one rule are shown for one file; the others are counted."""


CORRECT_THE_FIRST = "correct those that are shown; the next run shows the others"


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
        return f"{self.path}:{self.line}:{self.column}" if self.line else self.path


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnostic:
    """One thing wrong with the sources, with where, what was expected and how to mend it.

    `rule` is a stable kebab-case id in plain words. `message` says what is wrong, `expected`
    what would be right, `remedy` what to do and is never empty, `nearest` the closest right
    spelling if there is one.
    `source_line` is the text of the line at `position`, without its line end. `more` is how many
    faults it stands for, at least, where it stands for those that are not told one by one.
    """

    rule: str
    severity: Severity = Severity.ERROR
    position: Position
    message: str
    expected: str = ""
    remedy: str
    nearest: str = ""
    source_line: str = field(default="", compare=False)
    more: int = 0

    @property
    def is_error(self) -> bool:
        return self.severity is Severity.ERROR


class FaultText(TypedDict):
    """What a diagnostic says, whatever place it is about."""

    rule: str
    message: str
    expected: NotRequired[str]
    remedy: str
    nearest: NotRequired[str]


def fault_of_file(path: str, **text: Unpack[FaultText]) -> Diagnostic:
    """A diagnostic about a file as a whole."""
    return Diagnostic(position=Position(path=path), **text)


def program_fault(path: str, error: Exception) -> Diagnostic:
    """What is said of a file on which this program itself failed, so that the others are read."""
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    where = f", line {trace.tb_lineno} of {trace.tb_frame.f_code.co_name}" if trace else ""
    return fault_of_file(
        path,
        rule="program-fault",
        message=f"the program failed on this file: {type(error).__name__}: {error}{where}",
        remedy="undo the last change of the file, and report this as a fault of the program",
    )


def more_like(first: Diagnostic, more: int) -> Diagnostic:
    """What stands for `more` faults of one rule in one file, of which `first` is the first."""
    return replace(
        first,
        message=f"and {more:,} more like {'it' if more == 1 else 'the ones above'} in this file",
        expected="",
        nearest="",
        remedy=CORRECT_THE_FIRST,
        more=more,
    )


class FirstOfEach:
    """Takes in faults as they are found: the first of each rule in each file, and a count.

    What is only counted need not be made, which for thousands takes seconds.
    """

    def __init__(self) -> None:
        self._counts: Counter[tuple[str, str]] = Counter()
        self._kept: list[tuple[Diagnostic, int]] = []
        self.count = 0

    def has_room(self, path: str, rule: str) -> bool:
        """Count one more fault; whether it is to be made and added."""
        self.count += 1
        self._counts[path, rule] += 1
        return self._counts[path, rule] <= MOST_OF_A_KIND + 1

    def add(self, found: Diagnostic) -> None:
        self._kept.append((found, self._counts[found.position.path, found.rule]))

    def kept(self) -> list[Diagnostic]:
        """Those kept; the last of a rule that was met too often stands for all that followed."""
        return [
            more_like(one, self._counts[one.position.path, one.rule] - MOST_OF_A_KIND)
            if number > MOST_OF_A_KIND
            else one
            for one, number in self._kept
        ]


def shortened(found: Iterable[Diagnostic]) -> list[Diagnostic]:
    """The same in reading order, with the first of each rule in each file and the others counted.

    What is short already stays as it is.
    """
    of_kind: dict[tuple[str, str], list[Diagnostic]] = defaultdict(list)
    for one in in_reading_order(found):
        of_kind[one.position.path, one.rule].append(one)
    kept: list[Diagnostic] = []
    for alike in of_kind.values():
        shown = [one for one in alike if not one.more][:MOST_OF_A_KIND]
        kept += shown
        singled_out = set(shown)
        if others := [one for one in alike if one not in singled_out]:
            kept.append(more_like(others[0], count_of(others)))
    return in_reading_order(kept)


def count_of(found: Iterable[Diagnostic]) -> int:
    """How many faults they stand for, at least."""
    return sum(one.more or 1 for one in found)


def in_reading_order(found: Iterable[Diagnostic]) -> list[Diagnostic]:
    """Errors before warnings, each by path, line, column, rule; exact repeats once."""
    unique = dict.fromkeys(found)
    return sorted(unique, key=lambda d: (not d.is_error, d.position, d.rule, d.message))
