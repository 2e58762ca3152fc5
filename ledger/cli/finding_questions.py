"""The questions about what is wrong: where, what and how soon."""

import re
from collections.abc import Sequence
from typing import Any

from ledger.assess.due import DueWork
from ledger.cli.conversation import BACK, Conversation
from ledger.edit.fields import parse_value
from ledger.model.ledger import Ledger
from ledger.model.problems import nearest
from ledger.model.references import Place
from ledger.report import words

_FINDING = re.compile(r"([^\s=]+)\s*=?\s*(.*)")
_STATION = re.compile(r"(\d{1,6}(?:\.\d{1,3})?)(/.*)?")


class FindingQuestions:
    """A place may be typed by its id, or by its station: `brush-1/nozzle-1`, `70/nozzle-1`."""

    def __init__(self, ledger: Ledger, conversation: Conversation) -> None:
        self._ledger = ledger
        self._conversation = conversation

    def ask(self, part: str, done: Sequence[DueWork], findings: list[dict[str, Any]]) -> None:
        """Add each finding to `findings` as an entry; the example is of the work done."""
        such_as = self._place_such_as(done)
        question = f"Anything wrong? Where and what, such as {such_as} = loose (Enter: no): "
        count = 0
        while True:
            count += 1
            found = self._conversation.ask((part, count), question, self._finding)
            if found is None:
                return
            place, what = found
            what = what or self._conversation.ask((part, count, "what"), "  What is wrong: ", said)
            findings.append({"finding": what, "at": place, "urgency": "soon"})
            findings[-1]["urgency"] = self._conversation.ask(
                (part, count, "urgency"),
                "  How soon: now, soon or planned (Enter: soon): ",
                _urgency,
            )
            question = "Anything else wrong (Enter: no): "

    def _place_such_as(self, done: Sequence[DueWork]) -> str:
        """A point of the first machine that was worked at, by its station."""
        all_machines = self._ledger.machines
        machines = [all_machines[one.place.machine] for one in done] or list(all_machines.values())
        station = words.number_words(machines[0].station) if machines else "10"
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
        machine = self._ledger.machines.get(place.machine)
        if machine is not None and (not place.point or place.point in machine.points):
            return text
        if machine is not None:
            points = ", ".join(machine.points) or "none"
            near = nearest(text, self._places())
            hint = f"did you mean {near}?" if near else f"its points: {points}"
            raise ValueError(f"there is no {text}; {hint}")
        near = nearest(text, self._places())
        hint = f"did you mean {near}?" if near else f"machines: {', '.join(self._ledger.machines)}"
        raise ValueError(f"there is no {text}; {hint}")

    def _machine_at(self, station: float) -> str:
        found = [m.ident for m in self._ledger.machines.values() if m.station == station]
        if len(found) == 1:
            return found[0]
        said = f"{', '.join(found)} stand there" if found else "nothing stands there"
        raise ValueError(f"station {words.number_words(station)}: {said}; write the machine")

    def _places(self) -> list[str]:
        machines = self._ledger.machines
        return [*machines, *(f"{m.ident}/{point}" for m in machines.values() for point in m.points)]


def said(text: str) -> str:
    """The answer to a question that needs words; ValueError without."""
    if not text:
        raise ValueError(f"a few words are needed; `{BACK}` takes the answer before back")
    return text


def _urgency(text: str) -> str:
    value: str = parse_value("urgency", text.lower() or "soon")
    return value
