"""A visit by question and answer: asked in the order of the walk, shown, changed, and filed.

Whatever ends it early, what was gathered is printed as a visit's file.
"""

import re
import sys
from collections.abc import Container, Mapping, Sequence
from contextlib import suppress
from functools import partial
from typing import Any

from ledger.book import words
from ledger.cli.command import Failure
from ledger.cli.conversation import (
    BACK,
    Conversation,
    InputEnded,
    Note,
    Unanswered,
    ask_until,
    someone_is_there,
)
from ledger.cli.filing import Filing, checked, has_errors, settle, write
from ledger.cli.questions import FindingQuestions, ReadingQuestions, needed_words
from ledger.cli.round_answers import RoundQuestions, parts_of
from ledger.cli.walk_list import MORE, OTHER, WalkList, chosen
from ledger.files.diagnostics import Diagnostic
from ledger.filing.fields import number
from ledger.filing.options import with_its_task
from ledger.filing.visit_file import visit_file
from ledger.model.machines import Machine
from ledger.model.references import Place
from ledger.model.tasks import When
from ledger.upkeep.due.found import DueWork, Schedule
from ledger.upkeep.due.rounds import (
    Said,
    early_lines,
    round_said,
    round_work,
    walk_lines,
    work_entries,
)
from ledger.upkeep.due.words import format_tie_back

WORK, READINGS, NOT_DONE, FINDINGS, COUNTERS, NOTE = PARTS = (
    "work",
    "readings",
    "not done",
    "findings",
    "counters",
    "note",
)
"""The parts of the dialogue, by which answers are given again."""

IN_ORDER = "in order"

_FILE, _STOP = ("y", "yes"), ("n", "no", "stop")

_COUNTER = re.compile(r"([\w-]+)\s*=\s*([\d.]+)")


class VisitByQuestions:
    """One visit; an empty answer leaves out what was asked for.

    Meters and a note that were given as options are not asked for. With `tune` it is about that
    machine's drive alone.
    """

    def __init__(
        self, filing: Filing, meters: Mapping[str, float], note: str, tune: Machine | None = None
    ) -> None:
        self._filing = filing
        self._tune = tune
        self._ledger = ledger = filing.ledger
        self._given_meters = meters
        self._given_note = note
        day, person = filing.when.date(), filing.person
        work = Schedule(ledger, day).all_due()
        due, early = walk_lines(work, person), early_lines(work, person)
        shown = sum(len(line.work) for line in due)
        self._is_any_due = bool(due)
        self._others = sum(one.is_on_the_walk for one in work) - shown
        # Where nothing is due, what is not due yet is all there is to choose from.
        self._list = WalkList(ledger, due or early, day, others=early if due else ())
        self._rounds = {
            when.value: found
            for when in When
            if (found := [o for o in round_work(ledger, work, person, when) if o.is_on_the_walk])
        }
        self._conversation = Conversation()
        self._round_questions = RoundQuestions(ledger, person, day, self._conversation)
        self._readings = ReadingQuestions(ledger, self._conversation, day)
        self._findings = FindingQuestions(ledger, self._conversation)

    def file(self) -> int:
        """The exit status, once the visit is filed or given up."""
        try:
            visit, found = self._agreed()
        except (KeyboardInterrupt, InputEnded):
            self._conversation.end()
            self._conversation.begin()
            with suppress(Unanswered):
                self._ask_all()
            self._print_draft()
            raise
        if found is not None:
            return settle(self._filing, visit, found)
        if visit:
            return write(self._filing, visit)
        sys.stderr.write("nothing was filed\n")
        return 1

    def _agreed(self) -> tuple[dict[str, Any], list[Diagnostic] | None]:
        """The visit to file, and what was found about it where nobody was asked; or nothing."""
        is_reviewed = someone_is_there() and not self._filing.yes and not self._filing.dry_run
        while True:
            self._conversation.run(self._ask_all)
            self._conversation.say_the_rest()
            visit = self._visit()
            if "entries" not in visit and not is_reviewed:
                raise Failure("a visit needs at least one entry; nothing was filed")
            found = checked(self._filing, visit) if "entries" in visit else None
            if not is_reviewed:
                return visit, found
            answer = self._reviewed(found)
            if answer in _FILE:
                return visit, None
            if answer in _STOP:
                return {}, None
            if answer == BACK:
                self._conversation.go_back()
            else:
                self._conversation.forget_part(PARTS[int(answer) - 1])

    def _reviewed(self, found: list[Diagnostic] | None) -> str:
        """What to do with the visit that was shown, if there was anything to show."""
        if found is None:
            print("Nothing was answered that could be filed.")
        may_file = found is not None and not has_errors(found)
        if found and not found[-1].is_error:
            print("A foreman would ask about the above.")
        parts = ", ".join(f"{number} {part}" for number, part in enumerate(PARTS, 1))
        print(f"To change an answer: `{BACK}`, or the number of a part: {parts}.")
        question = (
            "File it? (y/n) "
            if may_file
            else "It cannot be filed like this. Change what? (n: stop) "
        )

        def meaning(text: str) -> str:
            word = text.lower()
            is_part = word.isdecimal() and 1 <= int(word) <= len(PARTS)
            if is_part or word == BACK or word in _STOP or (may_file and word in _FILE):
                return word
            ways = "y to file it, n to stop" if may_file else "n to stop"
            raise ValueError(f"write {ways}, {BACK}, or a number, 1 to {len(PARTS)}")

        return ask_until(question, meaning)

    def _visit(self) -> dict[str, Any]:
        entries = [entry for entry in self._entries if entry.keys() != {"at"}]
        return self._filing.visit(meters=self._meters, note=self._note, entries=entries)

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

    def _ask_all(self) -> None:
        """Ask what has no answer yet; what the answers come to is gathered anew."""
        # The last entry of a reading may still lack all of it: nothing but its place.
        self._entries: list[dict[str, Any]] = []
        self._meters = dict(self._given_meters)
        self._note = self._given_note
        if self._tune is not None:
            self._tuned(self._tune)
            return
        said, done = self._work()
        for of_pass in said:
            self._entries += self._round_questions.entries(WORK, of_pass)
        self._entries += self._entries_of([one for one in done if not one.task.reads])
        for one in done:
            if one.task.reads:
                self._read(one)
        self._not_done([*done, *(one for of_pass in said for one in of_pass.spoken_for)], done)
        self._findings.ask(FINDINGS, done, self._entries)
        self._counters()
        if not self._given_note:
            self._note = self._conversation.ask((NOTE,), "Note (Enter: none): ", str)

    def _tuned(self, machine: Machine) -> None:
        entry: dict[str, Any] = {"at": machine.ident}
        self._entries.append(entry)
        for sentence in words.SAFETY:
            self._conversation.warn(f"! {sentence}")
        beside = self._readings.tune(READINGS, machine, entry)
        self._entries[-1:] = [with_its_task(self._ledger, entry, self._filing.when.date()), *beside]
        self._findings.ask(FINDINGS, (), self._entries)

    def _work(self) -> tuple[tuple[Said, ...], tuple[DueWork, ...]]:
        tell = self._conversation.tell
        tell(
            f"{self._ledger.site.name}, {self._filing.when:%Y-%m-%d %H:%M}, "
            f"{self._filing.person.name}. "
            f"`{BACK}` takes an answer back; nothing is written before the end."
        )
        if not self._is_any_due:
            tell("Nothing is due on this walk for you.")
        for row in self._list.first_screen():
            tell(row)
        for ident, one in self._ledger.tied_back(self._filing.when.date()).items():
            name = f"{self._list.where([ident])} {self._ledger.machines[ident].name}"
            tell(f"Tied back, so its work waits: {name}, {format_tie_back(self._ledger, one)}")
        if self._others:
            tell(f"{self._others} more due that need a qualification you are not marked for.")
        said: tuple[Said, ...] = ()
        done: tuple[DueWork, ...] = ()
        if self._list.lines:
            for row in self._list.ways_to_answer():
                tell(row)
            for when in self._rounds:
                tell(f"`{IN_ORDER} {when}`: its daily round at once; `… but 3@80` leaves some out.")
            question = "Done (Enter: none of it): "
            said, done = self._conversation.ask((WORK,), question, self._walked)
        self._say_cautions([*(one for of_pass in said for one in of_pass.spoken_for), *done])
        if done:
            tell(f"Chosen: {self._list.summary(done)}.")
        return said, done

    def _walked(self, text: str) -> tuple[tuple[Said, ...], tuple[DueWork, ...]]:
        """The rounds that an answer says are in order, and the work it means; Note as `_chosen`."""
        said: list[Said] = []
        words_of_work: list[str] = []
        for part in re.split(r"\balso\b", text, flags=re.IGNORECASE):
            if not part.strip().lower().startswith(IN_ORDER):
                words_of_work.append(part)
                continue
            of_pass, minutes, but = parts_of(part.strip()[len(IN_ORDER) :])
            work = self._rounds.get(of_pass.lower())
            if work is None:
                passes = " or ".join(self._rounds) or "none: no daily round is due"
                raise ValueError(f"say of which pass: {IN_ORDER} {passes}")
            left_out = []
            for one in self._chosen(but) if but else ():
                if one not in work:
                    name = f"{one.task.title}, {self._ledger.place_name(one.place)}"
                    raise ValueError(f"the round does not include {name}")
                left_out.append(str(one.place))
            when = When(of_pass.lower())
            said.append(round_said(self._ledger, tuple(work), when, left_out, minutes))
        return tuple(said), self._chosen(" ".join(words_of_work))

    def _chosen(self, text: str) -> tuple[DueWork, ...]:
        """The work that an answer means; Note where it asks for a part of the list."""
        word = text.lower()
        if word in (MORE, OTHER):
            rows = self._list.next_screen() if word == MORE else self._list.other_lines()
            raise Note("\n".join(rows or ["That is the whole list."]))
        if word.startswith("?"):
            line = word.removeprefix("?").strip()
            if line.isdecimal():
                raise Note("\n".join(self._list.places_of(int(line))))
            raise Note("\n".join([*self._list.first_screen(), *self._list.ways_to_answer()]))
        stations = {machine.ident: machine.station for machine in self._ledger.machines.values()}
        return chosen(text, self._list.lines, stations)

    def _say_cautions(self, done: Sequence[DueWork]) -> None:
        """What can hurt in the work that was chosen, each kind of work once."""
        for sentence in words.SAFETY:
            self._conversation.warn(f"! {sentence}")
        for ident in dict.fromkeys(one.place.machine for one in done):
            machine = self._ledger.machines[ident]
            if machine.cautions:
                self._conversation.warn(f"! {machine.name}: {' '.join(machine.cautions)}")
        for line in self._list.lines:
            of_line = [one for one in done if one.task == line.task]
            if not of_line:
                continue
            cautions = list(line.task.cautions)
            if line.task.lockout:
                machines = dict.fromkeys(one.place.machine for one in of_line)
                cautions.insert(0, f"Lock out first at {self._list.where(tuple(machines))}.")
            if cautions:
                self._conversation.warn(f"! {line.task.title}: {' '.join(cautions)}")

    def _read(self, work: DueWork) -> None:
        """One reading as an entry; where part of it was skipped, what was read without the task."""
        entry: dict[str, Any] = {"at": str(work.place)}
        self._entries.append(entry)
        beside: list[dict[str, Any]] = []
        is_whole = self._readings.ask(READINGS, work, entry, beside)
        if is_whole:
            self._entries[-1:] = [{"task": work.task.ident, **entry}, *beside]
            return
        self._entries += beside
        kept = "; what was read is kept" if entry.keys() > {"at"} else ""
        self._conversation.tell(
            f"  Left due: {work.task.title}, {self._ledger.place_name(work.place)}{kept}."
        )

    def _not_done(self, answered: Sequence[DueWork], done: Sequence[DueWork]) -> None:
        """Work that was tried and could not be done, with the reason; the rest just stays due."""
        named = {(one.task.ident, one.place) for one in answered}
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
                (NOT_DONE, count, "why"),
                "  Why not (such as line could not be stopped): ",
                needed_words,
            )
            tried = [one for one in found if (one.task.ident, one.place) not in named]
            named |= {(one.task.ident, one.place) for one in tried}
            if not tried:
                self._conversation.tell("  All of that is noted already.")
            for entry in self._entries_of(tried):
                self._entries.append({**entry, "outcome": "not-done", "reason": reason})
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
        tasks = [(self._ledger.tasks[ident], places) for ident, places in by_task.items()]
        return work_entries(self._ledger, tasks, self._filing.when.date())

    def _tried(self, text: str) -> tuple[tuple[DueWork, ...], str]:
        which, sign, reason = text.partition("=")
        if sign and not reason.strip():
            raise ValueError("say why behind the `=`")
        return self._chosen(which.strip()), reason.strip()

    def _counters(self) -> None:
        """What the counters show, but for those given already, all in one answer."""
        meters = [m for m in self._ledger.site.meters.values() if m.ident not in self._given_meters]
        if not meters:
            return
        last: dict[str, float] = {}
        for visit in self._ledger.visits:
            if visit.when <= self._filing.when:
                last.update(visit.meters)
        for at, meter in enumerate(meters, 1):
            before = f", last {last[meter.ident]:.10g}" if meter.ident in last else ""
            self._conversation.tell(f"{at:>2}  {meter.name}{before}")
        idents = [meter.ident for meter in meters]
        such_as = f"1={last.get(idents[0], 184233):.10g}"
        self._meters |= self._conversation.ask(
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
            raise ValueError(f"counter {idents.index(ident) + 1} is given twice; write it once")
        found[ident] = number(value)
    if _COUNTER.sub("", text).strip(" ,"):
        raise ValueError(f"`{text}`: write the counter's number and what it shows: 1=184233")
    return found
