"""What `tunnelbook import` says of the rows that it did not file."""

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ledger.filing.import_visits import Refusal


_MOST_LINES = 40

_MOST_CELLS = 8

_MOST_CAUSES = 50


def refusal_lines(refused: "Iterable[Refusal]") -> Iterator[str]:
    """One line for each cause, with the rows, the column and what stands there."""
    causes: dict[tuple[tuple[str, ...], str], list[Refusal]] = {}
    for one in refused:
        cause = (one.columns, one.why.replace(f"`{one.cell}`", ""))
        causes.setdefault(cause, []).append(one)
    for number, ((columns, _), group) in enumerate(causes.items()):
        if number == _MOST_CAUSES:
            yield f"and {len(causes) - number} more causes"
            return
        names = " and ".join(f"`{name}`" for name in columns)
        where = f"{_plural('column', columns)} {names}: " if columns else ""
        cells = list(dict.fromkeys(f"`{one.cell}`" for one in group))
        also = f"; likewise {_capped(cells[1:], _MOST_CELLS)}" if len(cells) > 1 else ""
        lines = lines_text([one.line for one in group])
        yield f"{lines}: refused: {where}{group[0].why}{also}"


def lines_text(lines: Iterable[int]) -> str:
    """The lines of some rows: `line 4`, or `lines 4, 9 and 12 more`."""
    numbers = [str(line) for line in dict.fromkeys(lines)]
    return f"{_plural('line', numbers)} {_capped(numbers, _MOST_LINES)}"


def _plural(noun: str, of: Sequence[str]) -> str:
    return noun if len(of) == 1 else f"{noun}s"


def _capped(words: Sequence[str], most: int) -> str:
    text = ", ".join(words[:most])
    return f"{text} and {len(words) - most} more" if len(words) > most else text
