"""What needs a decision at single machines, as all machines are judged together."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from ledger.book.plain import kept
from ledger.model.ledger import Ledger, last_day_filed
from ledger.site.decisions import (
    Decision,
    decisions_of_machine,
    decisions_of_site,
    in_order,
    site_found,
)
from ledger.site.of_machine import OfMachine
from ledger.site.parts import Parts, Store
from ledger.upkeep.drift.found import Share, Shared, shared_of

kept(Share)


@kept
@dataclass(frozen=True, slots=True)
class Shares:
    """What a machine adds to what others are judged by; `read` is when its speed was read last."""

    drift: Share
    read: int | None


def _shares(found: OfMachine) -> Shares:
    read = max((one.entry.day.toordinal() for one in found.results), default=None)
    return Shares(found.share, read)


@dataclass(frozen=True, slots=True)
class ByAll:
    """What all machines are judged by; `read` is when the speed of each was read last."""

    drift: Shared
    read: Mapping[str, date]


def by_all(ledger: Ledger, parts: Parts) -> ByAll:
    """Put together of what each machine adds."""
    shares = parts.each("share", _shares)
    return ByAll(
        shared_of(ledger, (one.drift for one in shares.values())),
        {
            ident: date.fromordinal(one.read)
            for ident, one in shares.items()
            if one.read is not None
        },
    )


def filed_at(found: OfMachine, by: ByAll) -> tuple[Decision, ...]:
    """What is asked for at one machine on the last day filed."""
    day = found.ledger.overall.last_day or date.min
    drifting = found.drifting(by.drift)
    return decisions_of_machine(found, drifting, found.follow_ups(by.read, day), day)


def asked_at(ledger: Ledger, ident: str, store: Store | None = None) -> tuple[Decision, ...]:
    """What needs a decision at one machine, as of the last day filed, but for its findings."""
    day = last_day_filed(ledger)
    parts = Parts(ledger, day, store)
    own = filed_at(parts.of_machine(ident), by_all(ledger, parts))
    others = decisions_of_site(ledger, site_found(ledger), day, with_findings=False)
    return in_order((one for one in others if one.machine == ident), [own])
