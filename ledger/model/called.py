"""What people call the things that files know by an id: a machine's name, a task's title."""

from collections.abc import Iterable, Mapping

from ledger.source.discover import Kind
from ledger.source.document import Document

#: By kind of thing, as in a rule id, and by name in small letters: the ids that it may stand for.
Called = Mapping[str, Mapping[str, tuple[str, ...]]]

_NAME_KEYS = {Kind.MACHINE: "name", Kind.TASK: "title", Kind.PART: "name"}
_OF_SITE = {"people": "person", "meters": "meter", "panels": "panel"}
# More would hide the message.
_MOST_IDS = 3


def names_called(documents: Iterable[Document]) -> Called:
    """The names in documents that have passed their schemas.

    A point by itself, by its id or by its name, stands for that point of any machine.
    """
    found: dict[str, dict[str, list[str]]] = {}

    def add(what: str, name: str | None, ident: str) -> None:
        if name:
            idents = found.setdefault(what, {}).setdefault(name.strip().casefold(), [])
            if len(idents) < _MOST_IDS:
                idents.append(ident)

    for document in documents:
        if document.kind in _NAME_KEYS:
            add(document.kind.value, document.value.get(_NAME_KEYS[document.kind]), document.ident)
        if document.kind is Kind.MACHINE:
            for point, fields in document.value.get("points", {}).items():
                add("machine", point, f"{document.ident}/{point}")
                add("machine", fields.get("name"), f"{document.ident}/{point}")
                for mark in " .-:":
                    add("machine", f"{document.ident}{mark}{point}", f"{document.ident}/{point}")
        if document.kind is Kind.SITE:
            for key, what in _OF_SITE.items():
                for ident, fields in document.value.get(key, {}).items():
                    add(what, fields.get("name"), ident)
    return {
        what: {name: tuple(idents) for name, idents in names.items()}
        for what, names in found.items()
    }
