"""The due work of a walk as a list for the terminal, a screen at a time.

An answer to the numbered lines of a walk: which places of which lines it means.

`3`, `3-6` and `all` are whole lines; `3@70-80` is line 3 at those stations, `3.2-4` are its second
to fourth place, `@70-80` is all due work there, and `all but 3@80` leaves some out. Work that is
not due yet is meant by the number of its line alone.

A visit by questions to its end: shown, changed as often as wanted, filed or given up.

Whatever ends it early, what was gathered is printed as a visit's file.
"""

import re
import shutil
import sys
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from itertools import groupby
from typing import Any

from ledger.book import words
from ledger.cli.command import Failure
from ledger.cli.filing import (
    BACK,
    Checked,
    Filing,
    InputEnded,
    ask_until,
    checked,
    settle,
    show,
    someone_is_there,
    wrapped,
    write,
)
from ledger.cli.record import PARTS, Dialogue
from ledger.filing.visit_file import visit_file
from ledger.model.ledger import Ledger
from ledger.upkeep.due.found import DueWork, minutes_of
from ledger.upkeep.due.walk import WalkLine, runs_of

MORE = "more"

OTHER = "other"

_ROWS_AROUND = 9
"""Rows of a screen that the heading, the ways to answer and the question take."""

_FEWEST_ROWS = 8

_LATE, _DAILY, _BESIDES = "Late", "Daily round", "Besides the daily round"

_NOT_YET = "Not due yet"


class WalkList:
    """The lines with their numbers; `others` are left out until they are asked for."""

    def __init__(
        self,
        ledger: Ledger,
        lines: Sequence[WalkLine],
        day: date,
        *,
        others: Sequence[WalkLine] = (),
    ) -> None:
        self._ledger = ledger
        self._lines = tuple(lines)
        self._others = tuple(others)
        self._walk = [m.ident for m in ledger.machines.values() if m.in_use(day)]
        self._unseen: list[str] = []

    @property
    def lines(self) -> tuple[WalkLine, ...]:
        return self._lines

    def other_lines(self) -> list[str]:
        """Number what was left out behind the rest, and show the first screen of that."""
        first = len(self._lines) + 1
        self._lines += self._others
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
        wide = max(range(len(self._lines)), key=lambda at: len(self._lines[at].machines))
        number, line = wide + 1, self._lines[wide]
        is_any_due = any(line.is_due for line in self._lines)
        numbers = "`1 3-6`" if len(self._lines) > 5 else "`1 2`"
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
        if not 1 <= number <= len(self._lines):
            raise ValueError(f"there is no line {number}; the list has 1 to {len(self._lines)}")
        numbered = list(enumerate(self._lines[number - 1].work, 1))
        shown = [f"{number}  {self._lines[number - 1].task.title}"]
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
        for place, line in enumerate(self._lines[first - 1 :], first):
            parts.setdefault(_part(line), []).append(f"{place:>2}  {self._line(line)}")
        if len(parts) == 1 and _BESIDES in parts:
            return parts[_BESIDES]
        return [row for part, rows in parts.items() for row in (part, *rows)]

    def _line(self, line: WalkLine) -> str:
        facts = list(self._facts(line))
        return f"{line.task.title}: {self._place_words(line)}" + "".join(
            f", {one}" for one in facts
        )

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
    return _LATE if line.overdue_days else _DAILY if line.is_daily else _BESIDES


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


_FILE, _STOP = ("y", "yes"), ("n", "no", "stop")


class VisitByQuestions:
    """The visit of one dialogue; meters and note told as options are not asked for."""

    def __init__(self, filing: Filing, meters: Mapping[str, int | float], note: str) -> None:
        self._filing = filing
        self._meters = meters
        self._note = note
        self._dialogue = Dialogue(
            filing.ledger, filing.person, filing.when, told_meters=meters, asks_note=not note
        )

    def file(self) -> int:
        """The exit status, once the visit is filed or given up."""
        try:
            visit, found = self._agreed()
        except (KeyboardInterrupt, InputEnded):
            self._dialogue.stop()
            self._print_draft()
            raise
        if found is not None:
            return settle(self._filing, visit, found)
        if visit:
            return write(self._filing, visit)
        sys.stderr.write("nothing was filed\n")
        return 1

    def _agreed(self) -> tuple[dict[str, Any], Checked | None]:
        """The visit to file, and what was found about it where nobody was asked; or nothing."""
        while True:
            self._dialogue.run()
            visit = self._visit()
            found = None
            if "entries" in visit:
                found = checked(self._filing, visit)
                show(found)
                if not self._is_reviewed():
                    return visit, found
            elif not self._is_reviewed():
                raise Failure("a visit needs at least one entry; nothing was filed")
            else:
                print("Nothing was answered that could be filed.")
            answer = self._reviewed(found)
            if answer in _FILE:
                return visit, None
            if answer in _STOP:
                return {}, None
            if answer == BACK:
                self._dialogue.go_back()
            else:
                self._dialogue.answer_again(PARTS[int(answer) - 1])

    def _is_reviewed(self) -> bool:
        return someone_is_there() and not self._filing.yes and not self._filing.dry_run

    def _reviewed(self, found: Checked | None) -> str:
        """What to do with the visit that was shown."""
        may_file = found is not None and not found.errors
        if found is not None and found.warnings:
            print("A foreman would ask about the above.")
        parts = ", ".join(f"{number} {part}" for number, part in enumerate(PARTS, 1))
        print(f"To change an answer: `{BACK}`, or the number of a part: {parts}.")
        question = (
            "File it? (y/n) " if may_file else "It cannot be filed so. Change what? (n: stop) "
        )

        def meant(text: str) -> str:
            word = text.lower()
            is_part = word.isdecimal() and 1 <= int(word) <= len(PARTS)
            if is_part or word == BACK or word in _STOP or (may_file and word in _FILE):
                return word
            ways = "y to file it, n to stop" if may_file else "n to stop"
            raise ValueError(f"write {ways}, {BACK}, or a number, 1 to {len(PARTS)}")

        return ask_until(question, meant)

    def _visit(self) -> dict[str, Any]:
        return self._filing.visit(
            meters={**self._meters, **self._dialogue.meters},
            note=self._note or self._dialogue.note,
            entries=self._dialogue.entries,
        )

    def _print_draft(self) -> None:
        """What was gathered, as the file that would hold it."""
        sys.stdout.flush()
        visit = self._visit()
        if "entries" not in visit:
            sys.stderr.write("\nNothing was filed: no work, reading or finding was answered yet.\n")
            return
        draft = visit_file(self._filing.site.root, visit, self._filing.when)
        sys.stderr.write(
            "\nNothing was filed. What was answered so far would be this file; to keep it, "
            f"save it as\n{self._filing.site.root / draft.path}\n\n{draft.text}"
        )
