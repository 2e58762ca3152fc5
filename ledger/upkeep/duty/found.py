"""Pumps against their nozzles, worn cloth against its speed, and the energy a vehicle takes."""

import math
from collections.abc import Iterator, Sequence
from enum import StrEnum
from functools import partial
from itertools import chain, pairwise

from ledger.compute import figures as formulas
from ledger.compute.band import Band
from ledger.compute.line import edge_speed_m_s
from ledger.compute.numbers import Estimate, NotEnoughData, worked_out
from ledger.compute.trend import STRIP_U_MM
from ledger.compute.wear import flow_at_pressure
from ledger.model.ledger import Ledger
from ledger.model.machines import ClothRating, Machine, NozzleRating, PumpRating
from ledger.model.meters import counted_between, log_of
from ledger.model.readings import CATCH, PRESSURE, STRIP
from ledger.model.references import Place
from ledger.upkeep.drift.series import catch_state
from ledger.upkeep.figures.found import Figure, LackingError, Lookup, Record, by_group, rated
from ledger.upkeep.speeds.found import band_of, target_of

NEW_NOZZLE_U = 0.05 / math.sqrt(3)
"""A nozzle that was never caught is taken as new to 5 %. Common practice, no source."""


class DutyGroup(StrEnum):
    PUMPS = "Pumps against their nozzles"
    CLOTH = "Worn cloth"
    ENERGY = "Energy"


def duty(ledger: Ledger) -> tuple[Figure, ...]:
    """Every figure, in the order of the groups and then of the walk; from the sources alone."""
    of_machines = (duty_at(Record(ledger), one) for one in ledger.machines.values())
    return by_group(DutyGroup, (*chain.from_iterable(of_machines), *energy(ledger)))


def duty_at(record: Record, machine: Machine) -> tuple[Figure, ...]:
    """Every figure of a machine."""
    return (
        *chain.from_iterable(_pump(record, *one) for one in rated(machine, PumpRating)),
        *chain.from_iterable(_cloth(record, *one) for one in rated(machine, ClothRating)),
    )


def _pump(record: Record, place: Place, pump: PumpRating) -> Iterator[Figure]:
    machine = record.ledger.machines[place.machine]
    fed = [one for one in record.ledger.machines.values() if one.fed_by == machine.ident]

    def gauge(lookup: Lookup) -> Estimate:
        points = [Place(machine.ident, one) for one in machine.points]
        read = [one for one in points if lookup.all_of(one, PRESSURE)]
        return lookup.last(read[0] if read else None, PRESSURE, "its gauge")

    def left(lookup: Lookup, at: Machine) -> Estimate:
        return worked_out(lambda shown: shown - at.line_loss_kpa, gauge(lookup))

    def taken(lookup: Lookup) -> Estimate:
        flows = [one for at in fed for one in _nozzles(lookup, at, left(lookup, at))]
        if not flows:
            raise LackingError("no machine with nozzles is `fed_by` it in its file")
        # The pressure is common to all, and small beside what single nozzles differ by.
        total = math.fsum(one.value for one in flows)
        return Estimate(value=total, u=math.hypot(*(one.u for one in flows)))

    def share(lookup: Lookup) -> Estimate:
        return worked_out(lambda flow: 100 * flow / pump.flow_lpm, taken(lookup))

    def pressure(lookup: Lookup) -> Estimate:
        return worked_out(lambda now: 100 * now / pump.at_kpa, gauge(lookup))

    def power(lookup: Lookup) -> Estimate:
        return worked_out(formulas.hydraulic_kw, taken(lookup), gauge(lookup))

    of = DutyGroup.PUMPS
    yield record.figure(of, "Flow that its nozzles take", "L/min", taken, place=place)
    most = Band(low=-math.inf, high=100.0)
    yield record.figure(of, "Of what the pump gives", "%", share, place=place, band=most)
    yield record.figure(of, "Pressure, of the stated one", "%", pressure, place=place)
    yield record.figure(of, "Power in the water", "kW", power, place=place)


def _nozzles(lookup: Lookup, machine: Machine, pressure: Estimate) -> Iterator[Estimate]:
    """The flow of each nozzle of a machine at a pressure, by its last catch or as new."""
    for point in machine.points.values():
        rating = point.rating
        if not isinstance(rating, NozzleRating):
            continue
        every = lookup.all_of(Place(machine.ident, point.ident), CATCH)
        caught = [one for one in every if one.ref.visit == every[-1].ref.visit]
        state = catch_state([one.readings for one in caught], point) if caught else None
        lookup.used += caught if state else []
        share, u = (state.share, state.u_share) if state else (1.0, NEW_NOZZLE_U)
        yield worked_out(
            lambda part, at, rating=rating: (
                part
                * flow_at_pressure(rating.flow_lpm, from_pressure=rating.at_kpa, to_pressure=at)
            ),
            Estimate(value=share, u=u),
            pressure,
        )


def _cloth(record: Record, place: Place, cloth: ClothRating) -> Iterator[Figure]:
    machine, line = record.ledger.machines[place.machine], record.ledger.site.line
    brush, rate = machine.brush, line.line_rate_per_h if line else 0.0
    band, target = band_of(machine, rate)[0], target_of(machine, rate)
    if brush is None or brush.diameter_m is None or band is None or target is None:
        return
    new_mm, aim, limits = 1000 * brush.diameter_m, target, band

    def length(lookup: Lookup) -> Estimate:
        entry = lookup.entry(place, STRIP, "its cloth")
        return Estimate(value=entry.readings[STRIP] or 0.0, u=STRIP_U_MM)

    def across(long_mm: float) -> float:
        return formulas.worn_diameter(new_mm, cloth.new_length_mm, long_mm)

    def edge(lookup: Lookup) -> Estimate:
        return worked_out(lambda long: edge_speed_m_s(across(long) / 1000, aim), length(lookup))

    def hold(lookup: Lookup) -> Estimate:
        return worked_out(
            lambda long: formulas.rpm_to_hold(aim, new_mm, across(long)), length(lookup)
        )

    def shortest(_: Lookup) -> Estimate:
        least = formulas.least_length(new_mm, cloth.new_length_mm, aim, limits.high)
        return Estimate(value=least)

    of = DutyGroup.CLOTH
    yield record.figure(of, "Edge speed in the middle of its band", "m/s", edge, place=place)
    held = record.figure(
        of,
        f"Speed for the edge speed of new cloth (its band ends at {limits.high:g})",
        "r/min",
        hold,
        place=place,
    )
    yield held
    yield record.figure(
        of, "Shortest strips that its band can hold", "mm", shortest, place=place, day=held.day
    )


def energy(ledger: Ledger) -> Iterator[Figure]:
    """Of each meter that counts kilowatt-hours; by the meters alone."""
    record = Record(ledger)
    for meter in record.ledger.site.meters.values():
        if meter.counts != "kwh":
            continue
        log = log_of(record.ledger, meter.ident)
        spans = [
            ((b - a).days, counted_between(record.vehicles, a, b), used - before)
            for (a, before), (b, used) in pairwise(zip(log.days, log.totals, strict=True))
        ]
        for which, what in enumerate(("a day without a vehicle", "a vehicle, idle load off")):
            yield record.figure(
                DutyGroup.ENERGY,
                f"{meter.name}: {what}",
                "kWh",
                partial(_part, spans, which),
                day=log.days[-1] if log.days else None,
            )


def _part(spans: Sequence[tuple[float, float, float]], which: int, _: Lookup) -> Estimate:
    found = formulas.idle_and_each(spans)
    if isinstance(found, NotEnoughData):
        raise LackingError(found.text)
    return found[which]
