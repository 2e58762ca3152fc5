"""What the words of a log may name at a site: machines, tasks, people, meters."""

import re
from collections.abc import Iterable

from ledger.files.spelling import value_meant
from ledger.model.ledger import Ledger

_LETTER = re.compile(r"(?<![^\W_])([a-z])[\s-]+(?=[0-9])")

_EMPTY_WORDS = frozenset("the of a an and in on at for to with no".split())


def stems(text: str) -> frozenset[str]:
    """The words of a text or id without their endings: `Greased the bearings` as greas and bear.

    A letter and the number behind it are one word: `P 2`, `P-2` and `P2` are one.
    """
    words = re.findall(r"[^\W_]+", _LETTER.sub(r"\1", text.casefold()))
    return frozenset(_stem(word) for word in words if word not in _EMPTY_WORDS)


def _stem(word: str) -> str:
    return re.sub(r"(?:ings?|ed|es|s|e)$", "", word) if len(word) > 3 else word


class Names:
    """Things by all that they are called."""

    def __init__(self, called: Iterable[tuple[str, Iterable[str]]]) -> None:
        self._stems = {ident: [stems(name) for name in (ident, *names)] for ident, names in called}

    def find(self, wanted: frozenset[str]) -> tuple[str, ...]:
        """Those called just so, or else those with all these words in a name."""
        exact = [one for one, names in self._stems.items() if wanted in names]
        within = (one for one, names in self._stems.items() if any(wanted <= n for n in names))
        return tuple(exact or within) if wanted else ()

    def named_within(self, text: str) -> tuple[str, str]:
        """The one thing that some words of a text name, and the other words; "" where none does.

        A thing is named by all words of a name, or by one with a digit in it: `Hz of P2`.
        """
        wanted = stems(text)
        for one, names in self._stems.items():
            for name in names:
                both = wanted & name
                is_named = both == name or any(re.search(r"\d", word) for word in both)
                if is_named and self.find(both) == (one,):
                    return one, " ".join(word for word in text.split() if not stems(word) <= both)
        return "", text


class SiteNames:
    def __init__(self, ledger: Ledger) -> None:
        machines, site = ledger.machines.values(), ledger.site
        self.machines = Names((one.ident, [one.name]) for one in machines)
        self._stations = [(f"{one.station:g}", one.ident) for one in machines]
        points = {f"{m.ident}/{ident}": (m, p) for m in machines for ident, p in m.points.items()}
        self._points = Names((at, [f"{m.name} {p.name}"]) for at, (m, p) in points.items())
        self._words_of_point = {
            at: {word for word in stems(f"{p.ident} {p.name}") if word.isalpha()}
            for at, (_, p) in points.items()
        }
        self._tasks = Names((one.ident, [one.title]) for one in ledger.tasks.values())
        self._people = Names(
            (ident, [one.name, "".join(re.findall(r"\b\w", one.name))])
            for ident, one in site.people.items()
        )
        self._meters = Names((ident, [one.name]) for ident, one in site.meters.items())
        self._meter_idents = tuple(site.meters)

    def person(self, text: str) -> tuple[str, ...]:
        is_initials = re.fullmatch(r"(\w\.? ?){1,3}", text)
        return self._people.find(stems(re.sub(r"[. ]", "", text) if is_initials else text))

    def place(self, text: str) -> tuple[str, ...]:
        """Machines, else points, of that name; else the machines at that station.

        A point is named by a word of its own, not by that of its machine and a number.
        """
        wanted = stems(text)
        return (
            self.machines.find(wanted)
            or tuple(at for at in self._points.find(wanted) if wanted & self._words_of_point[at])
            or tuple(ident for station, ident in self._stations if station == text.strip())
        )

    def task(self, text: str) -> tuple[str, ...]:
        return self._tasks.find(stems(text))

    def meter(self, heading: str, *, is_whole: bool = False) -> str:
        """The meter that a heading names, or means by one of its words unless `is_whole`."""
        found = self._meters.find(stems(heading))
        typed = () if is_whole else re.findall(r"[^\W_]+", heading)
        meant = (value_meant(word, self._meter_idents) for word in typed)
        return found[0] if len(found) == 1 else next(filter(None, meant), "")
