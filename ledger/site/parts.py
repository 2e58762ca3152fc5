"""What is worked out of single machines and kept from one run to the next.

A part is plain text under a key that stands for all that it was made of: the entries of its
machine, the other files, and what else its maker says. On which days it holds, and whether it
rests on the meters, is noted while it is made. Pages kept as files need not be rendered again.
"""

import json
from collections.abc import Callable, Container, Iterable, Mapping
from datetime import date
from typing import Any, TypeVar, cast

from ledger import __version__
from ledger.book.addresses import FRONT_PAGE
from ledger.book.blocks import Page, pictures_of
from ledger.book.plain import KeptPlot, from_text, to_text
from ledger.files.book_files import KeptFile, hash_of
from ledger.files.survey import content_hash
from ledger.model.ledger import DETAILED, Ledger
from ledger.model.noted_day import Noted
from ledger.site.of_machine import OfMachine
from ledger.values import dataclass

T = TypeVar("T")

Files = dict[str, bytes | KeptFile]


@dataclass(frozen=True, slots=True, kw_only=True)
class Store:
    """What was kept, by name, and where the new is put. `program` stands for what works it out."""

    program: str
    kept: Mapping[str, str]
    new: dict[str, str]


class Parts:
    """The parts of one ledger on a day; without a store each is worked out."""

    def __init__(self, ledger: Ledger, day: date, store: Store | None) -> None:
        self._ledger, self._day, self._store = ledger, day, store
        self._found: dict[str, OfMachine] = {}
        self.drawn: dict[str, bytes] = {}
        """Pictures of parts by their paths, so that they are not drawn again for their pages."""
        self._last = (ledger.overall.last_day or date.min).toordinal()
        if store is not None:
            overall = ledger.overall
            self._meters = _hash([(name, [*of]) for name, of in sorted(overall.meters.items())])
            self._site = (store.program, ledger.surroundings, overall.first_day)

    @property
    def is_kept(self) -> bool:
        """Whether what is worked out is kept for the next time."""
        return self._store is not None

    @property
    def has_kept(self) -> bool:
        """Whether something was kept."""
        return self._store is not None and bool(self._store.kept)

    @property
    def new(self) -> dict[str, str]:
        """What is to be kept, by name; others may be added to it."""
        return {} if self._store is None else self._store.new

    def of_machine(self, ident: str) -> OfMachine:
        if ident not in self._found:
            self._found[ident] = OfMachine(self._ledger, ident, self._day)
        return self._found[ident]

    def forget_found(self) -> None:
        """Give back what was worked out of each machine, which takes much memory."""
        self._found.clear()
        self.drawn.clear()

    def each(
        self,
        name: str,
        make: Callable[[OfMachine], T],
        rests_on: Callable[[str], object] = lambda _: None,
    ) -> dict[str, T]:
        """Of each machine in walking order, made of what tells more than that work was done.

        `rests_on` is what else it is made of.
        """
        return {
            ident: self._part(name, ident, make, rests_on(ident)) for ident in self._ledger.machines
        }

    def text(self, name: str, made_of: object, make: Callable[[Noted], str]) -> str:
        """A text; `make` is given what notes all that it asks of the whole record."""
        noted = Noted()
        if self._store is None:
            return make(noted)
        title, key = f"text {name}", self._hash(made_of)
        kept = self._kept(title, key)
        if kept is not None:
            return str(from_text(kept))
        text = make(noted)
        self._keep(title, key, noted, Noted(), text)
        return text

    def by_year(
        self,
        name: str,
        step: Callable[[OfMachine, int, T | None], T],
        rests_on: Callable[[str, int, int], object],
        machines: Iterable[str],
    ) -> dict[str, T]:
        """Of each machine with an entry all its years; `step` adds a year to those before.

        `rests_on` is asked for each year, with the one before it or 0.
        """
        found: dict[str, T] = {}
        for ident in machines:
            value = self._by_year(name, ident, step, rests_on)
            if value is not None:
                found[ident] = value
        return found

    def _by_year(
        self,
        name: str,
        ident: str,
        step: Callable[[OfMachine, int, T | None], T],
        rests_on: Callable[[str, int, int], object],
    ) -> T | None:
        value: T | None = None
        if self._store is None:
            for year in self._ledger.years_of(ident):
                value = step(self.of_machine(ident), year, value)
            return value
        parts = [part for part in self._ledger.digests(ident) if part.isdigit()]
        key, last = "", 0
        years: list[tuple[int, str, str]] = []
        for year in sorted(map(int, parts)):
            digest = self._ledger.digest(ident, year)
            key, last = self._hash(key, digest, rests_on(ident, last, year)), year
            years.append((year, f"part {name} {ident} {year}", key))
        missing: list[tuple[int, str, str]] = []
        for year, title, key in reversed(years):
            kept = self._kept(title, key)
            if kept is not None:
                value = cast("T", from_text(kept))
                break
            missing.append((year, title, key))
        for year, title, key in reversed(missing):
            found = self.of_machine(ident)
            value = step(found, year, value)
            self._keep(title, key, found.noted_of_work, Noted(), value)
        return value

    def _kept(self, title: str, made_of: str) -> str | None:
        """The text of a part that was made of the same, where it holds."""
        text = "" if self._store is None else self._store.kept.get(title, "")
        head, _, body = text.partition("\n")
        known: list[Any] = json.loads(head) if head else []
        return body if known and known[0] == made_of and self._is_in_range(known) else None

    def _keep(
        self, title: str, made_of: str, noted: Noted, noted_day: Noted, value: object
    ) -> None:
        if self._store is not None:
            head = json.dumps([made_of, *self._range(noted), *_days(noted_day)])
            self._store.new[title] = f"{head}\n{to_text(value, self.drawn)}"

    def _part(
        self,
        name: str,
        ident: str,
        make: Callable[[OfMachine], T],
        rests_on: object,
    ) -> T:
        if self._store is None:
            return make(self.of_machine(ident))
        title = f"part {name} {ident}"
        made_of = self._hash(self._ledger.digest(ident, DETAILED), rests_on)
        kept = self._kept(title, made_of)
        if kept is not None:
            return cast("T", from_text(kept))
        found = self.of_machine(ident)
        value = make(found)
        self._keep(title, made_of, found.noted, found.noted_day, value)
        return value

    def files(self, unit: "Unit", around: Noted | None = None) -> Files:
        """The files of some pages, by their hashes where those of last time will do.

        What they ask of the whole record is also noted in `around`.
        """
        if self._store is None:
            return self._made(unit, Noted())
        title, key = f"files {unit.name}", self._hash(unit.made_of())
        text = self._store.kept.get(title, "")
        kept: list[Any] = json.loads(text) if text else []
        if kept and kept[0] == key and self._is_in_range(kept):
            files: Files = {path: KeptFile(found) for path, found in kept[-1].items()}
        else:
            noted = Noted()
            files = self._made(unit, noted)
            hashes = {path: hash_of(file) for path, file in files.items()}
            kept = [key, *self._range(noted), *_days(Noted()), hashes]
            self._store.new[title] = json.dumps(kept)
        if around is not None:
            around.between(*kept[2:4])
            around.asked_meters |= bool(kept[1])
        return files

    def _made(self, unit: "Unit", noted: Noted) -> Files:
        files: Files = {}
        for one in unit.pages(noted):
            files |= self.files(one, noted) if isinstance(one, Unit) else files_of(one, self.drawn)
        return files

    def _hash(self, *facts: object) -> str:
        return _hash([self._site, *facts])

    def _range(self, noted: Noted) -> tuple[object, ...]:
        return (self._meters if noted.asked_meters else "", *_days(noted))

    def _is_in_range(self, kept: list[Any]) -> bool:
        """Whether it holds for the last day on record, the day looked at and the meters."""
        meters, first, last, first_day, last_day = kept[1:6]
        return (
            meters in {"", self._meters}
            and first <= self._last <= last
            and first_day <= self._day.toordinal() <= last_day
        )


@dataclass(frozen=True, slots=True)
class Unit:
    """Pages that are rendered together, or not at all where what they are made of is as before.

    `made_of` gives what stands for it; `pages` is given what notes all that they ask of the whole
    record.
    """

    name: str
    made_of: Callable[[], object]
    pages: "Callable[[Noted], Iterable[Page | Unit]]"


def files_of(page: Page, drawn: Mapping[str, bytes]) -> Files:
    """A page as Markdown, and its pictures; those kept are given by their hashes."""
    plots = {one.path: one.plot for one in pictures_of(page.blocks)}
    files: Files = {path: drawn[path] for path in plots if path in drawn}
    files |= {path: KeptFile(p.drawn) for path, p in plots.items() if isinstance(p, KeptPlot)}
    texts = text_of(page, leave=files)
    # In memory a text with a sign beyond Latin takes twice as much as its bytes.
    return {path: text.encode() for path, text in texts.items()} | files


def text_of(page: Page, leave: Container[str] = ()) -> dict[str, str]:
    """A page as Markdown, and its pictures but those to be left out."""
    # Whoever prints one machine renders nothing.
    from ledger.book import markdown, svg  # noqa: PLC0415

    # On one page alone, so that a new version of the program alters one line.
    version = __version__ if page.path == FRONT_PAGE else ""
    files = {page.path: markdown.render(page, version=version)}
    for picture in pictures_of(page.blocks):
        if picture.path not in files and picture.path not in leave:
            files[picture.path] = svg.draw(picture)
    return files


def _days(noted: Noted) -> tuple[int, int]:
    return noted.first, noted.last


def _hash(facts: object) -> str:
    return content_hash(repr(facts).encode())
