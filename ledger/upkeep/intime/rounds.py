"""What one answer for a whole round covered, and faults found where it said all was in order."""

from collections.abc import Iterator, Mapping
from datetime import date, timedelta

from ledger.model.ledger import Ledger
from ledger.model.references import Place
from ledger.model.visits import Entry
from ledger.upkeep.due.found import is_looked_at
from ledger.upkeep.findings.found import findings
from ledger.values import dataclass

LATER = timedelta(days=7)
"""How long after a round a fault counts as one that it may have missed. Common practice, no
source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rounds:
    """`claims` are the rounds said to be in order, by time; `by_round` and `one_by_one` count the
    answers of daily looking, place by place; `missed` each fault with the last round before it.
    """

    claims: tuple[Entry, ...]
    by_round: int
    one_by_one: int
    missed: tuple[tuple[Entry, Entry], ...]


def rounds(ledger: Ledger, as_of: date, served: Mapping[str, int] | None = None) -> Rounds:
    """From the start of the record to a day.

    `served` counts by task the places at which it was done by that day, where that is known.
    """
    claims = tuple(one for one in ledger.events if one.claim is not None and one.day <= as_of)
    claimed = {ident for entry in claims if entry.claim for ident in entry.claim.tasks}
    looked_at = {i for i in claimed if i in ledger.tasks and is_looked_at(ledger, ledger.tasks[i])}
    return Rounds(
        claims=claims,
        by_round=sum(len(entry.places) for entry in claims),
        one_by_one=sum(
            len(entry.places)
            for entry in ledger.standing_of(looked_at)
            if entry.task in looked_at and entry.did_work and entry.day <= as_of
        )
        if served is None
        else sum(served.get(task, 0) for task in looked_at),
        missed=tuple(_missed(ledger, claims, as_of)),
    )


def _missed(
    ledger: Ledger, claims: tuple[Entry, ...], as_of: date
) -> Iterator[tuple[Entry, Entry]]:
    for finding in findings(ledger):
        entry = finding.entry
        if entry.day > as_of or entry.place is None:
            continue
        before = [
            claim
            for claim in claims
            if claim.when <= entry.when
            and claim.ref.visit != entry.ref.visit
            and entry.day - claim.day <= LATER
            and _covers(claim, entry.place)
        ]
        if before:
            yield entry, before[-1]


def _covers(claim: Entry, place: Place) -> bool:
    """Whether a round spoke of the place, of its machine, or of a point of the machine named."""
    return any(
        one == place or (one.machine == place.machine and not (one.point and place.point))
        for one in claim.places
    )
