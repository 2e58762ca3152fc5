"""The questions that start a site, at a terminal or from a sheet that answers them.

Both run through the same questions. What is typed is kept in a sheet as it goes, so that an
interrupted start goes on where it was.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sized
from datetime import date, datetime, timedelta
from functools import partial
from itertools import count
from pathlib import Path
from typing import Any, TypeAlias, TypeVar
from zoneinfo import ZoneInfo, available_timezones

from ledger.cli.command import Failure, FaultyFiles, print_faults
from ledger.cli.conversation import BACK, EMPTY, Conversation, InputEnded, Key, Note, ask_until, say
from ledger.files.document import Document
from ledger.files.paths import Kind, Source
from ledger.files.reading import parse_document
from ledger.files.save import replace_file
from ledger.files.schemas import BASE_URI, check_document, shipped_schemas
from ledger.files.yaml_write import yaml_text
from ledger.filing import answers
from ledger.filing.first_site import FirstSite, machines_by_id, stations, tasks_by_cycle
from ledger.filing.new_site import free_ident, plain_ident
from ledger.filing.starter import Founder
from ledger.model.problems import nearest
from ledger.model.tasks import NOT_KNOWN
from ledger.values import dataclass

_T = TypeVar("_T")

_PLACED = re.compile(r"(\d{1,2})\s*:\s*(.*)")

_LONG_BEFORE = timedelta(days=31)

_MACHINE_HELP = """\
Kind, name, side, drive, setting, with commas; only kind and name are needed:
  side-brush, Side brush P1, passenger, frequency 3 hp 30-60 Hz, 44 Hz
  conveyor, Conveyor, under, fixed 10 hp
  low-brush, Low brush, driver, hydraulic 9.8 in3 1-8 gpm, 4.2 gpm
  3: wrap, Wrap, driver       puts it before machine 3; `3: -` takes machine 3 out
Sides: driver, passenger, over, under, both. Drives: frequency, fixed, hydraulic, none.
Kinds: {kinds}"""

_PERSON_HELP = """\
Name, address that git signs with, then any of {words}."""

_TIME_HELP = """\
today, this week, last month, 2 weeks ago, 2026-11-20, 2026-W47, 2026-11, 2026, never, not known.
Write exceptions by number, each after a semicolon: this week; 3 never; 5 7 last month; 4@30 2026-08
4@30 is task 4 at station 30 only."""


class SheetAsker:
    """A sheet of answers; what it leaves out is an empty answer."""

    def __init__(self, document: Document) -> None:
        self._document = document
        self._asked = set[Key]()

    def tell(self, text: str) -> None:
        """Nobody is there to read it."""

    def ask(self, key: Key, question: str, parse: Callable[[str], _T], default: str = "") -> _T:
        del question
        self._asked.add(key)
        answer = {key[0]: self._document.value.get(key[0], "")}
        text = dict(_texts(answer)).get(key, "")
        try:
            return parse(text or default)
        except (ValueError, Note) as wrong:
            raise self._failure(key, text, str(wrong)) from None

    def require_all_used(self) -> None:
        for key in dict(_texts(self._document.value)).keys() - self._asked:
            raise self._failure(key, "-", "no question asks for this")

    def _failure(self, key: Key, text: str, message: str) -> Failure:
        pointer = tuple(part - 1 if isinstance(part, int) else part for part in key)
        fault = self._document.diagnose(
            pointer if text else (),
            rule="bad-answer",
            message=message if text else f"{key[0]}: {message}",
            remedy="answer as at the question; `tunnelbook init` in a terminal explains each",
        )
        print_faults([fault])
        return FaultyFiles("nothing was written")


Asker: TypeAlias = Conversation | SheetAsker
"""Whoever answers: a person, or a sheet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the machine knows before anybody answers; `git_name` may be empty."""

    now: datetime
    zone: str
    git_name: str
    git_email: str


def ask_first_site(asker: Asker, known: Known) -> FirstSite:
    """Everything a new site needs, asked in order."""

    def ask(key: str, question: str, parse: Callable[[str], _T], default: str = "") -> _T:
        shown = "not known" if default == NOT_KNOWN else default
        question += f" (Enter: {shown}): " if default else ": "
        return _ask(asker, (key,), question, parse, _explanation(key), default)

    name = ask("name", "Name of the site", answers.some_text)
    zone = ask("time_zone", "Time zone", _zone, known.zone)
    units, driver_side = ask(
        "units", "Units (us or si), and the side that drivers sit on", answers.units, "us, left"
    )
    today = known.now.astimezone(ZoneInfo(zone)).date()
    day = partial(answers.day, today=today)
    begins = ask("record_begins", "First day of the record", day, today.isoformat())
    if today - begins > _LONG_BEFORE:
        asker.tell(
            f"  Work is asked for from {begins} on: what nobody files for the time since then "
            f"counts as not done. `{BACK}` if that is wrong."
        )
    opened = ask("opened", "The site opened in", day, begins.isoformat())
    hours = ask("hours", "Opening hours, such as mon-sat 7-20", answers.hours, "daily 7-20")
    rates = ask("line_rate", "Vehicles an hour now, then other rates in use", answers.line_rates)
    question = "Proof of an approval: commit, statement or file"
    proof = ask("approval_proof", question, answers.approval_proof, "commit")
    question = "Chain speed and vehicle spacing, such as 35 ft/min, 22 ft"
    chain = ask("chain", question, answers.chain, NOT_KNOWN)
    people = _people(asker, known)
    machines = machines_by_id(_machines(asker))
    last_done = _last_done(asker, machines, units, begins)
    ident = next(iter(people))
    founder = Founder(
        ident=ident,
        name=people[ident]["name"],
        emails=tuple(people[ident].get("emails", ())),
        when=datetime.combine(begins, known.now.timetz()),
        time_zone=zone,
        approval_proof=proof,
    )
    return FirstSite(
        founder=founder,
        name=name,
        units=units,
        driver_side=driver_side,
        in_service=min(opened, begins),
        record_begins=begins,
        hours=hours,
        line_rates=rates,
        chain=chain,
        people=people,
        machines=machines,
        last_done=last_done,
    )


def _zone(text: str) -> str:
    zones = available_timezones()
    if text in zones:
        return text
    city = text.strip().replace(" ", "_").casefold()
    named = [one for one in sorted(zones) if one.rpartition("/")[2].casefold() == city]
    if len(named) == 1:
        return named[0]
    near = named[0] if named else nearest(text, zones)
    hint = f"did you mean {near}?" if near else "write it like America/Chicago"
    raise ValueError(f"there is no time zone `{text}`; {hint}")


def _explanation(key: str) -> str:
    """What a sheet's schema says of an answer, with an example."""
    schema = shipped_schemas().by_uri[f"{BASE_URI}answers.schema.json"]["properties"][key]
    return f"{schema['description']} Example: {schema['examples'][0]}"


def _ask(
    asker: Asker, key: Key, question: str, parse: Callable[[str], _T], about: str, default: str = ""
) -> _T:
    """What the answer means; `?` asks what the question is about."""

    def explained(text: str) -> _T:
        if text == "?":
            raise Note(about)
        return parse(text)

    return asker.ask(key, question, explained, default)


def _or_end(parse: Callable[[str], _T], found: Sized) -> Callable[[str], _T | None]:
    """None for an empty answer, which ends a list that is not empty."""
    return lambda text: parse(text) if text or not found else None


def _people(asker: Asker, known: Known) -> dict[str, Mapping[str, Any]]:
    you = ", ".join(word for word in (known.git_name, known.git_email, "lead") if word)
    default = you if plain_ident(known.git_name) else ""
    found: dict[str, Mapping[str, Any]] = {}
    asker.tell(
        "People, you first. A setting needs one who proposes it and another who approves it."
    )
    question = "You: name, address, roles" + (f" (Enter: {default}): " if default else ": ")
    explanation = _PERSON_HELP.format(words=answers.person_words())
    while True:
        parse, key = _or_end(answers.person, found), ("people", len(found) + 1)
        answer = _ask(asker, key, question, parse, explanation, "" if found else default)
        if answer is None:
            return found
        stem = plain_ident(answer["name"]) or f"person-{len(found) + 1}"
        found[free_ident(stem, found, numbered=False)] = answer
        question = "Next person (Enter: no more, ? explains): "


def _machine(
    asker: Asker, found: list[answers.MachineAnswer], text: str
) -> tuple[int | None, answers.MachineAnswer | None]:
    """Before which machine of the list one goes, if not to its end; None takes that one out."""
    place = None
    if placed := _PLACED.fullmatch(text):
        place, text = int(placed[1]) - 1, placed[2]
        if not 0 <= place < len(found):
            raise ValueError(f"there is no machine {placed[1]} yet")
        if text == EMPTY:
            return place, None
    machine = answers.machine(text)
    kind = text.partition(",")[0].strip()
    doubts = []
    if kind.lower().replace(" ", "-") != machine.kind:
        doubts.append(f"`{kind}` is taken as {machine.kind}")
    if "," in machine.name:
        doubts.append(f"its name is `{machine.name}`")
    if machine.name in (one.name for one in found):
        doubts.append(f"there is a `{machine.name}` already")
    if doubts:
        asker.tell(f"  {', and '.join(doubts)}; `{BACK}` if that is wrong.")
    return place, machine


def _machines(asker: Asker) -> list[answers.MachineAnswer]:
    found: list[answers.MachineAnswer] = []
    asker.tell(
        "Machines in walking order, entry to exit, one a line: "
        "kind, name, side, drive, setting. ? explains."
    )
    parse = partial(_machine, asker, found)
    explanation = _MACHINE_HELP.format(kinds=", ".join(answers.machine_kinds()))
    for number in count(1):
        question = f"Machine {len(found) + 1}" + (" (Enter: no more): " if found else ": ")
        key = ("machines", number)
        answer = _ask(asker, key, question, _or_end(parse, found), explanation)
        if answer is None:
            break
        place, machine = answer
        at = len(found) if place is None else place
        found[at : at + (machine is None)] = [] if machine is None else [machine]
    return found


def _last_done(
    asker: Asker, machines: Mapping[str, answers.MachineAnswer], units: str, begins: date
) -> dict[str, answers.LastDone]:
    at = {float(station) for station in stations(machines).values()}
    found = {}
    asker.tell(
        "About when was the work last done? Give one time for all tasks of a cycle, then the "
        f"exceptions. Words such as `yesterday` count from {begins}, the first day of the record. "
        "? explains."
    )
    for cycle, tasks in tasks_by_cycle(machines, units).items():
        every = f"Every {cycle.removeprefix('1 ')}"
        asker.tell(f"{every}:")
        for number, title in enumerate(tasks.values(), 1):
            asker.tell(f"{number:>4}  {title}")
        parse = partial(answers.last_done, tasks=tuple(tasks), stations=at, today=begins)
        key, question = ("last_done", cycle), f"{every} (Enter: not known): "
        found[cycle] = _ask(asker, key, question, parse, _TIME_HELP, NOT_KNOWN)
    return found


def from_terminal(sheet: Path, known: Known) -> FirstSite:
    """Ask a person, who may stop at any question and go on later; Failure where they say no."""
    given = {}
    if sheet.exists():
        given = _given(read_sheet(sheet, is_whole=False).value)
        say(f"Going on with the answers in {sheet}.")
    else:
        say(f"Answers are kept in {sheet} until the site is written.")
    say(f"`?` explains a question, `{BACK}` takes the last answer back.")
    conversation = Conversation(given=given, keep=partial(_keep, sheet))
    kept = f"Nothing was written. The same command goes on with the answers in {sheet}."
    try:
        if (found := _agreed(conversation, known)) is not None:
            return found
    except InputEnded:
        pass
    except KeyboardInterrupt:
        print()
        say(kept)
        raise
    raise Failure(kept)


def _agreed(conversation: Conversation, known: Known) -> FirstSite | None:
    """What the person wants written; None where they say no."""
    while True:
        found = conversation.run(partial(ask_first_site, conversation, known))
        if not any(person.get("approves") for person in found.people.values()):
            say("Nobody here may approve settings, so none can come into force. Add `approves`.")
        size = f"{len(found.machines)} machines, {len(found.people)} people"
        answer = ask_until(f"{found.name}: {size}. Write the site? (y/n/{BACK}) ", _yes_no_back)
        if answer != BACK:
            return found if answer == "y" else None
        conversation.go_back()


def _yes_no_back(text: str) -> str:
    word = {"yes": "y", "no": "n"}.get(text.lower(), text.lower())
    if word not in ("y", "n", BACK):
        raise ValueError(f"write y, n or {BACK}")
    return word


def from_sheet(sheet: Document, known: Known) -> FirstSite:
    """The site that a sheet describes. Raises Failure, with what is wrong in it."""
    asker = SheetAsker(sheet)
    found = ask_first_site(asker, known)
    asker.require_all_used()
    return found


def read_sheet(sheet: Path, *, is_whole: bool = True) -> Document:
    """The sheet of answers, of the right shape; one may lack keys that is not whole yet.

    Raises Failure, OSError.
    """
    source = Source(kind=Kind.ANSWERS, path=str(sheet), ident=sheet.stem)
    document, faults = parse_document(source, sheet.read_bytes())
    found = [*faults, *(check_document(document) if document else ())]
    if not is_whole:
        found = [fault for fault in found if fault.rule != "missing-key"]
    if document is None or found:
        print_faults(found)
        raise FaultyFiles(f"nothing was written, as {sheet} has errors")
    return document


def _texts(value: Mapping[Any, Any]) -> Iterator[tuple[Key, str]]:
    for key, answer in value.items():
        if isinstance(answer, str | int | float):
            yield (key,), str(answer)
        elif isinstance(answer, Mapping):
            yield from (((key, name), text) for name, text in answer.items())
        else:
            yield from (((key, number), text) for number, text in enumerate(answer, 1))


def _given(value: Mapping[str, Any]) -> dict[Key, str]:
    """The texts, and that a list is over where something after it was answered."""
    given = dict(_texts(value))
    for key, after in (("people", "machines"), ("machines", "last_done")):
        if after in value:
            given[key, len(value[key]) + 1] = ""
    return given


def _keep(sheet: Path, typed: Mapping[Key, str]) -> None:
    value: dict[str, Any] = {}
    for (key, *below), text in typed.items():
        if not below:
            value[str(key)] = text
        elif isinstance(below[0], int):
            value.setdefault(str(key), []).append(text)
        else:
            value.setdefault(str(key), {})[below[0]] = text
    replace_file(sheet, yaml_text(value).encode())
