"""References from file to file: each must lead to something that some file defines.

They are looked up in the documents as they were read, as far as their shape allows, so that a
fault of form in one file hides no wrong name in it or in another. What has the wrong shape is the
schema's to report, and what a file defines that could not be read or used is not called unknown.
"""

from collections.abc import Iterable, Iterator, Mapping
from collections.abc import Set as AbstractSet
from typing import Any, NamedTuple

from ledger.files.document import Document, Pointer, each_at, list_of, mapping_of
from ledger.files.paths import Kind, Source
from ledger.model.problems import Faults, Problems
from ledger.model.readings import STEPS
from ledger.model.references import EntryRef, Place
from ledger.values import dataclass

_REMEDIES = {
    "machine": "use the name of a file in equipment/, without .yaml",
    "settings-machine": "name the file after a file in equipment/",
    "task": "use the name of a file in tasks/, without .yaml",
    "part": "use the name of a file in parts/, without .yaml",
    "instrument": "use the name of a file in instruments/, without .yaml",
    "person": "use a key under `people` in site.yaml",
    "meter": "use a key under `meters` in site.yaml",
    "hours-meter": "use a meter of site.yaml that counts hours",
    "vehicles-meter": "use a meter of site.yaml that counts vehicles",
    "zone": "use a key under `zones` in site.yaml",
    "panel": "use a key under `panels` in site.yaml",
    "photo": "put the picture there with `tunnelbook photo`, which makes it small",
}

_ENTRY_REMEDY = (
    "write visit#number: the visit's file name without .yaml, a # and the entry's number"
)


class Reference(NamedTuple):
    """A word of a file that stands for a thing: one of `_REMEDIES`, a `place` or an `entry`."""

    thing: str
    pointer: Pointer
    word: str
    is_key: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class _Defined:
    """Everything that can be referred to.

    `words` are the names of each thing; a thing of which not every name is known is left out.
    `points` are those of each machine, `entries` the number of them in each visit, None where a
    file at fault does not tell.
    """

    words: Mapping[str, AbstractSet[str]]
    points: Mapping[str, AbstractSet[str] | None]
    entries: Mapping[str, int | None]


def check_links(
    sound: list[Document],
    unfit: list[Document],
    unread: Iterable[Source],
    photos: AbstractSet[str],
    problems: Problems,
) -> None:
    """Report every reference of a document that leads nowhere.

    `unfit` are the documents that did not pass their schemas, `unread` the files of which no
    document could be made, `photos` the paths of pictures.
    """
    defined = _defined(sound, unfit, list(unread), photos)
    # Lines that are alike are read as one and the same value, which is looked at once.
    in_order: set[int] = set()
    known: set[tuple[str, str]] = set()
    for document in (*sound, *unfit):
        faults = problems.of(document)
        for reference in references(document):
            _check(faults, reference, defined)
        if document.kind is not Kind.VISIT:
            continue
        for index, entry in enumerate(list_of(mapping_of(document.value).get("entries"))):
            if id(entry) in in_order:
                continue
            before = problems.count
            for reference in entry_references(entry, ("entries", index)):
                word = reference.thing, reference.word
                if word not in known:
                    now = problems.count
                    _check(faults, reference, defined)
                    if problems.count == now:
                        known.add(word)
            if problems.count == before:
                in_order.add(id(entry))


def _check(faults: Faults, reference: Reference, defined: _Defined) -> None:
    thing, pointer, word, is_key = reference
    if thing == "entry":
        _check_entry(faults, pointer, word, defined)
        return
    place = Place(word)
    if thing == "place":
        thing, place = "machine", Place.parse(word)
    known = defined.words.get(thing)
    if known is None:
        return
    if place.machine not in known:
        faults.unknown(
            pointer,
            what=thing.rpartition("-")[2],
            word=place.machine,
            known=known,
            remedy=_REMEDIES[thing],
            key=is_key,
        )
    elif place.point:
        points = defined.points[place.machine]
        if points is not None and place.point not in points:
            _unknown_point(faults, pointer, place, list(points))


def _unknown_point(faults: Faults, pointer: Pointer, place: Place, known: list[str]) -> None:
    from ledger.files.spelling import nearest_text  # noqa: PLC0415 - only where something is wrong

    near = nearest_text(place.point, set(known).__contains__)
    faults.add(
        pointer,
        rule="unknown-point",
        message=f"machine `{place.machine}` has no point `{place.point}`",
        expected="a key under `points` in its file: " + (", ".join(known) or "none"),
        remedy=f"use one of them; in equipment/{place.machine}.yaml, a point that was renamed has "
        "its old name under `formerly`, and one that is gone stays there with `out_of_service`",
        nearest=f"{place.machine}/{near}" if near else "",
    )


def _check_entry(faults: Faults, pointer: Pointer, word: str, defined: _Defined) -> None:
    try:
        ref = EntryRef.parse(word)
    except ValueError:
        return
    if ref.visit not in defined.entries:
        faults.unknown(
            pointer, what="visit", word=ref.visit, known=defined.entries, remedy=_ENTRY_REMEDY
        )
        return
    last = defined.entries[ref.visit]
    if last is not None and ref.number > last:
        faults.add(
            pointer,
            rule="unknown-entry",
            message=f"visit `{ref.visit}` has no entry {ref.number}",
            expected=f"a number from 1 to {last}",
            remedy=_ENTRY_REMEDY,
        )


def _defined(
    sound: list[Document], unfit: list[Document], unread: list[Source], photos: AbstractSet[str]
) -> _Defined:
    values: dict[Kind, dict[str, Any]] = {kind: {} for kind in Kind}
    for source in unread:
        values[source.kind][source.ident] = None
    for document in (*sound, *unfit):
        values[document.kind][document.ident] = document.value
    site = mapping_of(values[Kind.SITE].get("site"))
    is_sound = any(document.kind is Kind.SITE for document in sound)
    words: dict[str, AbstractSet[str]] = {
        thing: mapping_of(site.get(key)).keys()
        for key, thing in (
            ("people", "person"),
            ("meters", "meter"),
            ("panels", "panel"),
            ("zones", "zone"),
        )
        if key in site or is_sound
    }
    for counts in ("hours", "vehicles") if "meter" in words else ():
        words[f"{counts}-meter"] = {
            ident
            for ident, meter in mapping_of(site.get("meters")).items()
            if mapping_of(meter).get("counts", counts) == counts
        }
    for kind in (Kind.MACHINE, Kind.TASK, Kind.PART, Kind.INSTRUMENT):
        words[kind.value] = values[kind].keys()
    words["settings-machine"] = words["machine"]
    words["photo"] = photos
    return _Defined(
        words=words,
        points={ident: _points(machine) for ident, machine in values[Kind.MACHINE].items()},
        entries={
            ident: len(list_of(mapping_of(visit).get("entries"))) or None
            for ident, visit in values[Kind.VISIT].items()
        },
    )


def _points(machine: Any) -> AbstractSet[str] | None:
    points = machine.get("points", {}) if isinstance(machine, dict) else None
    return points.keys() if isinstance(points, dict) else None


def references(document: Document) -> Iterator[Reference]:
    """The words of a document that stand for things; of a visit those outside its entries."""
    match document.kind:
        case Kind.MACHINE:
            yield from _under(document.value, (), _OF_MACHINE)
            for point, keys in mapping_of(mapping_of(document.value).get("points")).items():
                yield from _under(keys, ("points", point), {"drum": "place", "photos": "photo"})
        case Kind.TASK:
            yield from _of_task(mapping_of(document.value))
        case Kind.PART:
            yield from _under(document.value, (), {"fits": "machine"})
        case Kind.SETPOINTS:
            yield Reference("settings-machine", (), document.ident)
            for index, change in enumerate(list_of(document.value)):
                yield from _under(change, (index,), _OF_CHANGE)
        case Kind.VISIT:
            visit = mapping_of(document.value)
            yield from _under(visit, (), _OF_VISIT)
            yield from _keys_of(visit, "meters", "meter")


_OF_MACHINE = {
    "panel": "panel",
    "fed_by": "machine",
    "zone": "zone",
    "reaches": "zone",
    "photos": "photo",
}

_OF_CHANGE = {"proposed_by": "person", "approved_by": "person", "evidence": "entry"}

_OF_VISIT = {"by": "person", "with": "person", "filed_by": "person", "returned_by": "person"}

_OF_ENTRY = {
    "task": "task",
    "tasks": "task",
    "at": "place",
    "except": "place",
    "drawn": "place",
    "part": "part",
    "instrument": "instrument",
    "photos": "photo",
    "closes": "entry",
    "corrects": "entry",
}


def entry_references(entry: Any, pointer: Pointer) -> Iterator[Reference]:
    """Those of one entry of a visit, which stands at the pointer."""
    yield from _under(entry, pointer, _OF_ENTRY)
    if STEPS not in mapping_of(entry):
        return
    for number, step in enumerate(list_of(entry[STEPS])):
        yield from _under(step, (*pointer, STEPS, number), {"instrument": "instrument"})


def _of_task(task: Mapping[str, Any]) -> Iterator[Reference]:
    yield from _under(task.get("on"), ("on",), {"ids": "place", "except": "place"})
    for pointer, item in each_at(("every",), task.get("every")):
        counts = "vehicles" if "vehicles" in mapping_of(item) else "hours"
        yield from _under(item, pointer, {"meter": f"{counts}-meter"})
    yield from _under(task, (), {"covers": "task"})
    for index, line in enumerate(list_of(task.get("last_done"))):
        yield from _under(line, ("last_done", index), {"at": "place"})
    yield from _keys_of(task, "uses", "part")


def _under(value: Any, pointer: Pointer, things: Mapping[str, str]) -> Iterator[Reference]:
    """What stands under the keys of `things`, one word or a list of them."""
    for key, word_or_words in mapping_of(value).items():
        if (thing := things.get(key)) is not None:
            for place, word in each_at((*pointer, key), word_or_words):
                if isinstance(word, str):
                    yield Reference(thing, place, word)


def _keys_of(value: Mapping[str, Any], key: str, thing: str) -> Iterator[Reference]:
    for word in mapping_of(value.get(key)):
        yield Reference(thing, (key, word), word, is_key=True)
