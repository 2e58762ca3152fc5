"""The due work of a walk as a list for the terminal, a screen at a time, and answers to it.

An answer names places of lines: `3`, `3-6` and `all` are whole lines; `3@70-80` is line 3 at those
stations, `3.2-4` are its second to fourth place, `@70-80` is all due work there, and `all but 3@80`
leaves some out. Work that is not due yet is meant by the number of its line alone.
"""

import re
import shutil
import sys
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from itertools import groupby

from ledger.book import words
from ledger.cli.conversation import wrapped
from ledger.model.ledger import Ledger
from ledger.upkeep.due.found import PASSES, DueWork, minutes_of
from ledger.upkeep.due.rounds import WalkLine, runs_of

MORE = "more"

OTHER = "other"

_ROWS_AROUND = 9
"""Rows of a screen that the heading, the ways to answer and the question take."""

_FEWEST_ROWS = 8

_LATE = "Late"

_NOT_YET = "Not due yet"


class WalkList:
    """The lines with their numbers; `others` are left out until they are asked for."""

    def __init__(
        self, ledger: Ledger, lines: Sequence[WalkLine], day: date, others: Sequence[WalkLine] = ()
    ) -> None:
        self._ledger = ledger
        self.lines = tuple(lines)
        self._others = tuple(others)
        self._walk = [m.ident for m in ledger.machines.values() if m.in_use(day)]
        self._unseen: list[str] = []

    def other_lines(self) -> list[str]:
        """Number what was left out behind the rest, and show the first screen of that."""
        first = len(self.lines) + 1
        self.lines += self._others
        self._others = ()
        self._unseen = self._all(first)
        return self.next_screen()

    def first_screen(self) -> list[str]:
        """The list as far as the screen holds it, all of it where no screen is watched."""
        self._unseen = self._all()
        return self.next_screen()

    def next_screen(self) -> list[str]:
        shown: list[str] = []
        room = _rows()
        while self._unseen and (room is None or len(shown) < room):
            shown.extend(wrapped(self._unseen.pop(0)))
        unseen = sum(line[:3].strip().isdigit() for line in self._unseen)
        if unseen:
            shown.append(f"{words.format_count(unseen, 'line')} not shown yet: answer `{MORE}`.")
        return shown

    def ways_to_answer(self) -> list[str]:
        """How to answer, shown with numbers of this list."""
        wide = max(range(len(self.lines)), key=lambda at: len(self.lines[at].machines))
        number, line = wide + 1, self.lines[wide]
        is_any_due = any(line.is_due for line in self.lines)
        numbers = "`1 3-6`" if len(self.lines) > 5 else "`1 2`"
        ways = [f"{numbers} or `all`" if is_any_due else numbers]
        if len(line.machines) > 1:
            first, last = self._station(line.machines[0]), self._station(line.machines[1])
            ways.append(f"only some stations `{number}@{first}-{last}`")
            if is_any_due:
                ways.append(f"all work there `@{first}-{last}`")
                ways.append(f"leave out `all but {number}@{first}`")
        if len(line.work) > 1:
            ways.append(f"single places `{number}.2` (`?{number}` lists them)")
        if self._others:
            ways.append(f"`{OTHER}` lists what is not due yet")
        return wrapped(f"Answer: {'; '.join(ways)}.")

    def places_of(self, number: int) -> list[str]:
        """The places of a line with the numbers that mean them, a machine a line."""
        if not 1 <= number <= len(self.lines):
            raise ValueError(f"there is no line {number}; the list has 1 to {len(self.lines)}")
        numbered = list(enumerate(self.lines[number - 1].work, 1))
        shown = [f"{number}  {self.lines[number - 1].task.title}"]
        for machine, found in groupby(numbered, key=lambda one: one[1].place.machine):
            places = [
                f"{number}.{place} {words.format_point(self._ledger, one.place)}".rstrip()
                for place, one in found
            ]
            shown += wrapped(f"    {self._named(machine)}: {', '.join(places)}")
        return shown

    def where(self, machines: Sequence[str]) -> str:
        """`70-150, 230`: the stations, a run of neighbours along the walk by its ends."""
        runs = runs_of(machines, self._walk)
        ends = [(self._station(first), self._station(last)) for first, last in runs]
        return ", ".join(a if a == b else f"{a}-{b}" for a, b in ends)

    def summary(self, work: Sequence[DueWork]) -> str:
        """What was chosen, in words short enough to be read."""
        machines = tuple(dict.fromkeys(one.place.machine for one in work))
        tasks = len({one.task.ident for one in work})
        return (
            f"{words.format_count(tasks, 'task')} at {words.format_count(len(work), 'place')}, "
            f"{words.format_count(len(machines), 'station')}: {self.where(machines)}"
        )

    def _all(self, first: int = 1) -> list[str]:
        parts: dict[str, list[str]] = {}
        for place, line in enumerate(self.lines[first - 1 :], first):
            parts.setdefault(_part(line), []).append(f"{place:>2}  {self._line(line)}")
        return [row for part, rows in parts.items() for row in (part, *rows)]

    def _line(self, line: WalkLine) -> str:
        return ", ".join([f"{line.task.title}: {self._place_words(line)}", *self._facts(line)])

    def _place_words(self, line: WalkLine) -> str:
        if len(line.machines) > 1:
            return f"at {self.where(line.machines)}"
        point = words.format_point(self._ledger, line.work[0].place) if len(line.work) == 1 else ""
        return f"{self._named(line.machines[0])}{f', {point}' if point else ''}"

    def _facts(self, line: WalkLine) -> Iterable[str]:
        if len(line.work) > len(line.machines):
            yield words.format_count(len(line.work), "place")
        if line.task.minutes:
            yield words.format_minutes(minutes_of(line.work))
        if line.task.lockout:
            yield "lock out"
        if line.task.reads:
            yield f"closes with {words.in_words(line.task.reads)}"
        if not line.is_due and line.next_due_on:
            yield f"due {line.next_due_on.isoformat()}"
        if line.overdue_days:
            late = words.format_count(line.overdue_days, "day")
            some = len(line.late_machines) < len(line.machines)
            yield f"{late} late{f' at {self.where(line.late_machines)}' if some else ''}"

    def _named(self, machine: str) -> str:
        return f"{self._station(machine)} {self._ledger.machines[machine].name}"

    def _station(self, machine: str) -> str:
        return words.format_number(self._ledger.machines[machine].station)


def _part(line: WalkLine) -> str:
    if not line.is_due:
        return _NOT_YET
    return _LATE if line.overdue_days else PASSES[line.task.when]


def _rows() -> int | None:
    if not sys.stdout.isatty():
        return None
    return max(_FEWEST_ROWS, shutil.get_terminal_size((80, 24)).lines - _ROWS_AROUND)


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
    typed = text.replace(",", " ").replace("\N{EN DASH}", "-").lower().split()
    taken: set[tuple[int, int]] = set()
    is_left_out = False
    for word in typed:
        if word in _BUT:
            is_left_out = True
            continue
        named = _named(word, lines, station_of)
        taken = taken - named if is_left_out else taken | named
    if typed and not taken:
        raise ValueError("nothing is left of that; write 1 3-6, or all")
    rank = {machine: number for number, machine in enumerate(station_of)}
    found = [lines[line - 1].work[place - 1] for line, place in sorted(taken)]
    return tuple(sorted(found, key=lambda one: rank[one.place.machine]))


def _named(
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
        count = len(lines[numbers[0] - 1].work)
        line = word.partition(".")[0]
        wrong = f"`{word}`: that line has places 1 to {count}; ?{line}"
        places = _span(first_place, last_place, count, wrong)
        found = {(number, place) for number, place in found if place in places}
    if not found:
        which = f"line {word.partition('@')[0]}" if first else "the list"
        raise ValueError(f"`{word}`: {which} has no work at {where}")
    return found


def _numbers(
    word: str, first: str | None, last: str | None, lines: Sequence[WalkLine]
) -> Sequence[int]:
    if first is not None:
        wrong = f"`{word}` is no number of the list, 1 to {len(lines)}; for stations write @{word}"
        return _span(first, last, len(lines), wrong)
    due = [number for number, line in enumerate(lines, 1) if line.is_due]
    if not due:
        raise ValueError(f"`{word}` is all that is due, and nothing is: write the numbers")
    return due


def _span(first: str, last: str | None, count: int, wrong: str) -> range:
    """The numbers from first to last; ValueError with what is wrong where not all of them are."""
    span = range(int(first), int(last or first) + 1)
    if not span or span[0] < 1 or span[-1] > count:
        raise ValueError(wrong)
    return span


def _machines(where: str, station_of: Mapping[str, float]) -> frozenset[str]:
    if where in station_of:
        return frozenset({where})
    matched = _STATIONS.fullmatch(where)
    if matched is None:
        raise ValueError(f"`@{where}` is no station or machine; write @70, @70-80 or @wrap-d")
    low, high = float(matched[1]), float(matched[2] or matched[1])
    return frozenset(machine for machine, at in station_of.items() if low <= at <= high)
