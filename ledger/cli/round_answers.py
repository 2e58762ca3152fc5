"""The daily round as one answer: its words, and what is asked before it counts.

As on the phone, two places are drawn, and what is seen there is said first. How long the round
took is asked for, not measured: at a terminal the round is entered afterwards.
"""

import re
from collections.abc import Mapping, Sequence
from datetime import date
from functools import partial
from typing import Any

from ledger.book import words
from ledger.cli.command import Failure, known
from ledger.cli.conversation import BACK, Conversation, Key
from ledger.cli.questions import FindingQuestions
from ledger.filing.fields import number
from ledger.model.ledger import Ledger
from ledger.model.site import Person
from ledger.model.tasks import When
from ledger.upkeep.due import rounds
from ledger.upkeep.due.found import DueWork, Schedule, minutes_of
from ledger.values import replace

_ROUND = re.compile(r"(\S*)(?:\s+([\d.]+)\s*min)?(?:\s+but\s+(.*))?", re.DOTALL)

_MINUTES_OF_A_DAY = 1440


def parts_of(text: str) -> tuple[str, float | None, str]:
    """`PASS[ N min][ but …]`: the pass, the minutes and what is left out. Raises ValueError."""
    typed = _ROUND.fullmatch(text.strip())
    if typed is None:
        raise ValueError(f"`{text}`: write PASS, PASS N min, or PASS but PLACE,PLACE")
    return typed[1], _minutes(typed[2]) if typed[2] else None, typed[3] or ""


def said_by_option(ledger: Ledger, person: Person, day: date, text: str) -> rounds.Said:
    """What `--in-order` says. Raises ValueError or Failure for what is no round of the person."""
    of_pass, minutes, but = parts_of(text)
    when = When(known(of_pass, [one.value for one in When], "pass"))
    work = rounds.round_work(ledger, Schedule(ledger, day).all_due(), person, when)
    if not work:
        raise Failure(f"there is no daily round {when.value} for {person.name}")
    left_out = [place.strip() for place in but.split(",") if place.strip()]
    return rounds.round_said(ledger, work, when, left_out, minutes)


class RoundQuestions:
    """What is asked about a round that was said to be in order."""

    def __init__(
        self, ledger: Ledger, person: Person, day: date, conversation: Conversation
    ) -> None:
        self._ledger = ledger
        self._person = person
        self._day = day
        self._conversation = conversation
        self._findings = FindingQuestions(ledger, conversation)

    def entries(self, part: str, said: rounds.Said) -> list[dict[str, Any]]:
        """The round's entry, and a finding of each drawn place where something is wrong.

        Raises Back where it turns out not to be in order after all.
        """
        seen: list[tuple[DueWork, str]] = []
        findings: list[dict[str, Any]] = []
        for one in rounds.drawn(said, self._person, self._day):
            key = (part, said.of_pass.value, one.task.ident, str(one.place))
            answer = self._seen(key, one)
            seen.append((one, answer))
            if rounds.is_wrong(one, answer):
                self._findings.add((*key, "urgency"), answer, str(one.place), findings)
        said = self._timed(part, said)
        return [rounds.claim_entry(self._ledger, said, seen, self._day), *findings]

    def _seen(self, key: Key, one: DueWork) -> str:
        answers = rounds.answers_of(one, self._day)
        station = words.format_number(self._ledger.machines[one.place.machine].station)
        place = f"Drawn: {station} {self._ledger.place_name(one.place)}"
        if one.task.asks is None:
            self._conversation.ask(key, f"{place}: {one.task.title}: looked at? (y) ", _yes)
            return rounds.LOOKED_AT
        shown = ", ".join(f"{at} {answer}" for at, answer in enumerate(answers, 1))
        question = f"{place}: {one.task.asks.question} {shown}: "
        return self._conversation.ask(key, question, partial(_one_of, answers=answers))

    def _timed(self, part: str, said: rounds.Said) -> rounds.Said:
        stated = minutes_of(said.work)
        about = f" (about {words.format_minutes(stated)} by its tasks)" if stated else ""
        key = (part, said.of_pass.value, "minutes")
        if said.minutes is None:
            minutes = self._conversation.ask(key, f"Minutes the round took{about}: ", _minutes)
            said = replace(said, minutes=minutes)
        if rounds.is_hurried(said):
            question = (
                f"That was {said.minutes:g} min for about {words.format_minutes(stated)} of "
                f"looking, and is filed so. It is in order? (y, or `{BACK}`) "
            )
            self._conversation.ask((*key, "sure"), question, _yes)
        return said


def asked_now(ledger: Ledger, person: Person, day: date, said: rounds.Said) -> list[dict[str, Any]]:
    """The entries of one round by questions of their own; urgent as the person says."""
    conversation = Conversation()
    questions = RoundQuestions(ledger, person, day, conversation)
    return conversation.run(lambda: questions.entries("round", said))


def entries_by_option(
    ledger: Ledger,
    person: Person,
    day: date,
    said: rounds.Said,
    answers: Mapping[str, Sequence[str]],
    urgency: str,
) -> tuple[list[dict[str, Any]], list[str]]:
    """As of RoundQuestions, by the answers of `--seen`; and a line for each that lacks."""
    seen: list[tuple[DueWork, str]] = []
    lacking: list[str] = []
    for one in rounds.drawn(said, person, day):
        allowed = rounds.answers_of(one, day)
        given = {answer.casefold() for answer in answers.get(str(one.place), ())}
        found = next((answer for answer in allowed if answer.casefold() in given), None)
        if found is None:
            asked = one.task.asks.question if one.task.asks else f"{one.task.title}:"
            lacking.append(f"--seen '{one.place}=ANSWER'  {asked} {', '.join(allowed)}")
        else:
            seen.append((one, found))
    if said.minutes is None:
        lacking.append(f"--in-order '{said.of_pass.value} N min'  how long it took")
    findings = [
        {"finding": answer, "at": str(one.place), "urgency": urgency}
        for one, answer in seen
        if rounds.is_wrong(one, answer)
    ]
    return [rounds.claim_entry(ledger, said, seen, day), *findings], lacking


def _minutes(text: str) -> float:
    minutes = number(text.removesuffix("min"))
    if not 0 < minutes <= _MINUTES_OF_A_DAY:
        raise ValueError(f"`{text}`: write the minutes it took, such as 12")
    return minutes


def _one_of(text: str, answers: Sequence[str]) -> str:
    """An answer by its number or its words; ValueError for any other."""
    for number_of, answer in enumerate(answers, 1):
        if text.casefold() in (str(number_of), answer.casefold()):
            return answer
    raise ValueError(f"write 1 to {len(answers)}, as it looks there")


def _yes(text: str) -> bool:
    if text.lower() not in ("y", "yes"):
        raise ValueError(f"write y once it is so; `{BACK}` takes the answer before back")
    return True
