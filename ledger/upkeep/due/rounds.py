"""The daily round of a pass: what one answer speaks for, and what is looked at before it is given.

The phone's page asks by the same rules (`rounds.js`): two places are drawn by day and person, and
what is seen there is answered first.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from ledger.compute.schedule import State
from ledger.filing.posted import check_digits
from ledger.model.ledger import Ledger
from ledger.model.references import Place
from ledger.model.site import Person
from ledger.model.tasks import When
from ledger.upkeep.due.found import (
    DueWork,
    belongs_to_daily_round,
    is_looked_at,
    may_do,
    minutes_of,
)
from ledger.values import dataclass

LOOKED_AT = "looked at"
"""What is answered at a drawn place whose task asks nothing."""

HURRY_SHARE = 0.25
"""Below this share of the minutes stated, it is asked again. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """The round of a pass said to be in order but at the places of `left_out`, after `minutes`."""

    of_pass: When
    work: tuple[DueWork, ...]
    left_out: tuple[str, ...] = ()
    minutes: float | None = None

    @property
    def spoken_for(self) -> tuple[DueWork, ...]:
        return tuple(one for one in self.work if not _named(self.left_out, one.place))


def in_round(ledger: Ledger, one: DueWork) -> bool:
    """Whether one answer may speak for the work together with the rest of its pass."""
    return belongs_to_daily_round(one) and is_looked_at(ledger, one.task)


def round_work(
    ledger: Ledger, work: Iterable[DueWork], person: Person, of_pass: When
) -> tuple[DueWork, ...]:
    """The person's daily round of a pass: what is due of it, or all of it where nothing is."""
    every = tuple(
        one
        for one in work
        if one.task.when is of_pass
        and in_round(ledger, one)
        and may_do(person, one.task)
        and one.due.state is not State.PAUSED
    )
    return tuple(one for one in every if one.is_on_the_walk) or every


def round_said(
    ledger: Ledger,
    work: tuple[DueWork, ...],
    of_pass: When,
    left_out: Sequence[str],
    minutes: float | None,
) -> Said:
    """The answer to a round. Raises ValueError where it leaves out what the round does not hold."""
    places = {place for one in work for place in ledger.tasks[one.task.ident].places}
    strays = [one for one in left_out if not any(one in (str(p), p.machine) for p in places)]
    if strays:
        raise ValueError(f"the round does not include {', '.join(sorted(strays))}")
    return Said(of_pass=of_pass, work=work, left_out=tuple(left_out), minutes=minutes)


def drawn(said: Said, person: Person, day: date) -> tuple[DueWork, ...]:
    """The places to be looked at first, of two machines where there are two.

    Drawn from those where something is asked, as long as there are any.
    """

    def rank(one: DueWork) -> tuple[bool, str]:
        lot = f"{day} {person.ident} {said.of_pass.value} {one.task.ident} {one.place}"
        return one.task.asks is None, check_digits(lot)

    ranked = sorted(said.work, key=rank)
    if not ranked:
        return ()
    first = ranked[0]
    others = [one for one in ranked if one.place.machine != first.place.machine] or [
        one for one in ranked if one.place != first.place
    ]
    return (first, *others[:1])


def answers_of(one: DueWork, day: date) -> tuple[str, ...]:
    """What may be answered at a drawn place, each day begun with another of the answers."""
    asks = one.task.asks
    if asks is None:
        return (LOOKED_AT,)
    answers = (*asks.fine, *asks.wrong)
    first = int(check_digits(f"{day} {one.task.ident} {one.place}")[:2], 16) % len(answers)
    return (*answers[first:], *answers[:first])


def is_wrong(one: DueWork, answer: str) -> bool:
    """Whether an answer is a finding."""
    return one.task.asks is not None and answer in one.task.asks.wrong


def is_hurried(said: Said) -> bool:
    return said.minutes is not None and said.minutes < HURRY_SHARE * minutes_of(said.work)


def asked_of(ledger: Ledger, task: str, day: date) -> tuple[str, ...]:
    """The places of a task that a round asks about, by name."""
    return tuple(
        sorted(
            str(place)
            for place in ledger.tasks[task].places
            if ledger.machines[place.machine].service(place.point).in_use(day)
        )
    )


def list_of(
    ledger: Ledger, tasks: Iterable[str], day: date, without: Sequence[str] = ()
) -> tuple[int, str]:
    """How many places a round of some tasks asks about, and the digits by which they are known."""
    asked = [[p for p in asked_of(ledger, ident, day) if p not in without] for ident in tasks]
    return sum(map(len, asked)), check_digits(" ".join(map(digits_of, asked)))


def asked_about(
    ledger: Ledger, claim: Mapping[str, Any], days: Iterable[date]
) -> frozenset[tuple[str, str]] | None:
    """Tasks and places that a round asked about; None where the files name others on those days."""
    tasks = claim["tasks"]
    if not ledger.tasks.keys() >= {*tasks}:
        return None
    for day in days:
        count, digits = list_of(ledger, tasks, day)
        if (count, digits) == (claim["of"], claim.get("list", digits)):
            return frozenset((task, p) for task in tasks for p in asked_of(ledger, task, day))
    return None


def digits_of(places: Iterable[str]) -> str:
    return check_digits(" ".join(places))


def claim_entry(
    ledger: Ledger, said: Said, seen: Sequence[tuple[DueWork, str]], day: date
) -> dict[str, Any]:
    """The round as the one entry that it stays, with what was seen at the drawn places.

    Nobody looks at what is tied back, so it is left out, as is a drawn place where something was
    wrong.
    """
    idents = list(dict.fromkeys(one.task.ident for one in said.work))
    count, digits = list_of(ledger, idents, day)
    entry: dict[str, Any] = {
        "in_order": said.of_pass.value,
        "tasks": idents,
        "of": count,
        "list": digits,
    }
    machines = {place.machine for ident in idents for place in ledger.tasks[ident].places}
    left_out = [
        *said.left_out,
        *(str(one.place) for one, answer in seen if is_wrong(one, answer)),
        *(machine for machine in ledger.tied_back(day) if machine in machines),
    ]
    if left_out:
        entry["except"] = list(dict.fromkeys(left_out))
    if said.minutes is not None:
        entry["minutes"] = said.minutes
    if seen:
        entry["drawn"] = [str(one.place) for one, _ in seen]
        entry["seen"] = [answer for _, answer in seen]
    return entry


def _named(names: Sequence[str], place: Place) -> bool:
    return str(place) in names or place.machine in names
