"""The rows of an existing log, each with a mark of what it says."""

import csv
import hashlib
import io
import json
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from ledger.edit.import_map import ImportMap
from ledger.model.problems import nearest

MARK_DIGITS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRow:
    """One row: the line of the log it ends on, its cells by heading, its mark; or its flaw."""

    line: int
    cells: Mapping[str, str]
    mark: str = ""
    flaw: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Log:
    """The rows that are not empty, and the columns that the map does not name."""

    rows: tuple[LogRow, ...]
    unnamed: tuple[str, ...]


def read_log(content: bytes, by_map: ImportMap) -> Log:
    """The log in a file's bytes. Raises ValueError, in words, where it cannot be read."""
    try:
        text = content.decode(by_map.encoding)
    except UnicodeDecodeError as wrong:
        raise ValueError(
            f"byte {wrong.start + 1} is not {by_map.encoding.removesuffix('-sig')}; "
            "say which `encoding` the log has in the map"
        ) from None
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=by_map.delimiter, strict=True)
    try:
        headings = [heading.strip() for heading in next(reader, [])]
        _check_headings(headings, by_map)
        rows = [(reader.line_num, cells) for cells in reader if any(cell.strip() for cell in cells)]
    except csv.Error as wrong:
        raise ValueError(f"line {reader.line_num}: {wrong}") from None
    seen: Counter[str] = Counter()
    return Log(
        rows=tuple(_row(line, headings, cells, seen) for line, cells in rows),
        unnamed=tuple(_unnamed(headings, [cells for _, cells in rows], by_map)),
    )


def _unnamed(
    headings: Sequence[str], rows: Sequence[Sequence[str]], by_map: ImportMap
) -> Iterator[str]:
    """Columns that the map passes over; one without a heading by its number, if it says a thing."""
    named = by_map.columns()
    for place, heading in enumerate(headings):
        if heading and heading not in named:
            yield f"`{heading}`"
        elif not heading and any(cells[place].strip() for cells in rows if place < len(cells)):
            yield f"column {place + 1}, which has no heading"


def _check_headings(headings: list[str], by_map: ImportMap) -> None:
    twice = sorted({heading for heading in headings if heading and headings.count(heading) > 1})
    if twice:
        raise ValueError(f"the heading `{twice[0]}` stands over two columns; rename one")
    for column in by_map.columns():
        if column not in headings:
            near = nearest(column, headings)
            hint = f"did you mean `{near}`?" if near else f"it has {', '.join(headings)}"
            raise ValueError(f"the log has no column `{column}`; {hint}")


def _row(line: int, headings: list[str], cells: list[str], seen: Counter[str]) -> LogRow:
    if len(cells) != len(headings):
        return LogRow(
            line=line, cells={}, flaw=f"{len(cells)} cells under {len(headings)} headings"
        )
    named = {
        heading: cell.strip().replace("\r\n", "\n").replace("\r", "\n")
        for heading, cell in zip(headings, cells, strict=True)
        if heading
    }
    said = json.dumps(sorted(named.items()), ensure_ascii=False)
    # Of rows that say the very same, each is one of its own.
    seen[said] += 1
    digest = hashlib.sha256(f"{seen[said]} {said}".encode("utf-8", "surrogatepass")).hexdigest()
    return LogRow(line=line, cells=named, mark=digest[:MARK_DIGITS])
