"""The questions about one finding and one reading, with the space bar as a tachometer.

A finding: where, what and how soon. A reading: a speed counted or tapped, a drive's setting, any
other field.
"""

import itertools
import os
import re
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from functools import partial
from typing import TypeVar

from ledger.book import words
from ledger.cli.command import Failure
from ledger.cli.conversation import BACK, Conversation, Key, say
from ledger.cli.session import Keys, SessionQuestions
from ledger.compute.band import Band, verdict_of
from ledger.compute.numbers import shown
from ledger.compute.speed import LEAST_TAPS, from_taps
from ledger.filing import fields
from ledger.model.build_visit import speed_reading_of
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.model.problems import nearest
from ledger.model.readings import KEYS_OF_READING, NO_METER
from ledger.model.references import Place
from ledger.model.visits import SpeedReading, TappedPasses
from ledger.upkeep.due.found import DueWork
from ledger.upkeep.register.found import standing_of
from ledger.upkeep.speeds.found import band_of, speed_of

try:
    import termios
    import tty
except ImportError:  # pragma: no cover - no such terminals on Windows: counts are typed there
    termios = None  # type: ignore[assignment]

_T = TypeVar("_T")

_FINDING = re.compile(r"([^\s=]+)\s*=?\s*(.*)")

_STATION = re.compile(r"(\d{1,6}(?:\.\d{1,3})?)(/.*)?")


class FindingQuestions:
    """A place may be typed by its id, or by its station: `brush-1/nozzle-1`, `70/nozzle-1`."""

    def __init__(self, ledger: Ledger, conversation: Conversation) -> None:
        self._ledger = ledger
        self._conversation = conversation

    def ask(self, part: str, done: Sequence[DueWork], findings: list[Keys]) -> None:
        """Add each finding to `findings` as an entry; the example is of the work done."""
        such_as = self._place_such_as(done)
        question = f"Anything wrong? Where and what, such as {such_as} = loose (Enter: no): "
        for count in itertools.count(1):
            found = self._conversation.ask((part, count), question, self._finding)
            if found is None:
                return
            place, what = found
            what = what or self._conversation.ask(
                (part, count, "what"), "  What is wrong: ", needed_words
            )
            self.add((part, count, "urgency"), what, place, findings)
            question = "Anything else wrong (Enter: no): "

    def add(self, key: Key, what: str, place: str, findings: list[Keys]) -> None:
        """Add what is wrong at a place, once it is said how soon it has to be put right."""
        finding = {"finding": what, "at": place, "urgency": "soon"}
        findings.append(finding)
        question = f"  How soon: now, soon or planned, or {_TIED_BACK} (Enter: soon): "
        urgency = self._conversation.ask(key, question, _urgency)
        if urgency == _TIED_BACK:
            findings.append({"tied_back": what, "at": Place.parse(place).machine})
            urgency = "now"
        finding["urgency"] = urgency

    def _place_such_as(self, done: Sequence[DueWork]) -> str:
        """A point of the first machine that was worked at, by its station."""
        all_machines = self._ledger.machines
        machines = [all_machines[one.place.machine] for one in done] or list(all_machines.values())
        station = words.format_number(machines[0].station) if machines else "10"
        point = next(iter(machines[0].points), "") if machines else ""
        return f"{station}/{point}" if point else station

    def _finding(self, text: str) -> tuple[str, str] | None:
        if not text:
            return None
        typed = _FINDING.fullmatch(text)
        if typed is None:
            raise ValueError("write the place first")
        return self._known(typed[1]), typed[2]

    def _known(self, text: str) -> str:
        """A place as its id, also where its station was typed; ValueError with the nearest."""
        at_station = _STATION.fullmatch(text)
        if at_station is not None:
            text = self._machine_at(float(at_station[1])) + (at_station[2] or "")
        text = text.removesuffix("/")
        place = Place.parse(text)
        machines = self._ledger.machines
        machine = machines.get(place.machine)
        if machine is not None and (not place.point or place.point in machine.points):
            return text
        points = (f"{one.ident}/{point}" for one in machines.values() for point in one.points)
        near = nearest(text, [*machines, *points])
        if near:
            hint = f"did you mean {near}?"
        elif machine is not None:
            hint = f"its points: {', '.join(machine.points) or 'none'}"
        else:
            hint = f"machines: {', '.join(machines)}"
        raise ValueError(f"there is no {text}; {hint}")

    def _machine_at(self, station: float) -> str:
        found = [m.ident for m in self._ledger.machines.values() if m.station == station]
        if len(found) == 1:
            return found[0]
        there = f"{', '.join(found)} stand there" if found else "nothing stands there"
        raise ValueError(f"station {words.format_number(station)}: {there}; write the machine")


def needed_words(text: str) -> str:
    """The answer to a question that needs words; ValueError without."""
    if not text:
        raise ValueError(f"a few words are needed; `{BACK}` takes the answer before back")
    return text


def _urgency(text: str) -> str:
    if text.lower() == _TIED_BACK:
        return _TIED_BACK
    value: str = fields.parse_value("urgency", text.lower() or "soon")
    return value


_TIED_BACK = "tied back"
"""Of a machine that was put out of action for what was found, while the line runs."""


SKIP = "skip"

_AS_APPROVED = "a"

_FOUND = {key for key in KEYS_OF_READING["setting"] if key.startswith(("found_", NO_METER))}

_TAP_ANSWERS = ("t", "tap")


class ReadingQuestions:
    def __init__(self, ledger: Ledger, conversation: Conversation, day: date) -> None:
        self._ledger = ledger
        self._conversation = conversation
        self._session = SessionQuestions(ledger, conversation, self._counted, day)
        self._day = day

    def ask(self, part: str, work: DueWork, entry: Keys, beside: list[Keys]) -> bool:
        """Put what a task reads at a place into `entry`; False where some of it was skipped.

        A drive that is out of band may be tuned at once; then shafts beside it may be read too,
        as entries of `beside`.
        """
        machine = self._ledger.machines[work.place.machine]
        station = words.format_number(machine.station)
        place = self._ledger.place_name(work.place)
        self._conversation.tell(f"{station} {place}: {work.task.title}")
        key: Key = (part, work.task.ident, str(work.place))
        is_whole = True
        if "speed" in work.task.reads:
            is_whole = self._speed(key, machine, entry)
        for group in fields.reading_groups(work.task.reads, machine, self._ledger.site.units):
            if group.kind == "setting":
                is_needed = "setting" in work.task.reads
                is_whole &= self._setting(key, machine, entry, is_needed=is_needed)
                beside += self._session.ask(key, machine, entry, only_if_out=True)
            else:
                is_whole &= self._group(key, work, group, entry)
        return is_whole

    def tune(self, part: str, machine: Machine, entry: Keys) -> list[Keys]:
        """A tuning session into `entry`; the counts of shafts beside it as further entries."""
        key: Key = (part, "tune", machine.ident)
        if not (
            self._speed(key, machine, entry) and self._setting(key, machine, entry, is_needed=True)
        ):
            return []
        return self._session.ask(key, machine, entry, only_if_out=False)

    def _speed(self, key: Key, machine: Machine, entry: Keys) -> bool:
        unit = fields.format_setting(machine, self._ledger.site.units)
        behind = f", or 43 30 @{'44' if unit == 'Hz' else '3.8'} with the {unit}" if unit else ""
        tap = "; t: tap with the space bar" if can_tap() else ""
        band, _ = band_of(machine, self._ledger.site.line.line_rate_per_h)

        def parse(text: str) -> Keys:
            count, _, setting = text.partition("@")
            reading = self._counted(count.strip(), band)
            return reading | (
                fields.setting_values(setting, machine, self._ledger.site.units) if setting else {}
            )

        question = f"  Passes and seconds (43 30{behind}{tap}): "
        found = self._value((*key, "speed"), question, parse, is_needed=True)
        entry |= found or {}
        return found is not None

    def _counted(self, text: str, band: Band | None) -> Keys:
        if text.lower() in _TAP_ANSWERS:
            return {"taps_s": list(self._tapped(band))}
        counted = fields.count_values(text)
        reading = speed_reading_of(counted)
        if reading is not None:
            say(f"  {self._speed_text(reading, band)}")
        return counted

    def _tapped(self, band: Band | None) -> tuple[float, ...]:
        if not can_tap():
            raise ValueError("taps need a terminal; type a count")
        times = tapped_times(lambda so_far: self._live(so_far, band))
        from_taps(times)
        return times

    def _live(self, times: tuple[float, ...], band: Band | None) -> str:
        taps = words.format_count(len(times), "tap")
        if len(times) < LEAST_TAPS:
            return f"  {taps}"
        try:
            speed = self._speed_text(TappedPasses(times_s=times), band)
            return f"  {taps}  {speed}{_repaired(times)}"
        except ValueError as error:
            return f"  {taps}  {error}"

    def _speed_text(self, reading: SpeedReading, band: Band | None) -> str:
        """The speed in words; ValueError where the numbers give none."""
        speed = speed_of(reading, timing_u_s=self._ledger.site.policy.timing_u_s)
        text = f"{shown(speed.rpm, speed.expanded())} r/min"
        if band is None:
            return text
        limits = words.format_range(band.low, band.high)
        return f"{text}  {verdict_of(speed, band).value} {limits}"

    def _setting(self, key: Key, machine: Machine, entry: Keys, *, is_needed: bool) -> bool:
        """The drive's setting, where it was not typed behind the count."""
        if not machine.has_setpoint or not _FOUND.isdisjoint(entry):
            return True
        unit = fields.format_setting(machine, self._ledger.site.units)

        approved = standing_of(self._ledger, machine.ident, self._day).change

        def parse(text: str) -> Keys:
            if text.lower() == _AS_APPROVED and approved is not None:
                value = words.in_shown_unit(approved.value, approved.unit, self._ledger.site)
                text = f"{round(value, 3):g}"
            return fields.setting_values(text, machine, self._ledger.site.units)

        ways = ["behind it what you left it at, if another"]
        if approved is not None:
            approved_text = words.format_change(approved, self._ledger.site)
            ways.insert(0, f"{_AS_APPROVED}: as approved, {approved_text}")
        if unit != "Hz":
            ways.append(f"`{fields.NO_METER_WORDS}`: nothing shows it, turned as before")
        question = f"  Drive found at, {unit}, as counted ({'; '.join(ways)}): "
        found = self._value((*key, "setting"), question, parse, is_needed=is_needed)
        entry |= found or {}
        return found is not None or not is_needed

    def _group(self, key: Key, work: DueWork, group: fields.FieldGroup, entry: Keys) -> bool:
        for name in (*group.required, *group.optional):
            is_needed = name in group.required or any(
                name in KEYS_OF_READING[reads] for reads in work.task.reads
            )
            question = f"  {_label(name)}{'' if is_needed else ' (Enter: not read)'}: "
            parse = partial(fields.parse_value, name)
            value = self._value((*key, name), question, parse, is_needed=is_needed)
            if value is not None:
                entry[name] = value
            elif is_needed:
                # Part of such a reading is none.
                for other in group.required:
                    entry.pop(other, None)
                return False
        return True

    def _value(
        self, key: Key, question: str, parse: Callable[[str], _T], *, is_needed: bool
    ) -> _T | None:
        """The meaning of the answer; None for an empty one, or one that was skipped by its word."""

        def parse_or_skip(text: str) -> _T | None:
            if not text and is_needed:
                raise ValueError(f"without it the work stays due: type it, or `{SKIP}`")
            if not text or (is_needed and text.lower() == SKIP):
                return None
            return parse(text)

        return self._conversation.ask(key, question, parse_or_skip)


def _label(name: str) -> str:
    choices = fields.choices_of(name)
    return f"{fields.label_of(name)} ({', '.join(choices)})" if choices else fields.label_of(name)


def _repaired(times: tuple[float, ...]) -> str:
    """How many passes had no tap and how many taps were one too many, where any."""
    found = from_taps(times)
    counts = ((found.missed, "missed"), (found.doubled, "doubled"))
    parts = [f"{count} {what}" for count, what in counts if count]
    parts += [found.doubt] if found.doubt else []
    return f"  ({', '.join(parts)})" if parts else ""


_TAP, _AGAIN = b" ", (b"r", b"\x7f", b"\x08")

_ENDS = (b"\n", b"\r", b"\x04")

_DECIMALS = 3

_CLEAR_LINE = "\r\x1b[K"


def can_tap() -> bool:
    """Whether single keys of a terminal can be read."""
    return termios is not None and sys.stdin.isatty()


def tapped_times(shown: Callable[[tuple[float, ...]], str]) -> tuple[float, ...]:
    """Times of the taps in seconds from the first, until Enter; `shown` words them as they come."""
    times: list[float] = []
    with _single_keys() as descriptor:
        print("Tap the space bar each time the mark passes; r starts over; Enter ends.")
        while True:
            sys.stdout.write(f"{_CLEAR_LINE}{shown(_from_first(times))}")
            sys.stdout.flush()
            key = os.read(descriptor, 1)
            now = time.monotonic()
            if not key:
                raise Failure("the terminal went away; nothing was filed")
            if key == _TAP:
                times.append(now)
            elif key in _AGAIN:
                times.clear()
            elif key in _ENDS:
                print()
                return _from_first(times)


def _from_first(times: list[float]) -> tuple[float, ...]:
    return tuple(round(each - times[0], _DECIMALS) for each in times)


@contextmanager
def _single_keys() -> Iterator[int]:
    """Keys come one by one, without echo; Ctrl-C still ends. The terminal is put back after."""
    descriptor = sys.stdin.fileno()
    before = termios.tcgetattr(descriptor)
    try:
        # Keys typed ahead would count as taps.
        tty.setcbreak(descriptor, termios.TCSAFLUSH)
        yield descriptor
    finally:
        termios.tcsetattr(descriptor, termios.TCSADRAIN, before)
