"""Collects what is wrong between files, each at its place and with the id that was meant.

An id may be meant by what people call the thing: a machine's name, a task's title.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from functools import cached_property, lru_cache
from typing import Unpack

from ledger.files.diagnostics import FaultText, FirstOfEach
from ledger.files.document import Document, Pointer
from ledger.model.references import Place, things_of
from ledger.values import dataclass

#: By kind of thing, as in a rule id, and by name in small letters: the ids that it may stand for.
Called = Mapping[str, Mapping[str, list[str]]]


# More would hide the message.
_MOST_IDS = 3


# So many names are listed where one is wrong; more would hide the message.
_FEW = 12

_SHORTEST_NAME = 5

_CAN_BE_RENAMED = frozenset({"machine", "task", "person", "part"})


class Problems(FirstOfEach):
    """Grows while the model is built and checked; positions are looked up only here.

    `documents`, which have passed their schemas, hold the names that people know things by, for who
    writes them in the place of an id.
    """

    def __init__(self, documents: Iterable[Document] = ()) -> None:
        super().__init__()
        self._documents = documents

    @cached_property
    def called(self) -> Called:
        """The names in the documents.

        A point by itself, by its id or by its name, stands for that point of any machine.
        """
        found: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
        for thing in (thing for document in self._documents for thing in things_of(document)):
            names, kind = [thing.keys.get("title" if thing.kind == "task" else "name")], thing.kind
            if kind == "point":
                kind, (machine, point) = "machine", Place.parse(thing.ident)
                names += [point, *(f"{machine}{mark}{point}" for mark in " .-:")]
            for name in filter(None, names):
                found[kind][name.strip().casefold()].append(thing.ident)
        return found

    def of(self, document: Document) -> "Faults":
        """Where to put what is wrong with one document."""
        return Faults(document=document, problems=self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Faults:
    """Puts what is wrong with one document among all problems."""

    document: Document
    problems: Problems

    def add(self, pointer: Pointer, *, key: bool = False, **text: Unpack[FaultText]) -> None:
        """A fault of the value at `pointer`, or of its key."""
        if self.problems.has_room(self.document.path, text["rule"]):
            self.problems.add(self.document.diagnose(pointer, key=key, **text))

    def unknown(
        self,
        pointer: Pointer,
        *,
        what: str,
        word: str,
        known: Iterable[str],
        remedy: str,
        key: bool = False,
    ) -> None:
        """A reference to something that no file defines; `what` is one word, such as `machine`."""
        words = sorted(known)
        called = self.problems.called.get(what, {}).get(word.strip().casefold(), [])
        meant = " or ".join(called[:_MOST_IDS])
        if what in _CAN_BE_RENAMED:
            remedy += "; if it was renamed, list the old name under `formerly` in the new one"
        if what == "machine":
            remedy += "; if it is gone, put its file back with `out_of_service`"
        few = ": " + ", ".join(words) if 0 < len(words) <= _FEW else ""
        self.add(
            pointer,
            key=key,
            rule=f"unknown-{what}",
            message=f"there is no {what} `{word}`",
            expected=f"a {what} of this site{few}",
            remedy=remedy,
            nearest=meant or name_meant(word, words, is_machine=what == "machine"),
        )


def name_meant(word: str, known: Iterable[str], *, is_machine: bool = False) -> str:
    """The name that a word writes in another way or with a slip, or ""."""
    # An abbreviation such as CST is like many names, and means none of them.
    if word.isupper() and len(word) < _SHORTEST_NAME:
        return ""
    from ledger.files.spelling import nearest_text  # noqa: PLC0415 - only where something is wrong

    otherwise_written = nearest_text(word, set(known).__contains__)
    # The machine with the next name is another machine: work would count at the wrong one.
    return otherwise_written or ("" if is_machine else nearest(word, known))


def nearest(word: str, known: Iterable[str]) -> str:
    """The closest known spelling, or nothing where none is close."""
    return _nearest(word, tuple(sorted(known)))


# Where one name is wrong it is mostly wrong in many places.
@lru_cache(maxsize=1024)
def _nearest(word: str, known: tuple[str, ...]) -> str:
    import difflib  # noqa: PLC0415 - only where something is wrong

    close = difflib.get_close_matches(word, known, n=1, cutoff=0.6)
    return close[0] if close else ""
