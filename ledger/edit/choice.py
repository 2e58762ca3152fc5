"""An answer to the numbered lines of a walk: which places of which lines it means.

`3`, `3-6` and `all` are whole lines; `3@70-80` is line 3 at those stations, `3.2-4` are its second
to fourth place, `@70-80` is all due work there, and `all but 3@80` leaves some out. Work that is
not due yet is meant by the number of its line alone.
"""

import re
from collections.abc import Mapping, Sequence

from ledger.assess.due import DueWork
from ledger.edit.walk import WalkLine

_SPAN = r"(\d{1,4})(?:-(\d{1,4}))?"
_WORD = re.compile(rf"(?:all|{_SPAN})?(?:\.{_SPAN})?(?:@(.+))?")
_STATIONS = re.compile(r"(\d{1,6}(?:\.\d{1,3})?)(?:-(\d{1,6}(?:\.\d{1,3})?))?")
_BUT = frozenset({"but", "except", "without", "not"})


def chosen(
    text: str, lines: Sequence[WalkLine], station_of: Mapping[str, float]
) -> tuple[DueWork, ...]:
    """The work that an answer means, in the order of the walk; nothing for an empty answer.

    `station_of` gives the station of each machine, in walking order. Raises ValueError, in words
    for the person who typed it, for a word that means nothing in these lines.
    """
    words = text.replace(",", " ").replace("\N{EN DASH}", "-").lower().split()
    taken: set[tuple[int, int]] = set()
    is_left_out = False
    for word in words:
        if word in _BUT:
            is_left_out = True
            continue
        meant = _meant(word, lines, station_of)
        taken = taken - meant if is_left_out else taken | meant
    if words and not taken:
        raise ValueError("nothing is left of that; write 1 3-6, or all")
    rank = {machine: number for number, machine in enumerate(station_of)}
    found = [lines[line - 1].work[place - 1] for line, place in sorted(taken)]
    return tuple(sorted(found, key=lambda one: rank[one.place.machine]))


def _meant(
    word: str, lines: Sequence[WalkLine], station_of: Mapping[str, float]
) -> set[tuple[int, int]]:
    """Pairs of a line's number and of a place's number in it, both from 1."""
    matched = _WORD.fullmatch(word)
    if matched is None:
        raise ValueError(f"`{word}` is no number of the list; write 1 3-6, or all")
    first, last, first_place, last_place, where = matched.groups()
    numbers = _numbers(word, first, last, lines)
    if first_place is not None and len(numbers) != 1:
        raise ValueError(f"`{word}`: write places of one line, such as 3.1-4")
    machines = None if where is None else _machines(where, station_of)
    found = {
        (number, place)
        for number in numbers
        for place, one in enumerate(lines[number - 1].work, 1)
        if machines is None or one.place.machine in machines
    }
    if first_place is not None:
        places = _places(word, first_place, last_place, len(lines[numbers[0] - 1].work))
        found = {(number, place) for number, place in found if place in places}
    if not found:
        which = f"line {word.partition('@')[0]}" if first else "the list"
        raise ValueError(f"`{word}`: {which} has no work at {where}")
    return found


def _numbers(
    word: str, first: str | None, last: str | None, lines: Sequence[WalkLine]
) -> Sequence[int]:
    if first is None:
        due = [number for number, line in enumerate(lines, 1) if line.is_due]
        if not due:
            raise ValueError(f"`{word}` is all that is due, and nothing is: write the numbers")
        return due
    count = len(lines)
    span = range(int(first), int(last or first) + 1)
    if not span or span[0] < 1 or span[-1] > count:
        raise ValueError(
            f"`{word}` is no number of the list, 1 to {count}; for stations write @{word}"
        )
    return span


def _places(word: str, first: str, last: str | None, count: int) -> range:
    span = range(int(first), int(last or first) + 1)
    if not span or span[0] < 1 or span[-1] > count:
        raise ValueError(
            f"`{word}`: that line has places 1 to {count}; ?{word.split('.', maxsplit=1)[0]}"
        )
    return span


def _machines(where: str, station_of: Mapping[str, float]) -> frozenset[str]:
    if where in station_of:
        return frozenset({where})
    matched = _STATIONS.fullmatch(where)
    if matched is None:
        raise ValueError(f"`@{where}` is no station or machine; write @70, @70-80 or @wrap-d")
    low, high = float(matched[1]), float(matched[2] or matched[1])
    return frozenset(machine for machine, at in station_of.items() if low <= at <= high)
