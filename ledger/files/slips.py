"""What people mistype: for a line at fault, the slip that explains it and the line as it was meant.

Each recogniser proposes another text for one line. A proposal counts only where the caller finds
that the fault is gone with it, so a recogniser may be generous: on a file without a fault none is
asked, and on a line that is right none can speak.
"""

from collections.abc import Callable, Sequence
from typing import NamedTuple

from ledger.files.diagnostics import Diagnostic, Position
from ledger.files.slip_patterns import Fix, Recogniser
from ledger.files.slip_signs import SIGNS_MISTYPED
from ledger.files.slip_texts import TEXTS_MISTYPED

#: Larger texts are not mended: each proposal is read anew.
MAX_MENDED_CHARACTERS = 32 * 1024

#: Of one file so many faults are looked into; the others keep the words of the reader.
MAX_MENDED_FAULTS = 5


# The particular ones come first; the general ones, which nearly any line could satisfy, last.
RECOGNISERS = (*SIGNS_MISTYPED, *TEXTS_MISTYPED)


class Slip(NamedTuple):
    """What was mistyped, and the text of the whole file as it was meant."""

    fault: Diagnostic
    text: str


def find_slip(
    text: str, path: str, lines: Sequence[int], is_better: Callable[[str], bool]
) -> Slip | None:
    """The slip on one of `lines`, counted from 1, that explains the fault seen there, or None.

    `is_better` says whether a text is without that fault.
    """
    # Where characters were at fault, no line is what was typed.
    if len(text) > MAX_MENDED_CHARACTERS or "\N{REPLACEMENT CHARACTER}" in text:
        return None
    rows = text.split("\n")
    numbers = [number for number in dict.fromkeys(lines) if 0 < number <= len(rows)]
    for recogniser in RECOGNISERS:
        for number in numbers:
            for fix in recogniser.find(rows, number - 1):
                first, last = number - 1 - fix.above, number - 1 + fix.replaces
                after = rows[:first] + list(fix.lines) + rows[last:]
                mended = "\n".join(after)
                if is_better(mended):
                    return Slip(
                        _diagnostic(recogniser, fix, path, number, rows[number - 1]), mended
                    )
    return None


def in_place_of(
    slip: Slip, found: Sequence[Diagnostic], left: Sequence[Diagnostic]
) -> list[Diagnostic]:
    """`found` with the slip in the place of the faults on its line that are gone without it.

    `left` are the faults of the text as it was meant.
    """
    still = {(one.rule, one.message) for one in left}
    line = slip.fault.position.line
    kept = [one for one in found if one.position.line != line or (one.rule, one.message) in still]
    return [*kept, slip.fault]


def _diagnostic(recogniser: Recogniser, fix: Fix, path: str, number: int, line: str) -> Diagnostic:
    meant = fix.lines[0].strip() if len(fix.lines) == 1 and recogniser.offers else ""
    return Diagnostic(
        rule=recogniser.rule,
        position=Position(
            path=path,
            line=number,
            column=fix.start + 1,
            end_column=fix.end + 1 if fix.end > fix.start else 0,
        ),
        message=recogniser.message.format_map(fix.names),
        expected=recogniser.expected.format_map(fix.names),
        remedy=recogniser.remedy.format_map(fix.names),
        nearest=meant if meant != line.strip() else "",
        source_line=line,
    )
