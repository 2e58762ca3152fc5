"""The questions of `tunnelbook record`, in the order of the walk."""

import re
from collections.abc import Container, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from typing import Any

from ledger.book import words
from ledger.cli.filing import BACK, Back, Conversation, Note, Unanswered
from ledger.cli.questions import FindingQuestions, ReadingQuestions, said
from ledger.cli.walk_list import MORE, OTHER, WalkList, chosen
from ledger.filing.fields import number
from ledger.model.ledger import Ledger
from ledger.model.references import Place
from ledger.model.site import Person
from ledger.upkeep.due.found import DueWork, Schedule
from ledger.upkeep.due.walk import early_lines, walk_lines, work_entries

WORK, READINGS, NOT_DONE, FINDINGS, COUNTERS, NOTE = PARTS = (
    "work",
    "readings",
    "not done",
    "findings",
    "counters",
    "note",
)
"""The parts of the dialogue, by which answers are given again."""


_COUNTER = re.compile(r"([\w-]+)\s*=\s*([\d.]+)")


@dataclass(kw_only=True)
class Gathered:
    """What the answers so far come to. `read` may end with an entry that still lacks a reading."""

    plain: list[DueWork] = field(default_factory=list)
    read: list[dict[str, Any]] = field(default_factory=list)
    not_done: list[dict[str, Any]] = field(default_factory=list)
    findings: list[dict[str, Any]] = field(default_factory=list)
    meters: dict[str, int | float] = field(default_factory=dict)
    note: str = ""


class Dialogue:
    """One visit by question and answer; an empty answer leaves out what was asked for."""

    def __init__(
        self,
        ledger: Ledger,
        person: Person,
        when: datetime,
        *,
        told_meters: Container[str],
        asks_note: bool,
    ) -> None:
        self._ledger = ledger
        self._person = person
        self._when = when
        self._told_meters = told_meters
        self._asks_note = asks_note
        work = Schedule(ledger, when.date()).all_due()
        due, early = walk_lines(work, person), early_lines(work, person)
        shown = sum(len(line.work) for line in due)
        self._is_any_due = bool(due)
        self._others = sum(one.is_on_the_walk for one in work) - shown
        # Where nothing is due, what is not due yet is all there is to choose from.
        self._list = WalkList(ledger, due or early, when.date(), others=early if due else ())
        self._conversation = Conversation()
        self._readings = ReadingQuestions(ledger, self._conversation)
        self._findings = FindingQuestions(ledger, self._conversation)
        self._gathered = Gathered()

    def run(self) -> None:
        """Ask what has no answer yet, going back as often as the person wants to."""
        while True:
            self._gathered = Gathered()
            self._conversation.begin()
            try:
                self._ask_all()
            except Back:
                self._conversation.go_back()
            else:
                self._conversation.say_the_rest()
                return

    def go_back(self) -> None:
        self._conversation.go_back()

    def answer_again(self, part: str) -> None:
        self._conversation.forget_part(part)

    def stop(self) -> None:
        """Ask nothing more; what was gathered is what the answers so far come to."""
        self._gathered = Gathered()
        self._conversation.end()
        self._conversation.begin()
        try:
            self._ask_all()
        except Unanswered:
            return

    @property
    def entries(self) -> list[dict[str, Any]]:
        """The entries of the visit, from what was gathered."""
        return [
            *self._entries_of(self._gathered.plain),
            *(entry for entry in self._gathered.read if entry.keys() > {"at"}),
            *self._gathered.not_done,
            *self._gathered.findings,
        ]

    @property
    def meters(self) -> dict[str, int | float]:
        return self._gathered.meters

    @property
    def note(self) -> str:
        return self._gathered.note

    def _ask_all(self) -> None:
        done = self._work()
        self._gathered.plain += [one for one in done if not one.task.reads]
        for one in done:
            if one.task.reads:
                self._read(one)
        self._not_done(done)
        self._findings.ask(FINDINGS, done, self._gathered.findings)
        self._counters()
        if self._asks_note:
            self._gathered.note = self._conversation.ask((NOTE,), "Note (Enter: none): ", str)

    def _work(self) -> tuple[DueWork, ...]:
        conversation = self._conversation
        conversation.tell(
            f"{self._ledger.site.name}, {self._when:%Y-%m-%d %H:%M}, {self._person.name}. "
            f"`{BACK}` takes an answer back; nothing is written before the end."
        )
        if not self._is_any_due:
            conversation.tell("Nothing is due on this walk for you.")
        for row in self._list.first_screen():
            conversation.tell(row)
        if self._others:
            conversation.tell(
                f"{self._others} more due that need a qualification you are not marked for."
            )
        done: tuple[DueWork, ...] = ()
        if self._list.lines:
            for row in self._list.ways_to_answer():
                conversation.tell(row)
            done = conversation.ask((WORK,), "Done (Enter: none of it): ", self._chosen)
        self._say_cautions(done)
        return done

    def _chosen(self, text: str) -> tuple[DueWork, ...]:
        if text.lower() == MORE:
            rows = self._list.next_screen() or ["That is the whole list."]
            raise Note("\n".join(rows))
        if text.lower() == OTHER:
            raise Note("\n".join(self._list.other_lines() or ["That is the whole list."]))
        if text.startswith("?"):
            asked = text.removeprefix("?").strip()
            if not asked.isdecimal():
                raise Note("\n".join([*self._list.first_screen(), *self._list.ways_to_answer()]))
            raise Note("\n".join(self._list.places_of(int(asked))))
        stations = {machine.ident: machine.station for machine in self._ledger.machines.values()}
        return chosen(text, self._list.lines, stations)

    def _say_cautions(self, done: Sequence[DueWork]) -> None:
        """What can hurt in the work that was chosen, each kind of work once."""
        for sentence in words.SAFETY:
            self._conversation.warn(f"! {sentence}")
        for line in self._list.lines:
            of_line = [one for one in done if one.task == line.task]
            if not of_line:
                continue
            said = list(line.task.cautions)
            if line.task.lockout:
                machines = dict.fromkeys(one.place.machine for one in of_line)
                said.insert(0, f"Lock out first at {self._list.where(tuple(machines))}.")
            if said:
                self._conversation.warn(f"! {line.task.title}: {' '.join(said)}")
        if done:
            self._conversation.tell(f"Chosen: {self._list.summary(done)}.")

    def _read(self, work: DueWork) -> None:
        """One reading as an entry; where part of it was skipped, what was read without the task."""
        entry: dict[str, Any] = {"at": str(work.place)}
        self._gathered.read.append(entry)
        if self._readings.ask(READINGS, work, entry):
            at = self._gathered.read.index(entry)
            self._gathered.read[at] = {"task": work.task.ident, **entry}
            return
        kept = "; what was read is kept" if entry.keys() > {"at"} else ""
        self._conversation.tell(
            f"  Left due: {work.task.title}, {self._ledger.place_name(work.place)}{kept}."
        )

    def _not_done(self, done: Sequence[DueWork]) -> None:
        """Work that was tried and could not be done, with the reason; the rest just stays due."""
        named = {(one.task.ident, one.place) for one in done}
        left = self._left(named)
        if not left:
            return
        such_as = f"{self._one_of(left, done)} = line could not be stopped"
        question = f"Could not be done, and why (such as {such_as}; Enter: none): "
        for count in range(1, 1 + len(left)):
            found, reason = self._conversation.ask((NOT_DONE, count), question, self._tried)
            if not found:
                return
            reason = reason or self._conversation.ask(
                (NOT_DONE, count, "why"), "  Why not (such as line could not be stopped): ", said
            )
            tried = [one for one in found if (one.task.ident, one.place) not in named]
            named |= {(one.task.ident, one.place) for one in tried}
            if not tried:
                self._conversation.tell("  All of that was told already.")
            for entry in self._entries_of(tried):
                self._gathered.not_done.append({**entry, "outcome": "not-done", "reason": reason})
            question = "Anything else that could not be done, and why (Enter: no): "

    def _left(self, named: Container[tuple[str, Place]]) -> list[tuple[int, DueWork]]:
        """The due work that was not named, each with the number of its line."""
        return [
            (at, one)
            for at, line in enumerate(self._list.lines, 1)
            for one in line.work
            if line.is_due and (one.task.ident, one.place) not in named
        ]

    def _one_of(self, left: Sequence[tuple[int, DueWork]], done: Sequence[DueWork]) -> str:
        """An answer that means some of the work left, best where other work was done."""
        visited = {one.place.machine for one in done}
        for line, one in left:
            if one.place.machine in visited:
                station = self._ledger.machines[one.place.machine].station
                return f"{line}@{words.format_number(station)}"
        return str(left[0][0])

    def _entries_of(self, work: Sequence[DueWork]) -> list[dict[str, Any]]:
        """Entries that name the work, without a reading."""
        by_task: dict[str, list[Place]] = {}
        for one in work:
            by_task.setdefault(one.task.ident, []).append(one.place)
        told = [(self._ledger.tasks[ident], places) for ident, places in by_task.items()]
        return work_entries(self._ledger, told, self._when.date())

    def _tried(self, text: str) -> tuple[tuple[DueWork, ...], str]:
        which, sign, reason = text.partition("=")
        if sign and not reason.strip():
            raise ValueError("say why behind the `=`")
        return self._chosen(which.strip()), reason.strip()

    def _counters(self) -> None:
        """What the counters show, but for those told already, all in one answer."""
        meters = [m for m in self._ledger.site.meters.values() if m.ident not in self._told_meters]
        if not meters:
            return
        last: dict[str, float] = {}
        for visit in self._ledger.visits:
            if visit.when <= self._when:
                last.update(visit.meters)
        for at, meter in enumerate(meters, 1):
            before = f", last {last[meter.ident]:.10g}" if meter.ident in last else ""
            self._conversation.tell(f"{at:>2}  {meter.name}{before}")
        idents = [meter.ident for meter in meters]
        such_as = f"1={last.get(idents[0], 184233):.10g}"
        self._gathered.meters |= self._conversation.ask(
            (COUNTERS,),
            f"Counters read, such as {such_as} (Enter: none): ",
            partial(_shown, idents),
        )


def _shown(idents: Sequence[str], text: str) -> dict[str, int | float]:
    """`1=184233 2=8123.4` by the idents of the counters; one counter needs no number."""
    if len(idents) == 1 and "=" not in text:
        return {idents[0]: number(text)} if text else {}
    found: dict[str, int | float] = {}
    for name, value in _COUNTER.findall(text):
        ident = idents[int(name) - 1] if name.isdecimal() and 0 < int(name) <= len(idents) else name
        if ident not in idents:
            raise ValueError(f"there is no counter {name}; the list has 1 to {len(idents)}")
        if ident in found:
            raise ValueError(f"counter {idents.index(ident) + 1} is told twice; write it once")
        found[ident] = number(value)
    if _COUNTER.sub("", text).strip(" ,"):
        raise ValueError(f"`{text}`: write the counter's number and what it shows: 1=184233")
    return found
