"""Former names: a file that calls a thing as it was called before means the thing of today.

Documents are given out with the names of today in every place that refers to something, so that
nothing else has to know of a former one. The files themselves stay as they are.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from ledger.files.document import Document, Pointer
from ledger.files.paths import Kind
from ledger.model.links import Reference, entry_references, listed, mapping, references
from ledger.model.problems import Problems
from ledger.model.references import Place
from ledger.values import dataclass, replace

_THINGS = {Kind.MACHINE: "machine", Kind.TASK: "task", Kind.PART: "part"}

FormerNames = Mapping[tuple[str, str], str]
"""The name of today by the kind of thing and its former name; a point's with its machine's."""


def with_names_of_today(
    sound: list[Document], unfit: list[Document], problems: Problems
) -> tuple[list[Document], list[Document]]:
    """The documents with every former name in them replaced.

    A former name that something else has today, or had too, is reported and means nothing.
    """
    former = _former_names([*sound, *unfit], problems)
    if not former:
        return sound, unfit
    entries: dict[int, tuple[Any, Any]] = {}
    renamed = tuple([_renamed(one, former, entries) for one in held] for held in (sound, unfit))
    paths = {(one.kind, one.ident): one.path for one in sound}
    for document, now in zip(sound, renamed[0], strict=True):
        if document.ident != now.ident and (other := paths.get((now.kind, now.ident))):
            problems.error(
                document,
                (),
                rule="settings-twice",
                message=f"the settings of `{now.ident}` are in {other} too",
                expected="one file of settings for a drive",
                remedy="put all changes into one of the two, in order of date",
            )
    return renamed[0], renamed[1]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Claim:
    """That a thing was called otherwise before, and where that is written."""

    thing: str
    former: str
    today: str
    document: Document
    pointer: Pointer


def _former_names(documents: list[Document], problems: Problems) -> FormerNames:
    claims = [claim for document in documents for claim in _claims(document)]
    if not claims:
        return {}
    today = {(thing, ident) for document in documents for thing, ident in _things(document)}
    found: dict[tuple[str, str], str] = {}
    for claim in claims:
        key = claim.thing, claim.former
        if key not in today and found.setdefault(key, claim.today) == claim.today:
            continue
        other = claim.former if key in today else found[key]
        problems.error(
            claim.document,
            claim.pointer,
            rule="former-name-taken",
            message=f"`{claim.former}` cannot be a former name of `{claim.today}`: "
            f"`{other}` has it" + ("" if key in today else " too"),
            expected="a name that nothing else has or had",
            remedy="take it out at one of the two",
        )
        found.pop(key, None)
    return found


def _things(document: Document) -> Iterator[tuple[str, str]]:
    """Everything that a document defines, by its name of today."""
    value = mapping(document.value)
    if document.kind in _THINGS:
        yield _THINGS[document.kind], document.ident
    if document.kind is Kind.MACHINE:
        for point in mapping(value.get("points")):
            yield "point", str(Place(document.ident, point))
    if document.kind is Kind.SITE:
        for person in mapping(value.get("people")):
            yield "person", person


def _claims(document: Document) -> Iterator[_Claim]:
    value = mapping(document.value)
    if document.kind in _THINGS:
        yield from _of(document, _THINGS[document.kind], (), document.ident, "")
    if document.kind is Kind.MACHINE:
        for point in mapping(value.get("points")):
            yield from _of(document, "point", ("points", point), point, document.ident)
    if document.kind is Kind.SITE:
        for person in mapping(value.get("people")):
            yield from _of(document, "person", ("people", person), person, "")


def _of(
    document: Document, thing: str, pointer: Pointer, ident: str, machine: str
) -> Iterator[_Claim]:
    holder = document.value
    for part in pointer:
        holder = mapping(holder).get(str(part))
    for index, former in enumerate(listed(mapping(holder).get("formerly"))):
        if isinstance(former, str):
            yield _Claim(
                thing=thing,
                former=str(Place(machine, former)) if machine else former,
                today=str(Place(machine, ident)) if machine else ident,
                document=document,
                pointer=(*pointer, "formerly", index),
            )


def _renamed(
    document: Document, former: FormerNames, entries: dict[int, tuple[Any, Any]]
) -> Document:
    """`entries` keeps what became of each entry, since those that are alike are one value."""
    value, ident = _replaced(document.value, references(document), former), document.ident
    if document.kind is Kind.SETPOINTS:
        ident = former.get(("machine", ident), ident)
    before = listed(mapping(value).get("entries")) if document.kind is Kind.VISIT else []
    for entry in before:
        if id(entry) not in entries:
            entries[id(entry)] = entry, _replaced(entry, entry_references(entry, ()), former)
    after = [entries[id(entry)][1] for entry in before]
    if any(old is not new for old, new in zip(before, after, strict=True)):
        value = {**value, "entries": after}
    if value is document.value and ident == document.ident:
        return document
    return replace(document, value=value, ident=ident)


def _replaced(value: Any, found: Iterable[Reference], former: FormerNames) -> Any:
    """The value with the names of today at these references; itself where all are."""
    for reference in found:
        word = _word_of_today(reference, former)
        if word != reference.word and reference.pointer:
            value = _with(value, reference.pointer, word, is_key=reference.is_key)
    return value


def _word_of_today(reference: Reference, former: FormerNames) -> str:
    if reference.thing != "place":
        return former.get((reference.thing, reference.word), reference.word)
    place = Place.parse(reference.word)
    place = Place(former.get(("machine", place.machine), place.machine), place.point)
    return former.get(("point", str(place)), str(place))


def _with(value: Any, pointer: Pointer, word: str, *, is_key: bool) -> Any:
    """A copy of the value with a word in it replaced, which shares all other parts."""
    head, *rest = pointer
    if isinstance(value, list):
        changed = word if not rest else _with(value[int(head)], tuple(rest), word, is_key=is_key)
        return [changed if index == head else item for index, item in enumerate(value)]
    if not rest and is_key:
        return {word if key == head else key: item for key, item in value.items()}
    changed = word if not rest else _with(value[head], tuple(rest), word, is_key=is_key)
    return {**value, head: changed}
