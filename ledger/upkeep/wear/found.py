"""Wear of nozzles, chain, belts, dampers and cloth: the last reading against its limit."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from enum import StrEnum
from itertools import groupby
from typing import TypeAlias

from ledger.compute import wear as formulas
from ledger.compute.meter import MeterLog
from ledger.compute.wear import (
    BeltVerdict,
    ClothVerdict,
    DamperVerdict,
    NozzleState,
    NozzleVerdict,
    WearVerdict,
)
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


_POINT_KINDS = ("nozzle", "chain", "belt", "cloth", "damper")


class NotJudged(StrEnum):
    """Why a reading has no verdict."""

    NO_LIMIT = "no limit stated"
    RENEWED = "renewed since, not measured yet"


WearJudgement: TypeAlias = NozzleVerdict | WearVerdict | BeltVerdict | ClothVerdict | NotJudged


FAULTS = frozenset(
    {
        NozzleVerdict.WORN.value,
        NozzleVerdict.CLOGGED.value,
        WearVerdict.WORN.value,
        BeltVerdict.SLACK.value,
        BeltVerdict.TIGHT.value,
        ClothVerdict.WORN.value,
        DamperVerdict.BOUNCES.value,
    }
)
"""Verdicts that call for work, by their words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WearItem:
    """A point that wears: series with limits and outlook, and the verdict on its last reading.

    `catches` are the states of a nozzle at each of its readings; empty for other points.
    """

    result: DriftResult
    last: SeriesReading
    judgement: WearJudgement
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
        return self.judgement.value in FAULTS


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
    verdict: DamperVerdict | None

    @property
    def needs_work(self) -> bool:
        return self.verdict is DamperVerdict.BOUNCES


@dataclass(frozen=True, slots=True, kw_only=True)
class Wear:
    """Everything that wears by readings, in walking order.

    `never` are the points in use that were never measured, by kind.
    """

    nozzles: tuple[NozzleGroup, ...]
    chains: tuple[WearItem, ...]
    belts: tuple[WearItem, ...]
    cloth: tuple[WearItem, ...]
    dampers: tuple[DamperItem, ...]
    never: Mapping[str, tuple[Place, ...]]
    vehicles: MeterLog

    @property
    def nozzle_items(self) -> tuple[WearItem, ...]:
        return tuple(item for group in self.nozzles for item in group.items)

    @property
    def items(self) -> tuple[WearItem, ...]:
        """Every item but the dampers, whose bounces are counted and not forecast."""
        return (*self.nozzle_items, *self.chains, *self.belts, *self.cloth)


def wear(ledger: Ledger) -> Wear:
    """Judge the last reading of everything that wears; from the sources alone, on no day."""
    vehicles = vehicle_log(ledger)
    last_day = last_day_filed(ledger)
    in_use = {m.ident for m in ledger.machines.values() if m.in_use(last_day)} or {*ledger.machines}
    by_kind: dict[str, list[WearItem]] = {}
    for series in quantities.measured_series(ledger):
        if series.kind.ident in _JUDGES and series.place.machine in in_use:
            by_kind.setdefault(series.kind.ident, []).append(_item(ledger, series, vehicles))
    found = Wear(
        nozzles=_groups(by_kind.get(quantities.NOZZLE.ident, [])),
        chains=tuple(by_kind.get(quantities.CHAIN.ident, [])),
        belts=tuple(by_kind.get(quantities.BELT.ident, [])),
        cloth=tuple(by_kind.get(quantities.STRIP_LENGTH.ident, [])),
        dampers=_dampers(ledger, in_use),
        never={},
        vehicles=vehicles,
    )
    measured = {*(item.place for item in found.items), *(item.place for item in found.dampers)}
    return replace(found, never=_never(ledger, in_use, measured))


def wear_of(found: Wear, machine: str) -> Wear:
    """Only what belongs to one machine."""

    def own(items: Sequence[WearItem]) -> tuple[WearItem, ...]:
        return tuple(item for item in items if item.place.machine == machine)

    never = {
        kind: own_places
        for kind, places in found.never.items()
        if (own_places := tuple(place for place in places if place.machine == machine))
    }
    return replace(
        found,
        nozzles=tuple(group for group in found.nozzles if group.machine == machine),
        chains=own(found.chains),
        belts=own(found.belts),
        cloth=own(found.cloth),
        dampers=tuple(damper for damper in found.dampers if damper.place.machine == machine),
        never=never,
    )


def _item(ledger: Ledger, series: Series, vehicles: MeterLog) -> WearItem:
    point = ledger.point(series.place)
    # Those of one day are ordered by value, and the verdict is on what was read last.
    last = max(series.readings, key=lambda reading: (reading.entry.when, reading.entry.ref))
    renewed = any(rebase.ends_trend and rebase.day > last.entry.day for rebase in series.rebases)
    judge = _JUDGES[series.kind.ident]
    return WearItem(
        result=outlook_result(series, vehicles),
        last=last,
        judgement=NotJudged.RENEWED if renewed else judge(series, last, point),
        catches={
            reading.entry.ref: state
            for reading in series.readings
            if (state := _state_of(reading, point)) is not None
        },
    )


def _state_of(reading: SeriesReading, point: Point | None) -> NozzleState | None:
    return quantities.catch_state([entry.readings for entry in reading.entries], point)


def _judge_nozzle(_series: Series, last: SeriesReading, point: Point | None) -> WearJudgement:
    state = _state_of(last, point)
    return NotJudged.NO_LIMIT if state is None else state.verdict


def _judge_chain(_series: Series, last: SeriesReading, point: Point | None) -> WearJudgement:
    rating = point.rating if point else None
    chain = last.entry.readings[CHAIN_LENGTH]
    if chain is None or not isinstance(rating, ChainRating):
        return NotJudged.NO_LIMIT
    return quantities.chain_wear(chain, rating).verdict


def _judge_belt(_series: Series, last: SeriesReading, point: Point | None) -> WearJudgement:
    """By the force that would give the due deflection, a belt giving in proportion to force."""
    rating = point.rating if point else None
    measured = last.measured
    if not isinstance(rating, BeltRating) or measured.value <= 0:
        return NotJudged.NO_LIMIT
    # In units of the force noted, which drops out.
    due_force = formulas.belt_deflection_mm(rating.span_mm) / measured.value
    return formulas.belt_verdict(
        force_n=due_force,
        normal_force_n=1 / quantities.FORCE_PER_NORMAL,
        u_force_n=due_force * measured.u / measured.value,
    )


def _judge_cloth(series: Series, last: SeriesReading, _point: Point | None) -> WearJudgement:
    if series.lower is None:
        return NotJudged.NO_LIMIT
    return formulas.strip_verdict(last.measured.value, last.measured.u, limit_mm=series.lower)


_JUDGES: Mapping[str, Callable[[Series, SeriesReading, Point | None], WearJudgement]] = {
    quantities.NOZZLE.ident: _judge_nozzle,
    quantities.CHAIN.ident: _judge_chain,
    quantities.BELT.ident: _judge_belt,
    quantities.STRIP_LENGTH.ident: _judge_cloth,
}


def _groups(items: Sequence[WearItem]) -> tuple[NozzleGroup, ...]:
    """One for each machine; the items stand in walking order."""
    groups = []
    for machine, neighbours in groupby(items, lambda item: item.place.machine):
        own = tuple(neighbours)
        states = [
            item.nozzle
            for item in own
            if item.nozzle is not None and item.judgement is not NotJudged.RENEWED
        ]
        mean = sum(state.share for state in states) / len(states) if states else 0.0
        groups.append(
            NozzleGroup(
                machine=machine, items=own, mean_share=mean, hides=formulas.average_hides(states)
            )
        )
    return tuple(groups)


def _dampers(ledger: Ledger, in_use: set[str]) -> tuple[DamperItem, ...]:
    """In walking order, then by point."""
    checked: dict[Place, Entry] = {}
    renewed: dict[Place, date] = {}
    for entry in ledger.detailed:
        if entry.place is not None and entry.readings[BOUNCES] is not None:
            checked[entry.place] = entry
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
    return tuple(item for item in found if item.place.machine in in_use)


def _never(
    ledger: Ledger, in_use: set[str], measured: set[Place]
) -> Mapping[str, tuple[Place, ...]]:
    never: dict[str, list[Place]] = {}
    for machine in ledger.machines.values():
        for point in machine.points.values():
            place = Place(machine.ident, point.ident)
            if machine.ident in in_use and point.kind in _POINT_KINDS and place not in measured:
                never.setdefault(point.kind, []).append(place)
    return {kind: tuple(never[kind]) for kind in _POINT_KINDS if kind in never}
