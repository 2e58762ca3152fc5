"""A row of an existing log as a visit, or what keeps it from being one.

A row is filed whole or not at all: were its good entries filed and a bad cell put right in the
log later, the row would have another mark, and the good entries would be filed twice.

Which rows of a log are in the record already.

The note of the visit that a row became names the log, the line and the row's mark. So a row that
is there is not filed twice, whatever was put above or below it in the log since, and whatever the
map says now. A row that was changed in the log has another mark; it is known by its time, its
person and what it says.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from ledger.files.diagnostics import Position
from ledger.files.document import Pointer
from ledger.files.paths import Kind, Source
from ledger.files.reading import parse_document
from ledger.filing.import_map import CellSource, ImportMap, MappedEntry
from ledger.filing.import_rows import MARK_DIGITS, BadCellError, Log, LogRow, read_cell, read_when
from ledger.filing.visit_file import instant_text
from ledger.model.visits import Visit

_ORIGIN = re.compile(
    rf"Imported from (?P<log>.*), line \d+, mark (?P<mark>[0-9a-f]{{{MARK_DIGITS}}})\."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """A visit of the record, and the row of a log that it came from."""

    visit: Visit
    log_name: str
    mark: str


def origin_sentence(log_name: str, row: LogRow) -> str:
    """What the note of a visit says of the row that it was; `origins_of` reads it."""
    return f"Imported from {_printable(log_name)}, line {row.line}, mark {row.mark}."


def origins_of(visits: Iterable[Visit]) -> list[Origin]:
    """The rows of logs that visits of the record came from."""
    return [
        Origin(visit=visit, log_name=found["log"], mark=found["mark"])
        for visit in visits
        for found in _ORIGIN.finditer(visit.note)
    ]


class LostRows:
    """The rows of the record that a log does not have, or no longer as they were."""

    def __init__(self, log_name: str, log: Log, origins: Iterable[Origin]) -> None:
        self._log_name = _printable(log_name)
        marks = {row.mark for row in log.rows}
        self._origins: dict[tuple[datetime, str], list[Origin]] = {}
        for origin in origins:
            if origin.mark not in marks:
                self._of(origin.visit.when, origin.visit.by).append(origin)

    def take_same(self, when: datetime, visit: Mapping[str, Any]) -> bool:
        """Whether a lost row of this log said all that a visit says; if so, it is lost no more.

        So it is where only columns changed that the map does not name.
        """
        origins = self._of(when, visit["by"])
        for origin in origins:
            filed = origin.visit
            if (
                origin.log_name == self._log_name
                and _entries(filed) == visit["entries"]
                and filed.meters == visit.get("meters", {})
                and _remark(filed.note) == _remark(visit["note"])
            ):
                origins.remove(origin)
                return True
        return False

    def changed_from(self, when: datetime, visit: Mapping[str, Any]) -> Visit | None:
        """The visit that may have been filed from this row before the row was changed.

        It has the same time and person, and came from this log or has the same entries.
        """
        for origin in self._of(when, visit["by"]):
            if origin.log_name == self._log_name or _entries(origin.visit) == visit["entries"]:
                return origin.visit
        return None

    def _of(self, when: datetime, person: str) -> list[Origin]:
        return self._origins.setdefault((when, person), [])


def _entries(filed: Visit) -> list[dict[str, Any]]:
    return [dict(entry.raw) for entry in filed.entries]


def _remark(note: str) -> str:
    return _ORIGIN.sub("", note).strip()


def _printable(name: str) -> str:
    return "".join(sign if sign.isprintable() else "_" for sign in name)


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
    """The visit of a row; `columns` names the columns that each part of it was read from."""

    row: LogRow
    when: datetime
    visit: Mapping[str, Any]
    columns: Mapping[Pointer, tuple[str, ...]]


def row_visit(
    row: LogRow, by_map: ImportMap, zone: ZoneInfo, log_name: str
) -> RowVisit | tuple[Refusal, ...]:
    """The visit of a row, or everything that is wrong with it; () where it has nothing to file."""
    if row.flaw:
        return (Refusal(line=row.line, why=row.flaw),)
    reader = _RowReader(row=row, by_map=by_map)
    entries = [(mapped, found) for mapped in by_map.entries if (found := reader.entry(mapped))]
    if not entries and not reader.bad:
        return ()
    when = reader.when(zone)
    by = reader.person()
    meters = reader.values(by_map.meters)
    note = None if by_map.note is None else reader.value(by_map.note)
    if when is None or reader.bad:
        return tuple(
            Refusal(line=row.line, columns=bad.columns, cell=bad.cell, why=bad.why)
            for bad in reader.bad
        )
    origin = origin_sentence(log_name, row)
    visit: dict[str, Any] = {"at": instant_text(when), "by": str(by)}
    if meters:
        visit["meters"] = meters
    visit["note"] = f"{note}\n\n{origin}" if note else origin
    visit["entries"] = [found for _, found in entries]
    return RowVisit(
        row=row, when=when, visit=visit, columns=dict(_columns(by_map, meters, entries))
    )


def refusal_of(made: RowVisit, text: str, position: Position, why: str) -> Refusal:
    """A fault at a position in the visit's file, `text`, as one of the cell that it came from."""
    source = Source(kind=Kind.VISIT, path=position.path, ident="")
    document, _ = parse_document(source, text.encode())
    columns: tuple[str, ...] = ()
    if document is not None:
        for pointer, names in made.columns.items():
            start = document.locate(pointer, key=True)
            if start.line == position.line and start.column <= position.column:
                columns = names
    cell = " ".join(made.row.cells[name] for name in columns)
    return Refusal(line=made.row.line, columns=columns, cell=cell, why=why)


@dataclass(frozen=True, slots=True, kw_only=True)
class _RowReader:
    """Reads the cells of a row; what is wrong with them gathers in `bad`."""

    row: LogRow
    by_map: ImportMap
    bad: list[BadCellError] = field(default_factory=list)

    def when(self, zone: ZoneInfo) -> datetime | None:
        try:
            return read_when(self.row, self.by_map, zone)
        except BadCellError as wrong:
            self.bad.append(wrong)
            return None

    def person(self) -> Any:
        source = self.by_map.by
        if source.column and not self.row.cells[source.column]:
            self.bad.append(BadCellError((source.column,), "", "the cell is empty: nobody did it"))
        return self.value(source)

    def value(self, source: CellSource) -> Any:
        """The value of a cell; None where it is empty, or bad."""
        try:
            return read_cell(self.row, self.by_map, source)
        except BadCellError as wrong:
            self.bad.append(wrong)
            return None

    def values(self, sources: Mapping[str, CellSource]) -> dict[str, Any]:
        found = {name: self.value(source) for name, source in sources.items()}
        return {name: value for name, value in found.items() if value is not None}

    def entry(self, mapped: MappedEntry) -> dict[str, Any]:
        """What an entry of the row holds; nothing where the row has none."""
        condition = mapped.only_if
        if condition is not None:
            cell = self.row.cells[condition.column]
            meaning = condition.meaning(cell)
            if meaning is None:
                self.bad.append(
                    BadCellError(
                        (condition.column,),
                        cell,
                        f"`{cell}` says neither yes nor no; say in the map which it is, "
                        f"as in only_if: {{column: {condition.column}, yes: [word]}}",
                    )
                )
            if not meaning:
                return {}
        bad_before = len(self.bad)
        found = self.values(mapped.fields)
        if len(self.bad) > bad_before:
            return found
        place = mapped.fields.get("at")
        if condition is not None and not found:
            self.bad.append(
                BadCellError(
                    (condition.column,),
                    self.row.cells[condition.column],
                    "the cell says yes, but the cells of all fields of the entry are empty",
                )
            )
        elif found and place is not None and "at" not in found:
            # Without a place it would be work at every place of the task.
            self.bad.append(
                BadCellError(place.columns, "", "the cell is empty: nobody knows where")
            )
        return found


def _columns(
    by_map: ImportMap,
    meters: Iterable[str],
    entries: Iterable[tuple[MappedEntry, Mapping[str, Any]]],
) -> Iterator[tuple[Pointer, tuple[str, ...]]]:
    """Where each part of a visit came from, in the order of its file."""
    yield ("at",), by_map.when_columns
    yield ("by",), by_map.by.columns
    for name in meters:
        yield ("meters", name), by_map.meters[name].columns
    for number, (mapped, found) in enumerate(entries):
        yield ("entries", number), ()
        for key in found:
            yield ("entries", number, key), mapped.fields[key].columns
