"""How the columns of an existing log become visits: the map, checked, as typed values."""

import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from datetime import time
from typing import Any

from ledger.compute.numbers import convert, quantity_of
from ledger.files.diagnostics import Diagnostic
from ledger.files.document import Document, Pointer
from ledger.files.paths import Kind, Source
from ledger.files.reading import parse_document
from ledger.files.schemas import check_document, is_date, is_site_instant
from ledger.files.typed_moments import SIGNS
from ledger.files.units import unit_typed
from ledger.filing.fields import entry_fields
from ledger.model.problems import nearest
from ledger.model.quantities import UNIT_OF_ENDING, filled
from ledger.values import dataclass, field

DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}

_SIGNS = {"comma": ",", "point": ".", "space": " ", "apostrophe": "'"}

_YEAR = re.compile(r"%[YyFDxcG]")

HOUR = re.compile(r"%[HITRXcr]")

_YES = frozenset(
    "yes yep yeah y x done complete completed finished ok okay 1 true ✓ ✔ ✅ √ ☑".split()
)

# A cell that is a remark says nothing of whether the work was done.
_REMARKS = frozenset({"note", "reason"})

# Of these nothing is no work; of what is measured, 0 is a reading.
_AMOUNTS = frozenset({"strokes", "minutes", "used", "ordered", "received", "stopped_minutes"})

# As a spreadsheet writes a whole number: 1.0.
_WHOLE = re.compile(r"(\d+)[.,]0{1,2}")

_NO = frozenset(
    ("not done", "not yet", *"no nope n - – — 0 false none n/a na skip skipped ☐".split())
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CellSource:
    """Where a value comes from: a column, or `always` the same where `column` is empty.

    `key` is the field that takes the value; it is empty for a meter. `unit` is that of the log
    and `to_unit` that of the field; both are empty where none is converted. `only_if` is the
    column without which nothing is `always` so.
    """

    key: str
    column: str = ""
    always: Any = None
    only_if: str = ""
    words: Mapping[str, str | int | float] = field(default_factory=dict)
    unit: str = ""
    to_unit: str = ""
    times: float | None = None
    plus: float | None = None

    @property
    def columns(self) -> tuple[str, ...]:
        return tuple(filter(None, (self.column, self.only_if)))

    @property
    def is_reckoned(self) -> bool:
        return bool(self.unit) or self.times is not None or self.plus is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """Whether a row has an entry, by the word in a column.

    `yes` and `no` are case-folded. `others` is what any other word means; None where nobody
    knows.
    """

    column: str
    yes: frozenset[str]
    no: frozenset[str]
    others: bool | None

    def meaning(self, cell: str) -> bool | None:
        """Whether a cell says yes; None where it says neither yes nor no."""
        whole = _WHOLE.fullmatch(cell)
        # A sign may be marked as one to be shown in colour.
        word = whole[1] if whole else cell.casefold().removesuffix("\ufe0f")
        if word in self.yes:
            return True
        return False if word in self.no else self.others


@dataclass(frozen=True, slots=True, kw_only=True)
class MappedEntry:
    only_if: Condition | None
    fields: Mapping[str, CellSource]

    def columns(self) -> Iterator[str]:
        if self.only_if is not None:
            yield self.only_if.column
        for source in self.fields.values():
            yield from source.columns


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportMap:
    """`written` is the strftime form of the `when_columns` joined by spaces, or "" for any form.

    `order` tells by the sign in a date whether the month or the day comes first. `headings` are the
    first and the last line that they stand on.
    """

    sheet: str
    headings: tuple[int, int]
    delimiter: str
    encoding: str
    decimal: str
    thousands: str
    when_columns: tuple[str, ...]
    written: str
    order: Mapping[str, str]
    time: time | None
    by: CellSource
    meters: Mapping[str, CellSource]
    note: CellSource | None
    entries: tuple[MappedEntry, ...]

    def columns(self) -> tuple[str, ...]:
        """Every heading that the map names, once, in order."""
        of_entries = (column for entry in self.entries for column in entry.columns())
        return tuple(dict.fromkeys((*self.columns_of_row(), *of_entries)))

    def columns_of_row(self) -> Iterator[str]:
        """The headings of what all entries of a row share."""
        yield from self.when_columns
        for source in (self.by, *self.meters.values(), *filter(None, [self.note])):
            yield from source.columns


def read_map(path: str, raw: bytes) -> tuple[ImportMap | None, tuple[Diagnostic, ...]]:
    """The map in a file's bytes, or None and everything that is wrong with it."""
    document, found = parse_document(Source(kind=Kind.IMPORT_MAP, path=path, ident="map"), raw)
    if document is None:
        return None, found
    found = (*found, *check_document(document))
    found = found or tuple(_faults(document))
    return (None, found) if found else (_map(document.value), ())


def _faults(document: Document) -> Iterator[Diagnostic]:
    """What a schema cannot see: keys of an entry, and units that measure something else."""
    when = document.value["when"]
    if document.value.get("thousands") == document.value.get("decimal", "point"):
        yield document.diagnose(
            ("thousands",),
            rule="one-sign-twice",
            message="the decimals and the thousands have the same sign",
            expected="two signs",
            remedy="remove one of the two keys, or correct it",
        )
    if "written" in when and not _YEAR.search(when["written"]):
        yield document.diagnose(
            ("when", "written"),
            rule="no-year",
            message="the form has no year, so the day is unknown",
            expected="a form with %Y, such as %m/%d/%Y %H:%M",
            remedy="name the column that holds the date",
        )
    if "time" not in when and "written" in when and not HOUR.search(when["written"]):
        yield document.diagnose(
            ("when", "written"),
            rule="no-time",
            message="the form has no hour, and `time` is not given",
            expected="a form with %H:%M, or a time beside it",
            remedy="add time: 06:00, or whenever the rounds were walked",
        )
    known = entry_fields()
    for index, entry in enumerate(document.value["entries"]):
        yield from _condition_faults(document, ("entries", index, "only_if"), entry)
        for key, source in entry["fields"].items():
            pointer: Pointer = ("entries", index, "fields", key)
            if key not in known:
                yield document.diagnose(
                    pointer,
                    key=True,
                    rule="unknown-key",
                    message=f"an entry has no `{key}`",
                    expected="a key of an entry of a visit",
                    remedy="correct the spelling, or remove the key",
                    nearest=nearest(key, known),
                )
            elif isinstance(source, dict) and "unit" in source:
                yield from _unit_faults(document, pointer, key, source["unit"])


def _condition_faults(
    document: Document, pointer: Pointer, entry: Mapping[str, Any]
) -> Iterator[Diagnostic]:
    condition = entry.get("only_if")
    if not isinstance(condition, dict):
        return
    yes, no = (_case_folded(condition.get(key, ())) for key in ("yes", "no"))
    for word in sorted(yes & no):
        yield document.diagnose(
            (*pointer, "no"),
            rule="yes-and-no",
            message=f"`{word}` is under both `yes` and `no`",
            expected="each word under one of the two; capitals do not matter",
            remedy="remove it from one of them",
        )


def _unit_faults(document: Document, pointer: Pointer, key: str, unit: str) -> Iterator[Diagnostic]:
    to_unit = unit_of(key)
    if not to_unit or quantity_of(unit) != quantity_of(to_unit):
        yield document.diagnose(
            (*pointer, "unit"),
            rule="unit-does-not-fit",
            message=f"`{unit}` cannot be converted into the unit of `{key}`",
            expected=f"a unit of {quantity_of(to_unit)}" if to_unit else "no unit for this key",
            remedy="correct the unit, or leave it out and use `times`",
        )


def unit_of(key: str) -> str:
    """The unit of a field as conversions name it, or ""."""
    return UNIT_OF_ENDING.get(key.rpartition("_")[2], "") if "_" in key else ""


def convertible(unit: str, key: str) -> str:
    """A typed unit as conversions name it, if they lead from it to that of a key; else ""."""
    word = unit_typed(unit)
    known = UNIT_OF_ENDING.get(word, word)
    with suppress(ValueError):
        convert(1, known, unit_of(key))
        return known
    return ""


def is_moment(text: str) -> bool:
    return is_date(text) or is_site_instant(text)


def _map(value: Mapping[str, Any]) -> ImportMap:
    when = value["when"]
    order = when.get("order", {})
    headings = value.get("headings", 1)
    return ImportMap(
        sheet=value.get("sheet", ""),
        headings=(headings, headings) if isinstance(headings, int) else (headings[0], headings[1]),
        delimiter=DELIMITERS[value.get("delimiter", "comma")],
        encoding=value.get("encoding", "utf-8").replace("utf-8", "utf-8-sig"),
        decimal=_SIGNS[value.get("decimal", "point")],
        thousands=_SIGNS[value["thousands"]] if "thousands" in value else "",
        when_columns=tuple(when["columns"]),
        written=when.get("written", ""),
        order={sign: order[sign] for sign in SIGNS if order.get(sign)},
        time=time.fromisoformat(when["time"]) if "time" in when else None,
        by=_source("by", value["by"]),
        meters={name: _source("", source) for name, source in value.get("meters", {}).items()},
        note=_source("note", value["note"]) if "note" in value else None,
        entries=tuple(_entry(entry) for entry in value["entries"]),
    )


def _entry(entry: Mapping[str, Any]) -> MappedEntry:
    fields = {key: _source(key, source) for key, source in entry["fields"].items()}
    only_if = _condition(entry["only_if"], fields.values()) if "only_if" in entry else None
    return MappedEntry(only_if=only_if, fields=fields)


def _condition(value: str | Mapping[str, Any], fields: Iterable[CellSource]) -> Condition:
    given: Mapping[str, Any] = {"column": value} if isinstance(value, str) else value
    yes, no = (_case_folded(given.get(key, ())) for key in ("yes", "no"))
    readings = [f for f in fields if f.column == given["column"] and f.key not in _REMARKS]
    # A word that the map translates is a value, even if it is `no`.
    usual_yes = _YES | _case_folded(word for source in readings for word in source.words)
    usual_no = _NO - usual_yes
    if any(source.key not in _AMOUNTS for source in readings):
        usual_no -= {"0"}
    others = given.get("others", "yes" if readings else "refused")
    return Condition(
        column=given["column"],
        yes=yes | (usual_yes - no),
        no=no | (usual_no - yes) | {""},
        others={"yes": True, "no": False, "refused": None}[others],
    )


def usual_meaning(cell: str) -> bool | None:
    """What a tick says by itself; None where it says neither yes nor no."""
    return _condition({"column": ""}, ()).meaning(cell)


def _case_folded(words: Iterable[Any]) -> frozenset[str]:
    return frozenset(str(word).strip().casefold() for word in words)


def _source(key: str, source: Any) -> CellSource:
    if isinstance(source, str):
        return CellSource(key=key, column=source)
    to_unit = unit_of(key) if "unit" in source else ""
    words, always = source.get("words", {}), source.get("always")
    return filled(CellSource, source, key=key, to_unit=to_unit, words=words, always=always)
