"""Former names: a file that calls a thing as it was called before means the thing of today.

Documents are given out with the names of today in every place that refers to something, so that
nothing else has to know of a former one. The files themselves stay as they are.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from ledger.files.document import Document, Pointer, list_of, mapping_of
from ledger.files.paths import Kind
from ledger.model.links import Reference, entry_references, references
from ledger.model.problems import Problems
from ledger.model.references import Place, things_of
from ledger.values import replace

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
            problems.of(document).add(
                (),
                rule="settings-twice",
                message=f"the settings of `{now.ident}` are in {other} too",
                expected="one file of settings for a drive",
                remedy="put all changes into one of the two, in order of date",
            )
    return renamed[0], renamed[1]


def _former_names(documents: list[Document], problems: Problems) -> FormerNames:
    things = [(one, document) for document in documents for one in things_of(document)]
    today = {(thing.kind, thing.ident) for thing, _ in things}
    found: dict[tuple[str, str], str] = {}
    for thing, document in things:
        machine = document.ident if thing.kind == "point" else ""
        for index, word in enumerate(list_of(thing.keys.get("formerly"))):
            if not isinstance(word, str):
                continue
            former = str(Place(machine, word)) if machine else word
            key = thing.kind, former
            if key not in today and found.setdefault(key, thing.ident) == thing.ident:
                continue
            other = former if key in today else found[key]
            problems.of(document).add(
                (*thing.pointer, "formerly", index),
                rule="former-name-taken",
                message=f"`{former}` cannot be a former name of `{thing.ident}`: "
                f"`{other}` has it" + ("" if key in today else " too"),
                expected="a name that nothing else has or had",
                remedy="take it out at one of the two",
            )
            found.pop(key, None)
    return found


def _renamed(
    document: Document, former: FormerNames, entries: dict[int, tuple[Any, Any]]
) -> Document:
    """`entries` keeps what became of each entry, since those that are alike are one value."""
    value, ident = _replaced(document.value, references(document), former), document.ident
    if document.kind is Kind.SETPOINTS:
        ident = former.get(("machine", ident), ident)
    before = list_of(mapping_of(value).get("entries")) if document.kind is Kind.VISIT else []
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
    if not pointer:
        return word
    head, *rest = pointer
    if is_key and not rest:
        return {word if key == head else key: item for key, item in value.items()}
    changed = _with(value[head], tuple(rest), word, is_key=is_key)
    if isinstance(value, list):
        return [changed if index == head else item for index, item in enumerate(value)]
    return {**value, head: changed}
