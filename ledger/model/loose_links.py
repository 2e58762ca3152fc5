"""The references of files that cannot be built, so that a fault of form hides no wrong name.

A file that its schema refuses makes no part of the ledger, and without a usable site.yaml no file
does. What they refer to is looked up here in the documents as they were read, as far as their
shape allows; what has the wrong shape is the schema's to report.

What files say of a drive, against the drive that the machine has.
"""

from collections.abc import Iterable, Iterator, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from typing import Any

from ledger.files.document import Document, Pointer
from ledger.files.paths import Kind
from ledger.model.build_task import check_point
from ledger.model.ledger import Ledger
from ledger.model.links import check_entry
from ledger.model.machines import ElectricDrive, HydraulicDrive, Machine
from ledger.model.problems import Problems
from ledger.model.readings import KEYS_OF_READING
from ledger.model.references import EntryRef, Place
from ledger.model.visits import Entry

_IN_HZ = tuple(key for key in KEYS_OF_READING["setting"] if key.endswith("_hz"))

_IN_FLOW = tuple(key for key in KEYS_OF_READING["setting"] if "_flow_" in key)


def check_drives(ledger: Ledger, documents: Mapping[str, Document], problems: Problems) -> None:
    """Report bands given twice, and settings seen in a unit that the drive is not set in.

    Of visits only what stands: a correction mends an entry, and both are kept.
    """
    for machine in ledger.machines.values():
        _bands(documents[f"equipment/{machine.ident}.yaml"], problems)
    for entry in ledger.standing:
        if entry.setting is not None and entry.places:
            document = documents[ledger.path_of_visit[entry.ref.visit]]
            _setting_seen(ledger.machines[entry.places[0].machine], document, entry, problems)


def _bands(document: Document, problems: Problems) -> None:
    rates: set[float] = set()
    for index, band in enumerate(document.value.get("speed_band", ())):
        rate = band["line_rate_per_h"]
        if rate in rates:
            problems.error(
                document,
                ("speed_band", index, "line_rate_per_h"),
                rule="band-given-twice",
                message=f"a second band for {rate:.10g} vehicles an hour",
                expected="one band for each line rate",
                remedy="take one of them out",
            )
        rates.add(rate)


def _setting_seen(machine: Machine, document: Document, entry: Entry, problems: Problems) -> None:
    wrong: tuple[str, ...]
    match machine.drive:
        case ElectricDrive():
            wrong, has, right = _IN_FLOW, "has an electric drive, set in Hz", "found_hz or left_hz"
        case HydraulicDrive():
            wrong, has = _IN_HZ, "has a hydraulic drive, set by its oil flow"
            right = "found_flow_gpm or found_flow_lpm, left_flow_gpm or left_flow_lpm"
        case _:
            wrong, has, right = (*_IN_HZ, *_IN_FLOW), "has no drive in its file", ""
    for key in wrong:
        if key in entry.raw:
            problems.error(
                document,
                ("entries", entry.ref.number - 1, key),
                key=True,
                rule="not-its-drive",
                message=f"`{machine.ident}` {has}, so `{key}` says nothing of it",
                expected=right or "the machine whose drive was read",
                remedy="correct the key or the place; once the visit is filed, file a correction",
            )


_REMEDIES = {
    "machine": "use the name of a file in equipment/, without .yaml",
    "task": "use the name of a file in tasks/, without .yaml",
    "part": "use the name of a file in parts/, without .yaml",
    "person": "use a key under `people` in site.yaml",
    "meter": "use a key under `meters` in site.yaml",
    "panel": "use a key under `panels` in site.yaml",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Reference:
    """A word of a file that stands for something; `what` as in a rule id, `place` or `entry`."""

    what: str
    pointer: Pointer
    word: Any
    is_key: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class _Names:
    """Everything that can be referred to: `words` by kind, a kind that no file lists left out."""

    words: Mapping[str, AbstractSet[str]]
    points: Mapping[str, AbstractSet[str] | None]
    entries: AbstractSet[EntryRef]


def check_loose_links(
    documents: Iterable[Document], unbuilt: Iterable[Document], problems: Problems
) -> None:
    """Report the references of `unbuilt` that lead to none of `documents`, all that were read."""
    names = _names(list(documents))
    for document in unbuilt:
        for reference in _references(document):
            if isinstance(reference.word, str):
                _check(document, reference, names, problems)


def _check(document: Document, reference: _Reference, names: _Names, problems: Problems) -> None:
    what, word = reference.what, reference.word
    if what == "entry":
        try:
            ref = EntryRef.parse(word)
        except ValueError:
            return
        check_entry(document, reference.pointer, ref, names.entries, problems)
        return
    place = Place.parse(word) if what == "place" else Place("")
    if what == "place":
        what, word = "machine", place.machine
    known = names.words.get(what)
    if known is None:
        return
    if word not in known:
        problems.unknown(
            document,
            reference.pointer,
            what=what,
            word=word,
            known=known,
            remedy=_REMEDIES[what],
            key=reference.is_key,
        )
    elif place.point and (points := names.points[place.machine]) is not None:
        check_point(document, reference.pointer, place, points, problems)


def _names(documents: list[Document]) -> _Names:
    of_kind = {
        kind: {document.ident: document.value for document in documents if document.kind is kind}
        for kind in Kind
    }
    site = _mapping(next(iter(of_kind[Kind.SITE].values()), {}))
    of_site = {"people": "person", "meters": "meter", "panels": "panel"}
    words: dict[str, AbstractSet[str]] = {
        what: _mapping(site[key]).keys() for key, what in of_site.items() if key in site
    }
    for kind in (Kind.MACHINE, Kind.TASK, Kind.PART):
        words[kind.value] = of_kind[kind].keys()
    return _Names(
        words=words,
        points={
            ident: points.keys() if isinstance(points := fields.get("points", {}), dict) else None
            for ident, fields in (
                (ident, _mapping(value)) for ident, value in of_kind[Kind.MACHINE].items()
            )
        },
        entries={
            EntryRef(ident, number)
            for ident, value in of_kind[Kind.VISIT].items()
            for number in range(1, len(_listed(_mapping(value).get("entries"))) + 1)
        },
    )


def _references(document: Document) -> Iterator[_Reference]:
    match document.kind:
        case Kind.MACHINE:
            yield from _of_keys(document.value, (), panel="panel")
        case Kind.TASK:
            yield from _of_task(_mapping(document.value))
        case Kind.SETPOINTS:
            yield _Reference(what="machine", pointer=(), word=document.ident)
            for index, change in enumerate(_listed(document.value)):
                yield from _of_keys(
                    change, (index,), proposed_by="person", approved_by="person", evidence="entry"
                )
        case Kind.VISIT:
            yield from _of_visit(_mapping(document.value))


def _of_task(fields: Mapping[str, Any]) -> Iterator[_Reference]:
    yield from _of_keys(fields.get("on"), ("on",), ids="place", **{"except": "place"})
    every = fields.get("every")
    for index, item in enumerate(every if isinstance(every, list) else ()):
        yield from _of_keys(item, ("every", index), meter="meter")
    yield from _of_keys(every, ("every",), meter="meter")
    yield from _of_keys(fields, (), covers="task")
    yield from _keys_of(fields.get("uses"), "part", ("uses",))


def _of_visit(fields: Mapping[str, Any]) -> Iterator[_Reference]:
    yield from _of_keys(fields, (), by="person", **{"with": "person"})
    yield from _keys_of(fields.get("meters"), "meter", ("meters",))
    for index, entry in enumerate(_listed(fields.get("entries"))):
        yield from _of_keys(
            entry,
            ("entries", index),
            task="task",
            at="place",
            part="part",
            closes="entry",
            corrects="entry",
            **{"except": "place"},
        )


def _of_keys(fields: Any, pointer: Pointer, **keys: str) -> Iterator[_Reference]:
    """What stands under the keys, one word or a list of them."""
    for key, what in keys.items():
        value = _mapping(fields).get(key)
        if isinstance(value, list):
            for index, word in enumerate(value):
                yield _Reference(what=what, pointer=(*pointer, key, index), word=word)
        else:
            yield _Reference(what=what, pointer=(*pointer, key), word=value)


def _keys_of(fields: Any, what: str, pointer: Pointer) -> Iterator[_Reference]:
    for key in _mapping(fields):
        yield _Reference(what=what, pointer=(*pointer, key), word=key, is_key=True)


def _mapping(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, dict) else {}


def _listed(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []
