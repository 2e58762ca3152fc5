"""The questions of `tunnelbook record`, in the order of the walk."""

import shutil
import textwrap
from collections.abc import Container, Sequence
from datetime import datetime
from functools import partial
from typing import Any

from ledger.assess.due import Schedule
from ledger.assess.speeds import band_of, speed_of
from ledger.cli.asking import ask, ask_for
from ledger.cli.tap_tachometer import can_tap, tapped_times
from ledger.compute.band import Band, verdict_of
from ledger.compute.rounding import shown
from ledger.compute.taps import LEAST_TAPS, from_taps
from ledger.edit.fields import (
    choices_of,
    label_of,
    number,
    parse_value,
    reading_groups,
    whole_number,
)
from ledger.edit.walk import WalkLine, chosen, walk_lines, work_entries
from ledger.model.ledger import Ledger
from ledger.model.problems import nearest
from ledger.model.references import Place
from ledger.model.site import Person
from ledger.model.visits import PassCount, SpeedReading, TappedPasses
from ledger.report import words
from ledger.write.escape import terminal_text


class Dialogue:
    """One visit by question and answer; an empty answer leaves out what was asked for."""

    def __init__(self, ledger: Ledger, person: Person, when: datetime) -> None:
        self._ledger = ledger
        self._person = person
        self._when = when

    def entries(self) -> list[dict[str, Any]]:
        work = Schedule(self._ledger, self._when.date()).all_due()
        lines = walk_lines(work, self._person)
        _say(f"{self._ledger.site.name}, {self._when:%Y-%m-%d %H:%M}, {self._person.name}")
        self._say_walk(lines, sum(one.is_on_the_walk for one in work))
        done = self._asked("Done (numbers such as 1-3 5, or all; Enter for none): ", lines)
        rest = [line for line in lines if line not in done]
        entries = self._work(done)
        if rest:
            entries += self._not_done(lines, rest)
        entries += self._findings()
        return entries

    def meters(self, but: Container[str]) -> dict[str, int | float]:
        """What the counters show, but for those told already."""
        last: dict[str, float] = {}
        for visit in self._ledger.visits:
            last.update(visit.meters)
        found: dict[str, int | float] = {}
        for meter in self._ledger.site.meters.values():
            if meter.ident in but:
                continue
            before = f", last {last[meter.ident]:.10g}" if meter.ident in last else ""
            value = ask_for(f"{terminal_text(meter.name)}{before} (Enter: not read): ", number)
            if value is not None:
                found[meter.ident] = value
        return found

    def note(self) -> str:
        return ask("Note (Enter for none): ")

    def _say_walk(self, lines: Sequence[WalkLine], due: int) -> None:
        for sentence in words.SAFETY:
            _say(f"! {sentence}")
        locked = [line for line in lines if line.task.lockout]
        for machine in dict.fromkeys(line.machine for line in locked):
            titles = [line.task.title for line in locked if line.machine == machine]
            _say(f"! Lock out first: {self._name(machine)}, before: {'; '.join(titles)}")
        for caution in dict.fromkeys(c for one in lines for c in one.task.cautions):
            _say(f"! {caution}")
        if not lines:
            _say("Nothing is due on this walk for you.")
        for place, due_line in enumerate(lines, 1):
            _say(f"{place:>3}  {self._line(due_line)}")
        others = due - sum(len(line.places) for line in lines)
        if others:
            _say(f"{others} more due that need a qualification you are not marked for.")

    def _line(self, line: WalkLine) -> str:
        station = words.number_words(self._ledger.machines[line.machine].station)
        points = [name for place in line.places if (name := words.point_words(self._ledger, place))]
        where = f": {words.in_words(points)}" if points else ""
        late = f", {words.count_words(line.overdue_days, 'day')} late" if line.overdue_days else ""
        return f"{station} · {self._name(line.machine)}: {line.task.title}{where}{late}"

    def _asked(self, question: str, lines: Sequence[WalkLine]) -> list[WalkLine]:
        if not lines:
            return []
        numbers = ask_for(question, lambda text: chosen(text, len(lines))) or ()
        return [lines[at - 1] for at in numbers]

    def _work(self, done: Sequence[WalkLine]) -> list[dict[str, Any]]:
        plain = []
        read: list[dict[str, Any]] = []
        for line in done:
            unread = []
            for place in line.places:
                readings = self._readings(line, place)
                if readings:
                    read.append({"task": line.task.ident, "at": str(place), **readings})
                else:
                    unread.append(place)
            plain.append((line.task, unread))
        with_places = [(task, places) for task, places in plain if places]
        return work_entries(self._ledger, with_places, self._when.date()) + read

    def _readings(self, line: WalkLine, place: Place) -> dict[str, Any]:
        if not line.task.reads:
            return {}
        _say(f"{self._place_name(place)}: {line.task.title}")
        machine = self._ledger.machines[place.machine]
        found: dict[str, Any] = {}
        if "speed" in line.task.reads:
            found |= self._speed(place)
        for group in reading_groups(line.task.reads, machine, self._ledger.site.units):
            values = {}
            for key in (*group.required, *group.optional):
                value = ask_for(f"  {_label(key)}: ", partial(parse_value, key))
                if value is not None:
                    values[key] = value
                elif key in group.required:
                    break
            if values.keys() >= set(group.required):
                found |= values
        return found

    def _speed(self, place: Place) -> dict[str, Any]:
        band, _ = band_of(
            self._ledger.machines[place.machine], self._ledger.site.line.line_rate_per_h
        )
        tap = "t to tap with the space bar, or " if can_tap() else ""
        question = f"  Speed, from outside the guards: {tap}passes and seconds such as 38 30: "
        while True:
            told = ask_for(question, _count_or_tap)
            if told is None:
                return {}
            if told is not _TAP:
                passes, seconds = told
                reading = PassCount(passes=passes, seconds=float(seconds))
                _say(f"  {self._said(reading, band)}")
                return {"counted": passes, "seconds": seconds}
            if not can_tap():
                _say("  Taps need a terminal; type a count.")
                continue
            times = tapped_times(lambda so_far: self._live(so_far, band))
            try:
                from_taps(times)
            except ValueError as wrong:
                _say(f"  {wrong}")
            else:
                return {"taps_s": list(times)}

    def _live(self, times: tuple[float, ...], band: Band | None) -> str:
        if len(times) < LEAST_TAPS:
            return f"  {words.count_words(len(times), 'tap')}"
        said = self._said(TappedPasses(times_s=times), band)
        return f"  {words.count_words(len(times), 'tap')}  {said}{_repaired(times)}"

    def _said(self, reading: SpeedReading, band: Band | None) -> str:
        try:
            speed = speed_of(reading, timing_u_s=self._ledger.site.policy.timing_u_s)
        except ValueError as wrong:
            return str(wrong)
        said = f"{shown(speed.rpm, speed.expanded())} r/min"
        if band is None:
            return said
        limits = words.range_words(band.low, band.high)
        return f"{said}  {verdict_of(speed, band).value} {limits}"

    def _not_done(
        self, lines: Sequence[WalkLine], rest: Sequence[WalkLine]
    ) -> list[dict[str, Any]]:
        left = self._asked(
            f"Could not be done, for a reason ({len(rest)} not ticked; Enter for none): ", lines
        )
        entries = []
        for line in left:
            if line not in rest:
                continue
            reason = ask(f"  Why not, {line.task.title}: ")
            if reason:
                found = work_entries(self._ledger, [(line.task, line.places)], self._when.date())
                entries += [{**entry, "outcome": "not-done", "reason": reason} for entry in found]
        return entries

    def _findings(self) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = []
        such_as = next((f", such as {place}" for place in self._places() if "/" in place), "")
        while True:
            place = ask_for(f"Anything wrong? Where{such_as} (Enter: no): ", self._known)
            if place is None:
                return found
            what = ask("  What is wrong: ")
            if not what:
                continue
            urgency = ask_for(
                "  Urgency: now, soon or planned (Enter: soon): ",
                partial(parse_value, "urgency"),
            )
            found.append({"finding": what, "at": place, "urgency": urgency or "soon"})

    def _known(self, text: str) -> str:
        place = Place.parse(text)
        machine = self._ledger.machines.get(place.machine)
        if machine is not None and (not place.point or place.point in machine.points):
            return text
        near = nearest(text, self._places())
        hint = (
            f"; did you mean {near}?" if near else "; machines: " + ", ".join(self._ledger.machines)
        )
        raise ValueError(f"there is no {terminal_text(text)}{hint}")

    def _places(self) -> list[str]:
        machines = self._ledger.machines
        return [*machines, *(f"{m.ident}/{point}" for m in machines.values() for point in m.points)]

    def _name(self, machine: str) -> str:
        return self._ledger.machines[machine].name

    def _place_name(self, place: Place) -> str:
        return self._ledger.place_name(place)


_TAP = (0, 0)
_WIDEST = 100


def _repaired(times: tuple[float, ...]) -> str:
    """How many passes had no tap and how many taps were one too many, where any."""
    try:
        found = from_taps(times)
    except ValueError:
        return ""
    counts = ((found.missed, "missed"), (found.doubled, "doubled"))
    said = [f"{count} {what}" for count, what in counts if count]
    return f"  ({', '.join(said)})" if said else ""


def _count_or_tap(text: str) -> tuple[int, int | float]:
    if text in ("t", "tap"):
        return _TAP
    parts = text.replace("/", " ").split()
    if len(parts) != 2:
        raise ValueError("write the passes and the seconds, such as 38 30")
    return whole_number(parts[0]), number(parts[1])


def _label(key: str) -> str:
    choices = choices_of(key)
    return f"{label_of(key)} ({', '.join(choices)})" if choices else label_of(key)


def _say(text: str) -> None:
    """A line as wide as a page is, the rest of a long one set in."""
    columns = min(_WIDEST, shutil.get_terminal_size((_WIDEST, 24)).columns)
    indent = " " * (len(text) - len(text.lstrip()))
    print(
        textwrap.fill(
            terminal_text(text), columns, subsequent_indent=f"{indent}  ", break_on_hyphens=False
        )
    )
