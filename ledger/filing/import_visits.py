"""A row of an existing log as a visit: all of it, or what is right once the rest is put right.

The note of a row's visit names the log, the line and a mark of what the row says. So a row that is
there is not filed twice, whatever was put above or below it in the log since, and whatever the map
says now. A row that was changed in the log has another mark; it is known by its time, its person
and what it says.

An entry with a bad cell is left out, and the note names the columns that it alone was to be read
from; the mark passes over them. So once the cell is put right, the row is known again, and only
that entry is filed.
"""

import json
import re
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from functools import cache, partial
from pathlib import Path
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from ledger.files.diagnostics import Diagnostic, Position
from ledger.files.document import Pointer
from ledger.files.paths import Kind, Source
from ledger.files.reading import parse_document
from ledger.filing.import_map import CellSource, ImportMap, MappedEntry
from ledger.filing.import_rows import MARK_DIGITS, BadCellError, Log, LogRow, read_cell, read_when
from ledger.filing.visit_file import VisitFile, instant_text, visit_file
from ledger.model.visits import Visit
from ledger.values import dataclass, field, replace

_T = TypeVar("_T")

_HEADING = r'"(?:[^"\\]|\\.)*"'
_ORIGIN = re.compile(
    rf"Imported from (?P<log>.*), line \d+"
    rf"(?:, without (?P<without>{_HEADING}(?: and {_HEADING})*))?"
    rf", mark (?P<mark>[0-9a-f]{{{MARK_DIGITS}}})\."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """Why a row was not filed: the line it ends on, and the cell at fault where it is one.

    The date and the time may stand under several `columns`; their cells are one, with a space.
    """

    line: int
    columns: tuple[str, ...] = ()
    cell: str = ""
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RowVisit:
    """What a row has to file: `head` is the visit but for its origin and its entries.

    `left_out` are the entries that were refused.
    """

    row: LogRow
    by_map: ImportMap
    when: datetime
    head: Mapping[str, Any]
    entries: tuple[tuple[MappedEntry, Mapping[str, Any]], ...]
    left_out: tuple[MappedEntry, ...] = ()

    def without(self) -> tuple[str, ...]:
        """The columns that only the entries left out were to be read from."""
        used = {column for mapped, _ in self.entries for column in mapped.columns()}
        used |= set(self.by_map.columns_of_row())
        named = (column for mapped in self.left_out for column in mapped.columns())
        return tuple(dict.fromkeys(column for column in named if column not in used))

    def leave_out(self, numbers: Collection[int | None]) -> "RowVisit | None":
        """The same without some entries; None where no visit or no column of theirs is left."""
        kept = [one for number, one in enumerate(self.entries) if number not in numbers]
        gone = [mapped for number, (mapped, _) in enumerate(self.entries) if number in numbers]
        fewer = replace(self, entries=tuple(kept), left_out=(*self.left_out, *gone))
        return fewer if kept and fewer.without() else None

    def columns(self) -> Iterator[tuple[Pointer, tuple[str, ...]]]:
        """The columns that each part of the visit was read from, in the order of its file."""
        yield ("at",), self.by_map.when_columns
        yield ("by",), self.by_map.by.columns
        for name in self.head.get("meters", ()):
            yield ("meters", name), self.by_map.meters[name].columns
        for number, (mapped, found) in enumerate(self.entries):
            yield ("entries", number), ()
            for key in found:
                yield ("entries", number, key), mapped.fields[key].columns


def row_visit(
    row: LogRow, by_map: ImportMap, zone: ZoneInfo, entries: Sequence[MappedEntry]
) -> tuple[RowVisit | None, tuple[Refusal, ...]]:
    """The visit of a row by some entries of the map, if any, and everything that is wrong."""
    if row.flaw:
        return None, (Refusal(line=row.line, why=row.flaw),)
    reader = _RowReader(row=row, by_map=by_map)
    read: list[tuple[MappedEntry, dict[str, Any]]] = []
    bad: set[int] = set()
    for mapped in entries:
        refused_before = len(reader.refused)
        found = reader.entry(mapped)
        if len(reader.refused) > refused_before:
            bad.add(len(read))
        elif not found:
            continue
        read.append((mapped, found))
    if not read:
        return None, ()
    of_entries = len(reader.refused)
    when = reader.when(zone)
    head = {
        "by": str(reader.person()),
        "meters": reader.values(by_map.meters),
        "note": None if by_map.note is None else reader.value(by_map.note),
    }
    refused = tuple(reader.refused)
    if when is None or len(refused) > of_entries:
        return None, refused
    made = RowVisit(
        row=row,
        by_map=by_map,
        when=when,
        head={"at": instant_text(when), **{key: value for key, value in head.items() if value}},
        entries=tuple(read),
    )
    return made.leave_out(bad) if bad else made, refused


def refusal_of(
    made: RowVisit, text: str, position: Position, why: str
) -> tuple[Refusal, int | None]:
    """A fault at a position in the visit's file, `text`, as one of the cell that it came from.

    And the number of the entry that it stands in; None where the whole row is concerned.
    """
    source = Source(kind=Kind.VISIT, path=position.path, ident="")
    document, _ = parse_document(source, text.encode())
    columns: tuple[str, ...] = ()
    entry: int | None = None
    if document is not None:
        for pointer, names in made.columns():
            start = document.locate(pointer, key=True)
            if start.line == position.line and start.column <= position.column:
                columns = names
                entry = int(pointer[1]) if pointer[0] == "entries" else None
    cell = " ".join(made.row.cells[name] for name in columns)
    return Refusal(line=made.row.line, columns=columns, cell=cell, why=why), entry


@dataclass(frozen=True, slots=True, kw_only=True)
class _RowReader:
    """Reads the cells of a row; what is wrong with them gathers in `refused`."""

    row: LogRow
    by_map: ImportMap
    refused: list[Refusal] = field(default_factory=list)

    def _refuse(self, columns: tuple[str, ...], cell: str, why: str) -> None:
        self.refused.append(Refusal(line=self.row.line, columns=columns, cell=cell, why=why))

    def _read(self, read: Callable[[], _T]) -> _T | None:
        """What was read; None, once it is refused, where a cell is bad."""
        try:
            return read()
        except BadCellError as bad:
            self._refuse(*bad.args)
            return None

    def when(self, zone: ZoneInfo) -> datetime | None:
        return self._read(partial(read_when, self.row, self.by_map, zone))

    def person(self) -> Any:
        source = self.by_map.by
        if source.column and not self.row.cells[source.column]:
            self._refuse(source.columns, "", "the cell is empty: nobody did it")
        return self.value(source)

    def value(self, source: CellSource) -> Any:
        """The value of a cell; None where it is empty, or bad."""
        return self._read(partial(read_cell, self.row, self.by_map, source))

    def values(self, sources: Mapping[str, CellSource]) -> dict[str, Any]:
        found = {name: self.value(source) for name, source in sources.items()}
        return {name: value for name, value in found.items() if value is not None}

    def entry(self, mapped: MappedEntry) -> dict[str, Any]:
        """What an entry of the row holds; nothing where the row has none."""
        condition = mapped.only_if
        if condition is not None:
            column, cell = condition.column, self.row.cells[condition.column]
            meaning = condition.meaning(cell)
            if meaning is None:
                why = (
                    f"`{cell}` says neither yes nor no; say in the map which it is, "
                    f"as in only_if: {{column: {column}, yes: [word]}}"
                )
                self._refuse((column,), cell, why)
            if not meaning:
                return {}
        refused_before = len(self.refused)
        found = self.values(mapped.fields)
        if len(self.refused) > refused_before:
            return found
        place = mapped.fields.get("at")
        if condition is not None and not found:
            why = "the cell says yes, but the cells of all fields of the entry are empty"
            self._refuse((column,), cell, why)
        elif found and place is not None and "at" not in found:
            # Without a place it would be work at every place of the task.
            self._refuse(place.columns, "", "the cell is empty: nobody knows where")
        return found


class FiledRows:
    """What the record holds of a log, and the rows that it had once and has no longer."""

    def __init__(self, log_name: str, log: Log, by_map: ImportMap, visits: Iterable[Visit]) -> None:
        self._log_name = "".join(sign if sign.isprintable() else "_" for sign in log_name)
        self.log = log
        self.by_map = by_map
        self._marks = cache(log.marks)
        self._filed: dict[tuple[str, ...], set[str]] = {(): set()}
        # Visits whose rows are lost, each with the log it came from, by time and person.
        self._lost: dict[tuple[datetime, str], list[tuple[Visit, str]]] = defaultdict(list)
        for visit in visits:
            for origin in _ORIGIN.finditer(visit.note):
                headings = re.findall(_HEADING, origin["without"] or "")
                without = tuple(map(json.loads, headings))
                self._filed.setdefault(without, set()).add(origin["mark"])
                if origin["mark"] not in self._marks(without).values():
                    self._lost[visit.when, visit.by].append((visit, origin["log"]))

    def missing(self, row: LogRow) -> Sequence[MappedEntry]:
        """The entries of the map that no visit has from this row."""
        missing: Sequence[MappedEntry] = self.by_map.entries
        for without, marks in self._filed.items():
            if self._marks(without).get(row.line) in marks:
                missing = [one for one in missing if set(without) & set(one.columns())]
        return missing

    def visit(self, made: RowVisit) -> dict[str, Any]:
        """The visit as its file has it, with the row it came from."""
        without = made.without()
        left_out = " and ".join(json.dumps(heading) for heading in without)
        origin = (
            f"Imported from {self._log_name}, line {made.row.line}"
            f"{left_out and f', without {left_out}'}, "
            f"mark {self._marks(without)[made.row.line]}."
        )
        note = made.head.get("note")
        return {
            **made.head,
            "note": f"{note}\n\n{origin}" if note else origin,
            "entries": [found for _, found in made.entries],
        }

    def take_same(self, made: RowVisit) -> bool:
        """Whether a lost row of this log said all that a visit says; if so, it is lost no more.

        So it is where only columns changed that the map does not name.
        """
        lost = self._lost[made.when, made.head["by"]]
        for filed, log_name in lost:
            if (
                log_name == self._log_name
                and _has_entries(filed, made)
                and filed.meters == made.head.get("meters", {})
                and _ORIGIN.sub("", filed.note).strip() == made.head.get("note", "").strip()
            ):
                lost.remove((filed, log_name))
                return True
        return False

    def changed_from(self, made: RowVisit) -> Visit | None:
        """The visit that may have been filed from this row before the row was changed.

        It has the same time and person, and came from this log or has the same entries.
        """
        for filed, log_name in self._lost[made.when, made.head["by"]]:
            if log_name == self._log_name or _has_entries(filed, made):
                return filed
        return None


def _has_entries(filed: Visit, made: RowVisit) -> bool:
    return [dict(entry.raw) for entry in filed.entries] == [found for _, found in made.entries]


class Plan:
    """The rows of a log by what becomes of them; `there` counts those that are filed already."""

    def __init__(self, root: Path, filed: FiledRows) -> None:
        self.rows: list[tuple[RowVisit, VisitFile]] = []
        self.refused: list[Refusal] = []
        self.there = 0
        self.empty: list[int] = []
        self._root = root
        self._filed = filed
        self._taken: set[str] = set()

    def read(self, zone: ZoneInfo, show: Callable[[int, int], None]) -> None:
        """Take every row; `show` gets how many of the new ones are done."""
        new: list[RowVisit] = []
        by_map = self._filed.by_map
        for row in self._filed.log.rows:
            entries = self._filed.missing(row)
            made, refused = row_visit(row, by_map, zone, entries)
            self.refused.extend(refused)
            if made is not None and not self._filed.take_same(made):
                new.append(made)
            elif made is not None or (not refused and len(entries) < len(by_map.entries)):
                self.there += 1
            elif not refused:
                self.empty.append(row.line)
        for done, made in enumerate(new, 1):
            show(done, len(new))
            changed = self._filed.changed_from(made)
            if changed is None:
                self._take(made)
            else:
                self._refuse(
                    made,
                    f"{changed.ident} came from a row of the same time and person that this log "
                    "does not have; if it was this row, now changed, use `tunnelbook correct`; if "
                    "this is other work, use `tunnelbook record`",
                )

    def leave_out(self, errors: Mapping[str, Iterable[Diagnostic]]) -> None:
        """Make the visits anew without what is at fault in them, by the paths of their files."""
        rows, self.rows = self.rows, []
        for made, file in rows:
            if file.path in errors:
                self._taken.discard(file.ident)
                self._take(self._without(made, file, errors[file.path]))
            else:
                self.rows.append((made, file))

    def _take(self, made: RowVisit | None) -> None:
        """File a row's visit, without the entries that its file would be refused for."""
        while made is not None:
            try:
                file = visit_file(self._root, self._filed.visit(made), made.when, self._taken)
            except (OSError, ValueError) as error:
                self._refuse(made, str(error))
                return
            if not file.diagnostics:
                self._taken.add(file.ident)
                self.rows.append((made, file))
                return
            made = self._without(made, file, file.diagnostics)

    def _refuse(self, made: RowVisit, why: str) -> None:
        self.refused.append(Refusal(line=made.row.line, why=why))

    def _without(
        self, made: RowVisit, file: VisitFile, errors: Iterable[Diagnostic]
    ) -> RowVisit | None:
        """The visit without the entries at fault, which are refused; None where all of it is."""
        numbers: list[int | None] = []
        for found in errors:
            why = found.message
            if found.nearest:
                why += f"; did you mean `{found.nearest}`?"
            elif found.expected:
                why += f"; expected {found.expected}"
            refusal, number = refusal_of(made, file.text, found.position, why)
            self.refused.append(refusal)
            numbers.append(number)
        return None if None in numbers else made.leave_out(numbers)
