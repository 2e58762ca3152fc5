"""Wear of nozzles, chain, belts, dampers and cloth: the last reading against its limit."""

from collections.abc import Mapping
from datetime import date
from enum import StrEnum
from itertools import chain, groupby
from typing import NamedTuple

from ledger.compute import wear as formulas
from ledger.compute.meter import MeterLog
from ledger.compute.wear import NozzleState, WearVerdict
from ledger.model.ledger import Ledger, last_day_filed
from ledger.model.machines import BeltRating, ChainRating, Point
from ledger.model.meters import vehicle_log
from ledger.model.readings import BOUNCES, CHAIN_LENGTH
from ledger.model.references import EntryRef, Place
from ledger.model.visits import Entry
from ledger.upkeep.drift import series as quantities
from ledger.upkeep.drift.found import DriftResult, outlook_result
from ledger.upkeep.drift.series import Series, SeriesReading
from ledger.values import dataclass, field, replace

ALLOWED_BOUNCES = 1
"""The arm may settle once after the push of a hand. Common practice, no source."""


# Kinds of points that wear, and what is read of each but a damper, whose bounces are counted.
_READ = {
    "nozzle": quantities.NOZZLE,
    "chain": quantities.CHAIN,
    "belt": quantities.BELT,
    "cloth": quantities.STRIP_LENGTH,
}

KINDS = (*_READ, "damper")


class NotJudged(StrEnum):
    """Why a reading has no verdict."""

    NO_LIMIT = "no limit stated"
    RENEWED = "renewed since, not measured yet"


FAULTS = (
    WearVerdict.WORN,
    WearVerdict.CLOGGED,
    WearVerdict.SLACK,
    WearVerdict.TIGHT,
    WearVerdict.BOUNCES,
)
"""Verdicts that call for work."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WearItem:
    """A point that wears: series with limits and outlook, and the verdict on its last reading.

    `catches` are the states of a nozzle at each of its readings; empty for other points.
    """

    result: DriftResult
    last: SeriesReading
    judgement: WearVerdict | NotJudged
    catches: Mapping[EntryRef, NozzleState] = field(default_factory=dict)

    @property
    def nozzle(self) -> NozzleState | None:
        """The state behind a nozzle's verdict."""
        return self.catches.get(self.last.entry.ref)

    @property
    def place(self) -> Place:
        return self.result.series.place

    @property
    def needs_work(self) -> bool:
        return self.judgement in FAULTS


@dataclass(frozen=True, slots=True, kw_only=True)
class NozzleGroup:
    """The nozzles of one machine, judged one by one; `hides` where their average looks sound."""

    machine: str
    items: tuple[WearItem, ...]
    mean_share: float
    hides: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DamperItem:
    """One damper: its last check with the bounces, and the verdict; None where renewed since."""

    place: Place
    last: Entry
    verdict: WearVerdict | None


class Fault(NamedTuple):
    """A verdict that calls for work, the kind of its point, and how and when that was looked at."""

    kind: str
    verdict: str
    place: Place
    how: str
    day: date


@dataclass(frozen=True, slots=True, kw_only=True)
class Wear:
    """Everything that wears by readings, in walking order.

    `by_kind` has the items of each kind of point but the dampers, whose bounces are counted and
    not forecast. `never` are the points in use that were never measured, by kind.
    """

    by_kind: Mapping[str, tuple[WearItem, ...]]
    dampers: tuple[DamperItem, ...]
    never: Mapping[str, tuple[Place, ...]]
    vehicles: MeterLog

    @property
    def items(self) -> tuple[WearItem, ...]:
        return tuple(chain.from_iterable(self.by_kind.values()))

    @property
    def nozzles(self) -> tuple[NozzleGroup, ...]:
        """One for each machine."""
        by_machine = groupby(self.by_kind["nozzle"], lambda item: item.place.machine)
        return tuple(_group(machine, tuple(items)) for machine, items in by_machine)

    @property
    def faults(self) -> list[Fault]:
        """What calls for work, by kind and then in walking order."""
        read = [
            Fault(kind, item.judgement.value, item.place, "read", item.last.entry.day)
            for kind, items in self.by_kind.items()
            for item in items
            if item.needs_work
        ]
        return read + [
            Fault("damper", WearVerdict.BOUNCES.value, damper.place, "checked", damper.last.day)
            for damper in self.dampers
            if damper.verdict is WearVerdict.BOUNCES
        ]


def wear(ledger: Ledger) -> Wear:
    """Judge the last reading of everything that wears; from the sources alone, on no day."""
    vehicles = vehicle_log(ledger)
    last_day = last_day_filed(ledger)
    in_use = {m.ident for m in ledger.machines.values() if m.in_use(last_day)} or {*ledger.machines}
    items = [
        _item(ledger, series, vehicles)
        for series in quantities.measured_series(ledger)
        if series.kind in _READ.values() and series.place.machine in in_use
    ]
    dampers = _dampers(ledger, in_use)
    measured = {*(item.place for item in items), *(damper.place for damper in dampers)}
    return Wear(
        by_kind={
            kind: tuple(item for item in items if item.result.series.kind == read)
            for kind, read in _READ.items()
        },
        dampers=dampers,
        never=_never(ledger, in_use, measured),
        vehicles=vehicles,
    )


def wear_of(found: Wear, machine: str) -> Wear:
    """Only what belongs to one machine."""
    never = {
        kind: tuple(place for place in places if place.machine == machine)
        for kind, places in found.never.items()
    }
    return replace(
        found,
        by_kind={
            kind: tuple(item for item in items if item.place.machine == machine)
            for kind, items in found.by_kind.items()
        },
        dampers=tuple(damper for damper in found.dampers if damper.place.machine == machine),
        never={kind: places for kind, places in never.items() if places},
    )


def _item(ledger: Ledger, series: Series, vehicles: MeterLog) -> WearItem:
    point = ledger.point(series.place)
    # Those of one day are ordered by value, and the verdict is on what was read last.
    last = max(series.readings, key=lambda reading: (reading.entry.when, reading.entry.ref))
    renewed = any(rebase.ends_trend and rebase.day > last.entry.day for rebase in series.rebases)
    return WearItem(
        result=outlook_result(series, vehicles),
        last=last,
        judgement=NotJudged.RENEWED if renewed else _judge(series, last, point),
        catches={
            reading.entry.ref: state
            for reading in series.readings
            if (state := _state_of(reading, point)) is not None
        },
    )


def _state_of(reading: SeriesReading, point: Point | None) -> NozzleState | None:
    return quantities.catch_state([entry.readings for entry in reading.entries], point)


def _judge(series: Series, last: SeriesReading, point: Point | None) -> WearVerdict | NotJudged:
    kind, measured, rating = series.kind, last.measured, point.rating if point else None
    state, length = _state_of(last, point), last.entry.readings[CHAIN_LENGTH]
    if kind == quantities.NOZZLE and state is not None:
        return state.verdict
    if kind == quantities.CHAIN and length is not None and isinstance(rating, ChainRating):
        return quantities.chain_wear(length, rating).verdict
    if kind == quantities.BELT and isinstance(rating, BeltRating) and measured.value > 0:
        # By the force that would give the due deflection, a belt giving in proportion to force; in
        # units of the force noted, which drops out.
        due_force = formulas.belt_deflection_mm(rating.span_mm) / measured.value
        return formulas.belt_verdict(
            force_n=due_force,
            normal_force_n=1 / quantities.FORCE_PER_NORMAL,
            u_force_n=due_force * measured.u / measured.value,
        )
    if kind == quantities.STRIP_LENGTH and series.lower is not None:
        return formulas.strip_verdict(measured.value, measured.u, limit_mm=series.lower)
    return NotJudged.NO_LIMIT


def _group(machine: str, items: tuple[WearItem, ...]) -> NozzleGroup:
    states = [
        item.nozzle
        for item in items
        if item.nozzle is not None and item.judgement is not NotJudged.RENEWED
    ]
    mean = sum(state.share for state in states) / len(states) if states else 0.0
    return NozzleGroup(
        machine=machine, items=items, mean_share=mean, hides=formulas.average_hides(states)
    )


def _dampers(ledger: Ledger, in_use: set[str]) -> tuple[DamperItem, ...]:
    """In walking order, then by point."""
    checked: dict[Place, Entry] = {}
    renewed: dict[Place, date] = {}
    for entry in ledger.detailed:
        place = entry.place
        if place and place.machine in in_use and entry.readings[BOUNCES] is not None:
            checked[place] = entry
        if entry.changed == "damper":
            renewed.update(dict.fromkeys(entry.places, entry.day))
    ranks = list(ledger.machines)
    found = []
    for place in sorted(checked, key=lambda place: (ranks.index(place.machine), place.point)):
        last = checked[place]
        is_new = renewed.get(place, date.min) > last.day
        bounces = last.readings[BOUNCES] or 0
        judged = None if is_new else formulas.damper_verdict(bounces, allowed=ALLOWED_BOUNCES)
        found.append(DamperItem(place=place, last=last, verdict=judged))
    return tuple(found)


def _never(
    ledger: Ledger, in_use: set[str], measured: set[Place]
) -> Mapping[str, tuple[Place, ...]]:
    never: dict[str, list[Place]] = {}
    for machine in ledger.machines.values():
        for point in machine.points.values():
            place = Place(machine.ident, point.ident)
            if machine.ident in in_use and point.kind in KINDS and place not in measured:
                never.setdefault(point.kind, []).append(place)
    return {kind: tuple(never[kind]) for kind in KINDS if kind in never}
