"""What needs a decision at single machines, as all machines are judged together."""

from array import array
from collections.abc import Mapping, Sequence
from datetime import date
from itertools import chain

from ledger.book.plain import kept
from ledger.compute.band import Band
from ledger.compute.numbers import Estimate
from ledger.model.ledger import DETAILED, Ledger, last_day_filed
from ledger.model.references import EntryRef, Place
from ledger.site.decisions import (
    Decision,
    SiteFound,
    decisions_of_machine,
    decisions_of_site,
    in_order,
)
from ledger.site.of_machine import OfMachine
from ledger.site.parts import Parts
from ledger.upkeep.drift.found import Share, Shared, share_of, shared_of
from ledger.upkeep.duty.found import DutyGroup, duty_at, energy
from ledger.upkeep.figures.found import Figure, Record, by_group, leans_on
from ledger.upkeep.instruments.found import ReadWith, read_with
from ledger.upkeep.reliability.found import reliability
from ledger.upkeep.water.found import WaterGroup, water_at, water_use
from ledger.values import dataclass

for _kind in (ReadWith, Figure, Estimate, Band, Place, EntryRef, WaterGroup, DutyGroup):
    kept(_kind)


@kept
@dataclass(frozen=True, slots=True)
class Shares:
    """What a machine adds to what others are judged by; `read` is when its speed was read last.

    `deviations` are the bytes of each day's ordinal, deviation and uncertainty: as digits they
    would take longer to read than all else of a site.
    """

    deviations: str
    watched: int
    read: int | None


def _shares(found: OfMachine) -> Shares:
    read = max((one.entry.day.toordinal() for one in found.results), default=None)
    share = share_of(found.series)
    days = share.deviations.get(found.machine.ident, {})
    numbers = array("d", chain.from_iterable((day, *one) for day, one in days.items()))
    return Shares(numbers.tobytes().hex(), share.watched, read)


def _share(ident: str, kept: Shares) -> Share:
    numbers = array("d", bytes.fromhex(kept.deviations))
    found = zip(numbers[1::3], numbers[2::3], strict=True)
    return Share({ident: dict(zip(map(int, numbers[::3]), found, strict=True))}, kept.watched)


@dataclass(frozen=True, slots=True)
class ByAll:
    """What all machines are judged by; `read` is when the speed of each was read last."""

    drift: Shared
    read: Mapping[str, date]


def by_all(ledger: Ledger, parts: Parts) -> ByAll:
    """Put together of what each machine adds."""
    shares = parts.each("share", _shares)
    return ByAll(
        shared_of(ledger, (_share(*one) for one in shares.items())),
        {
            ident: date.fromordinal(one.read)
            for ident, one in shares.items()
            if one.read is not None
        },
    )


def site_found(ledger: Ledger, parts: Parts) -> SiteFound:
    """What the whole record says of figures and failures."""

    def make(found: OfMachine) -> tuple[Sequence[Figure], Sequence[Figure]]:
        own, machine = found.ledger, found.machine
        others = {one: parts.of_machine(one).ledger for one in leans_on(own, machine)}
        record = Record(own, {machine.ident: own, **others}.__getitem__)
        return water_at(record, machine), duty_at(record, machine)

    def rests_on(ident: str) -> Sequence[str]:
        return [ledger.digest(one, DETAILED) for one in leans_on(ledger, ledger.machines[ident])]

    figures = parts.each("figures", make, rests_on).values()
    of_water = chain(*(water for water, _ in figures), water_use(ledger))
    of_duty = chain(*(duty for _, duty in figures), energy(ledger))
    return SiteFound(
        water=by_group(WaterGroup, of_water),
        duty=by_group(DutyGroup, of_duty),
        failing=reliability(ledger),
    )


def all_read(ledger: Ledger, parts: Parts) -> list[ReadWith]:
    """What was read with instruments, each entry at the first of its machines."""
    if not ledger.instruments:
        return []

    def read_at(found: OfMachine) -> list[ReadWith]:
        ident = found.machine.ident
        own = (one for one in found.ledger.detailed_here if one.places[0].machine == ident)
        return read_with(ledger, own)

    of_none = read_with(ledger, ledger.of_machine("").detailed)
    return [*of_none, *chain(*parts.each("read", read_at).values())]


def filed_at(found: OfMachine, by: ByAll) -> tuple[Decision, ...]:
    """What is asked for at one machine on the last day filed."""
    day = found.ledger.overall.last_day or date.min
    drifting = found.drifting(by.drift)
    return decisions_of_machine(found, drifting, found.follow_ups(by.read, day), day)


def asked_at(ledger: Ledger, ident: str, parts: Parts) -> tuple[Decision, ...]:
    """What needs a decision at one machine, as of the last day filed, but for its findings."""
    day = last_day_filed(ledger)
    own = filed_at(parts.of_machine(ident), by_all(ledger, parts))
    others = decisions_of_site(ledger, site_found(ledger, parts), day, in_full=False)
    return in_order((one for one in others if one.machine == ident), [own])
