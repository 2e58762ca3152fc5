"""The due work of a walk as a list for the terminal, a screen at a time."""

import shutil
import sys
from collections.abc import Iterable, Sequence
from datetime import date
from itertools import groupby

from ledger.assess.due import DueWork
from ledger.assess.due_groups import minutes_of
from ledger.cli.asking import wrapped
from ledger.edit.walk import WalkLine, runs_of
from ledger.model.ledger import Ledger
from ledger.report import words

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
            shown.append(f"{words.count_words(unseen, 'line')} not shown yet: answer `{MORE}`.")
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
                f"{number}.{place} {words.point_words(self._ledger, one.place)}".rstrip()
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
            f"{words.count_words(tasks, 'task')} at {words.count_words(len(work), 'place')}, "
            f"{words.count_words(len(machines), 'station')}: {self.where(machines)}"
        )

    def _all(self, first: int = 1) -> list[str]:
        parts: dict[str, list[str]] = {}
        for number, line in enumerate(self._lines[first - 1 :], first):
            parts.setdefault(_part(line), []).append(f"{number:>2}  {self._line(line)}")
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
        point = words.point_words(self._ledger, line.work[0].place) if len(line.work) == 1 else ""
        return f"{self._named(line.machines[0])}{f', {point}' if point else ''}"

    def _facts(self, line: WalkLine) -> Iterable[str]:
        if len(line.work) > len(line.machines):
            yield words.count_words(len(line.work), "place")
        if line.task.minutes:
            yield words.minutes_words(minutes_of(line.work))
        if line.task.lockout:
            yield "lock out"
        if not line.is_due and line.next_due_on:
            yield f"due {line.next_due_on.isoformat()}"
        if line.overdue_days:
            late = words.count_words(line.overdue_days, "day")
            some = len(line.late_machines) < len(line.machines)
            yield f"{late} late{f' at {self.where(line.late_machines)}' if some else ''}"

    def _named(self, machine: str) -> str:
        return f"{self._station(machine)} {self._ledger.machines[machine].name}"

    def _station(self, machine: str) -> str:
        return words.number_words(self._ledger.machines[machine].station)


def _part(line: WalkLine) -> str:
    if not line.is_due:
        return _NOT_YET
    return _LATE if line.overdue_days else _DAILY if line.is_daily else _BESIDES


def _rows() -> int | None:
    if not sys.stdout.isatty():
        return None
    return max(_FEWEST_ROWS, shutil.get_terminal_size((80, 24)).lines - _ROWS_AROUND)
