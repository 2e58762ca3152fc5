"""Water and chemistry: what the last readings say, and what water and product a vehicle takes."""

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from enum import StrEnum
from functools import partial
from itertools import chain

from ledger.compute import figures as formulas
from ledger.compute.band import Band
from ledger.compute.figures import DROP_U
from ledger.compute.meter import MeterLog
from ledger.compute.numbers import Estimate, convert, worked_out
from ledger.model import readings as kinds
from ledger.model.ledger import Ledger
from ledger.model.machines import InjectorRating, Machine, MembraneRating, ResinRating, TankRating
from ledger.model.meters import counted_between, log_of
from ledger.model.quantities import UNIT_OF_ENDING
from ledger.model.readings import READINGS, ReadingKind
from ledger.model.references import Place
from ledger.model.visits import Entry
from ledger.upkeep.drift.series import measured_series
from ledger.upkeep.figures.found import (
    Figure,
    LackingError,
    Lookup,
    Record,
    by_group,
    estimate_of,
    rated,
)

MOST_OFF_WANTED = 0.10
"""How far a dilution may be off the wanted one. Common practice, no source."""

LEAST_OF_NEW_PERCENT = 85.0
"""A membrane is cleaned when its normalised flow has fallen by 10 to 15 %. From memory."""

METER_U_SHARE = 0.02 / math.sqrt(3)
"""A water meter is right to 2 %, the maximum permissible error of ISO 4064-1. From memory."""

DRUM_DAYS = 90
"""A drum's use is that of the last so many days."""

_NEAR = timedelta(days=7)


class WaterGroup(StrEnum):
    READINGS = "Readings against their bands"
    SOFTENER = "Softener"
    MEMBRANE = "Membrane"
    CHEMICALS = "Chemicals"
    USE = "Water a vehicle takes"


def water(ledger: Ledger) -> tuple[Figure, ...]:
    """Every figure, in the order of the groups and then of the walk; from the sources alone."""
    of_machines = (water_at(Record(ledger), one) for one in ledger.machines.values())
    return by_group(WaterGroup, (*chain.from_iterable(of_machines), *water_use(ledger)))


def water_at(record: Record, machine: Machine) -> tuple[Figure, ...]:
    """Every figure of a machine."""
    return (
        *_banded(record, machine),
        *chain.from_iterable(_softener(record, *one) for one in rated(machine, ResinRating)),
        *(_membrane(record, machine) if _at(machine, "product") else ()),
        *chain.from_iterable(_chemical(record, *one) for one in rated(machine, InjectorRating)),
    )


def _banded(record: Record, machine: Machine) -> Iterator[Figure]:
    titles = {kind.word: kind.title for kind in READINGS}
    points = machine.points.values()
    banded = {Place(machine.ident, point.ident) for point in points if point.bands}
    for series in measured_series(record.at(machine.ident), banded) if banded else ():
        point = record.ledger.point(series.place)
        if point is None or series.kind.ident not in point.bands:
            continue
        last = max(series.readings, key=lambda reading: (reading.entry.when, reading.entry.ref))
        yield Figure(
            group=WaterGroup.READINGS,
            name=titles[series.kind.ident],
            unit=series.kind.unit,
            place=series.place,
            found=Estimate(value=last.measured.value, u=last.measured.u),
            band=Band(
                low=-math.inf if series.lower is None else series.lower,
                high=math.inf if series.upper is None else series.upper,
            ),
            day=last.entry.day,
            evidence=(last.entry.ref,),
        )


def _at(machine: Machine, stream: str) -> Place | None:
    """Where a machine's stream is read."""
    found = next((one.ident for one in machine.points.values() if one.stream == stream), "")
    return Place(machine.ident, found) if found else None


def _softener(record: Record, place: Place, resin: ResinRating) -> Iterator[Figure]:
    machine = record.ledger.machines[place.machine]

    def allowed(lookup: Lookup) -> Estimate:
        hardness = lookup.last(_at(machine, "raw"), kinds.HARDNESS, "the raw water")
        return worked_out(
            lambda raw: formulas.softener_run_l(resin.capacity_g, resin.reserve_percent, raw),
            hardness,
        )

    def share(lookup: Lookup) -> Estimate:
        run = lookup.last(place, kinds.RUN, "the resin")
        return worked_out(lambda ran, most: 100 * ran / most, run, allowed(lookup))

    of = WaterGroup.SOFTENER
    most = Band(low=-math.inf, high=100.0)
    yield record.figure(of, "Water that the resin softens", "L", allowed, place=place)
    yield record.figure(of, "Share of that already run", "%", share, place=place, band=most)


def _membrane(record: Record, machine: Machine) -> Iterator[Figure]:
    """From the readings of one day: the last on which the product was read."""
    place = Place(machine.ident)
    product = _at(machine, "product") or place
    read_on = (
        one.day for kind in (kinds.CONDUCTIVITY, kinds.FLOW) for one in record.read(product, kind)
    )
    day = max(read_on, default=None)
    rating = next(
        (p.rating for p in machine.points.values() if isinstance(p.rating, MembraneRating)), None
    )

    def last(lookup: Lookup, stream: str, kind: ReadingKind[float]) -> Estimate:
        return lookup.last(_at(machine, stream), kind, f"the {stream}")

    def recovered(lookup: Lookup) -> Estimate:
        flows = last(lookup, "product", kinds.FLOW), last(lookup, "reject", kinds.FLOW)
        return worked_out(lambda out, waste: 100 * formulas.recovery(out, waste), *flows)

    def held_back(lookup: Lookup) -> Estimate:
        salts = (
            last(lookup, "feed", kinds.CONDUCTIVITY),
            last(lookup, "product", kinds.CONDUCTIVITY),
        )
        return worked_out(lambda before, after: 100 * formulas.rejection(before, after), *salts)

    def of_new(lookup: Lookup) -> Estimate:
        if rating is None:
            raise LackingError("no flow and pressure of the new membrane in its machine's file")

        def share(
            out: float, waste: float, celsius: float, before: float, after: float, salt: float
        ) -> float:
            net = formulas.net_pressure_kpa(before, after, salt, formulas.recovery(out, waste))
            return (
                100 * formulas.normalised_flow(out, celsius, net, rating.at_kpa) / rating.flow_lpm
            )

        return worked_out(
            share,
            last(lookup, "product", kinds.FLOW),
            last(lookup, "reject", kinds.FLOW),
            last(lookup, "feed", kinds.TEMPERATURE),
            last(lookup, "feed", kinds.PRESSURE),
            last(lookup, "reject", kinds.PRESSURE),
            last(lookup, "feed", kinds.CONDUCTIVITY),
        )

    of = WaterGroup.MEMBRANE
    yield record.figure(of, "Recovery", "%", recovered, place=place, day=day)
    yield record.figure(of, "Salt held back", "%", held_back, place=place, day=day)
    flow, least = "Flow at 25 °C and its net pressure, of new", LEAST_OF_NEW_PERCENT
    band = Band(low=least, high=math.inf)
    yield record.figure(of, flow, "%", of_new, place=place, day=day, band=band)


def _chemical(record: Record, place: Place, wanted: InjectorRating) -> Iterator[Figure]:
    where = "the injector"

    def parts(lookup: Lookup) -> Estimate:
        entry = lookup.entry(place, kinds.TITRATION, where)
        found = entry.readings[kinds.TITRATION]
        if found is None or min(found.drops, found.reference_drops) <= found.blank_drops + 1:
            raise LackingError("too few drops over the blank")
        drops = (found.drops, found.blank_drops, found.reference_drops)
        return worked_out(
            lambda own, blank, mixed: formulas.parts_by_titration(
                own, blank, mixed, found.reference_parts
            ),
            *(Estimate(value=one, u=DROP_U) for one in drops),
        )

    def timed(lookup: Lookup) -> Estimate:
        return worked_out(
            formulas.dose_ml,
            lookup.last(place, kinds.FLOW, where),
            lookup.last(place, kinds.OPENING, where),
            parts(lookup),
        )

    def drawn(lookup: Lookup) -> Estimate:
        if wanted.drum is None:
            raise LackingError("no drum in the file of the injector")
        litres, vehicles = _drawn(lookup, wanted.drum)
        return worked_out(lambda out, n: 1000 * formulas.per_vehicle(out, n), litres, vehicles)

    band = None
    if wanted.parts_water is not None:
        off = MOST_OFF_WANTED * wanted.parts_water
        band = Band(low=wanted.parts_water - off, high=wanted.parts_water + off)
    of = WaterGroup.CHEMICALS
    yield record.figure(of, "Dilution", "to 1", parts, place=place, band=band)
    yield record.figure(of, "Product a vehicle, by flow and time", "mL", timed, place=place)
    yield record.figure(of, "Product a vehicle, by its drum", "mL", drawn, place=place)


def _drawn(lookup: Lookup, drum: Place) -> tuple[Estimate, Estimate]:
    """Litres drawn from a drum, and the vehicles meanwhile.

    Counted are the stretches between two fills, of which nobody knows how much they were: where the
    level rose by more than its readings can be off, and where something was used there.
    """
    point = lookup.record.ledger.point(drum)
    of = point.rating if point else None
    readings: list[tuple[Entry, Estimate]] = []
    if isinstance(of, TankRating) and (inside := of.inside_mm) is not None:
        readings = [
            (
                one,
                worked_out(
                    lambda deep: formulas.drum_l(deep, inside), estimate_of(one, kinds.DEPTH)
                ),
            )
            for one in lookup.all_of(drum, kinds.DEPTH)
        ]
    elif isinstance(of, TankRating) and (holds := of.holds_l) is not None:
        readings = [
            (one, worked_out(lambda percent: holds * percent / 100, estimate_of(one, kinds.LEVEL)))
            for one in lookup.all_of(drum, kinds.LEVEL)
        ]
    if not readings:
        raise LackingError("no readings of a drum whose width or volume is in its file")
    since = readings[-1][0].day - timedelta(days=DRUM_DAYS)
    told = lookup.record.at(drum.machine).detailed_here
    fills = [e.when for e in told if e.place == drum and e.stock and e.stock.used]
    runs: list[list[tuple[Entry, Estimate]]] = [[]]
    for entry, litres in readings:
        if entry.day < since:
            continue
        last, before = runs[-1][-1] if runs[-1] else (entry, litres)
        rose = litres.value - before.value > 2 * math.hypot(litres.u, before.u)
        if rose or any(last.when < fill <= entry.when for fill in fills):
            runs.append([])
        runs[-1].append((entry, litres))
    drawn, variance, vehicles = 0.0, 0.0, 0.0
    for run in runs:
        (first, full), (last, left) = run[0], run[-1]
        drawn += full.value - left.value
        variance += full.u**2 + left.u**2 if len(run) > 1 else 0.0
        vehicles += counted_between(lookup.record.vehicles, first.day, last.day)
        lookup.used += [first, last]
    if not vehicles:
        raise LackingError("no vehicles counted between two readings of the drum")
    return Estimate(value=drawn, u=math.sqrt(variance)), Estimate(value=vehicles)


def water_use(ledger: Ledger) -> Iterator[Figure]:
    """Each whole month between readings near both of its ends, the newest first; by the meters."""
    record = Record(ledger)
    logs: dict[str, list[tuple[MeterLog, float]]] = defaultdict(list)
    for meter in ledger.site.meters.values():
        if meter.stream:
            litres = convert(1.0, UNIT_OF_ENDING[meter.counts], "l")
            logs[meter.stream].append((log_of(ledger, meter.ident), litres))
    fresh, reclaim = logs["fresh"], logs["reclaim"]
    days = [day for log, _ in (*fresh, *reclaim) for day in log.days]
    if not days:
        return

    def used(of: Sequence[tuple[MeterLog, float]], month: date) -> tuple[Estimate, Estimate]:
        """Litres by some meters and the vehicles between the same readings."""
        total, vehicles = 0.0, 0.0
        for log, litres in of:
            ends = tuple(_nearest(log, day) for day in (month, _next(month)))
            total += litres * counted_between(log, *ends)
            vehicles = counted_between(record.vehicles, *ends)
            # Neither meter says at what time of the day it was read.
            per_day = vehicles / max(1, (ends[1] - ends[0]).days)
        return (
            Estimate(value=total, u=METER_U_SHARE * total),
            Estimate(value=vehicles, u=per_day / math.sqrt(6)),
        )

    def a_vehicle(month: date, _: Lookup) -> Estimate:
        return worked_out(formulas.per_vehicle, *used(fresh, month))

    def share(month: date, _: Lookup) -> Estimate:
        return worked_out(
            lambda new, old: 100 * formulas.reclaim_share(new, old),
            used(fresh, month)[0],
            used(reclaim, month)[0],
        )

    figures = [("Fresh water a vehicle", "L", a_vehicle)] if fresh else []
    figures += [("Reclaimed share", "%", share)] if fresh and reclaim else []
    month = (max(days) + _NEAR).replace(day=1)
    month = (month - timedelta(days=1)).replace(day=1)
    while month + _NEAR >= min(days):
        for name, unit, of in figures:
            yield record.figure(WaterGroup.USE, name, unit, partial(of, month), day=month)
        month = (month - timedelta(days=1)).replace(day=1)


def _next(month: date) -> date:
    return (month + timedelta(days=31)).replace(day=1)


def _nearest(log: MeterLog, day: date) -> date:
    found = min(log.days, key=lambda one: abs(one - day), default=None)
    if found is None or abs(found - day) > _NEAR:
        raise LackingError(f"no reading of the meter within a week of {day}")
    return found
