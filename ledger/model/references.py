"""What the files define, and how they name places and entries."""

from collections.abc import Container, Iterator, Mapping
from typing import Any, NamedTuple, Self

from ledger.files.document import Document, Pointer, mapping_of
from ledger.files.paths import Kind

# Named tuples, as they are hashed and compared by the million.


class EntryRef(NamedTuple):
    """One entry of one visit, written `visit#n` with n from 1.

    `visit#n.m` is step m of a tuning session, for whoever lists its readings; files name the
    entry alone.
    """

    visit: str
    number: int
    step: int = 0

    def __str__(self) -> str:
        return f"{self.visit}#{self.number}{f'.{self.step}' if self.step else ''}"

    @property
    def whole(self) -> "EntryRef":
        """The entry, of which this may be a step."""
        return EntryRef(self.visit, self.number)

    @classmethod
    def parse(cls, text: str) -> Self:
        """The reference written as `visit#n`; ValueError where it is not one."""
        visit, mark, number = text.partition("#")
        if not (visit and mark and number.isascii() and number.isdigit() and int(number) > 0):
            raise ValueError(f"not visit#number: {text!r}")
        return cls(visit, int(number))


class Place(NamedTuple):
    """A machine, or one of its points, written `machine` or `machine/point`."""

    machine: str
    point: str = ""

    def __str__(self) -> str:
        return f"{self.machine}/{self.point}" if self.point else self.machine

    def is_among(self, places: Container["Place"]) -> bool:
        """Whether it, or the whole machine, is one of these."""
        return self in places or Place(self.machine) in places

    @classmethod
    def parse(cls, text: str) -> Self:
        machine, _, point = text.partition("/")
        return cls(machine, point)


class Thing(NamedTuple):
    """Something that a document defines, by its name of today; a point's with its machine's.

    `keys` are what the document says of it, at `pointer`.
    """

    kind: str
    ident: str
    pointer: Pointer
    keys: Mapping[str, Any]


_OF_SITE = {"people": "person", "meters": "meter", "panels": "panel"}


def things_of(document: Document) -> Iterator[Thing]:
    """What a document of a machine, a task, a part or the site defines."""
    value = mapping_of(document.value)
    if document.kind in {Kind.MACHINE, Kind.TASK, Kind.PART}:
        yield Thing(document.kind.value, document.ident, (), value)
    if document.kind is Kind.MACHINE:
        for point, keys in mapping_of(value.get("points")).items():
            name = str(Place(document.ident, point))
            yield Thing("point", name, ("points", point), mapping_of(keys))
    if document.kind is Kind.SITE:
        for key, kind in _OF_SITE.items():
            for ident, keys in mapping_of(value.get(key)).items():
                yield Thing(kind, ident, (key, ident), mapping_of(keys))
