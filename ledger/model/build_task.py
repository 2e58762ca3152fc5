"""tasks/*.yaml, checked against its schema, as typed values with what they select."""

from collections.abc import Iterable, Mapping
from typing import Any

from ledger.compute.recurrence import (
    Calendar,
    Hours,
    Interval,
    Unit,
    Vehicles,
    parse_interval,
    parse_rule,
)
from ledger.files.document import Document, Pointer
from ledger.model.machines import Machine
from ledger.model.problems import Problems, nearest
from ledger.model.quantities import filled
from ledger.model.references import Place
from ledger.model.site import Site
from ledger.model.tasks import Amount, Task


def build_task(
    document: Document, site: Site, machines: Mapping[str, Machine], problems: Problems
) -> Task:
    """The task of a checked document; what it names wrongly is reported and left out."""
    keys = document.value
    every, meter = _every(document, keys["every"], site, problems)
    return filled(
        Task,
        keys,
        ident=document.ident,
        places=_selected(document, keys["on"], machines, problems),
        every=every,
        hours_meter=meter,
        window_days=int(keys.get("window", "0 days").split()[0]),
        uses={part: _amount(text) for part, text in sorted(keys.get("uses", {}).items())},
    )


def known_place(
    document: Document,
    pointer: Pointer,
    text: str,
    machines: Mapping[str, Machine],
    problems: Problems,
) -> Place | None:
    """The place that a checked document names, or None once its absence is reported."""
    place = Place.parse(text)
    machine = machines.get(place.machine)
    if machine is None:
        problems.unknown(
            document,
            pointer,
            what="machine",
            word=place.machine,
            known=machines,
            remedy="use the name of a file in equipment/, without .yaml",
        )
        return None
    return place if check_point(document, pointer, place, machine.points, problems) else None


def check_point(
    document: Document, pointer: Pointer, place: Place, points: Iterable[str], problems: Problems
) -> bool:
    """Whether a place is its machine as a whole or one of its points; reported where not."""
    known = list(points)
    if not place.point or place.point in known:
        return True
    near = nearest(place.point, known)
    problems.error(
        document,
        pointer,
        rule="unknown-point",
        message=f"machine `{place.machine}` has no point `{place.point}`",
        expected="a key under `points` in its file: " + (", ".join(known) or "none"),
        remedy=f"use one of them, or add the point to equipment/{place.machine}.yaml",
        nearest=f"{place.machine}/{near}" if near else "",
    )
    return False


def _selected(
    document: Document, on: Mapping[str, Any], machines: Mapping[str, Machine], problems: Problems
) -> tuple[Place, ...]:
    left_out = {
        place
        for index, text in enumerate(on.get("except", ()))
        if (place := known_place(document, ("on", "except", index), text, machines, problems))
        is not None
    }
    if "ids" in on:
        named = [
            known_place(document, ("on", "ids", index), text, machines, problems)
            for index, text in enumerate(on["ids"])
        ]
        chosen = {place for place in named if place is not None}
    else:
        kinds = _as_list(on.get("machines"))
        points = _as_list(on.get("points"))
        chosen = {
            place
            for machine in machines.values()
            if not kinds or machine.kind in kinds
            for place in _of_machine(machine, points)
        }
    return tuple(
        place
        for place in in_walking_order(chosen, machines)
        if place not in left_out and Place(place.machine) not in left_out
    )


def _of_machine(machine: Machine, point_kinds: list[str]) -> list[Place]:
    if not point_kinds:
        return [Place(machine.ident)]
    return [
        Place(machine.ident, point.ident)
        for point in machine.points.values()
        if point.kind in point_kinds
    ]


def in_walking_order(places: set[Place], machines: Mapping[str, Machine]) -> list[Place]:
    """Places by station, then in the order in which the machine's file lists its points."""
    return [
        place
        for machine in machines.values()
        for place in (Place(machine.ident), *(Place(machine.ident, p) for p in machine.points))
        if place in places
    ]


def _every(
    document: Document, every: Any, site: Site, problems: Problems
) -> tuple[tuple[Interval, ...], str]:
    intervals: list[Interval] = []
    meters: list[str] = []
    for index, item in enumerate(every if isinstance(every, list) else [every]):
        pointer: Pointer = ("every", index) if isinstance(every, list) else ("every",)
        if isinstance(item, str):
            intervals.append(parse_interval(item))
        elif "vehicles" in item:
            intervals.append(Vehicles(count=float(item["vehicles"])))
            _check_vehicle_meter(document, pointer, item, site, problems)
        elif "hours" in item:
            intervals.append(Hours(count=float(item["hours"])))
            meters.append(_hours_meter(document, pointer, item, site, problems))
        else:
            try:
                intervals.append(parse_rule(item["rule"]))
            except ValueError as wrong:
                problems.error(
                    document,
                    (*pointer, "rule"),
                    rule="bad-rule",
                    message=str(wrong),
                    expected="a recurrence rule by RFC 5545 that falls on days",
                    remedy="write it like FREQ=MONTHLY;BYDAY=1MO",
                )
    known = sorted({meter for meter in meters if meter})
    if len(known) > 1:
        problems.error(
            document,
            ("every",),
            rule="two-hour-meters",
            message="intervals in hours count by different meters: " + ", ".join(known),
            expected="one meter of hours for a task",
            remedy="split the task in two",
        )
    return tuple(intervals) or (Calendar(count=1, unit=Unit.YEAR),), meters[0] if meters else ""


def _hours_meter(
    document: Document, pointer: Pointer, item: Mapping[str, Any], site: Site, problems: Problems
) -> str:
    of_hours = [meter.ident for meter in site.meters.values() if meter.counts == "hours"]
    named: str = item.get("meter", "")
    if named in of_hours:
        return named
    if named:
        problems.unknown(
            document,
            (*pointer, "meter"),
            what="meter",
            word=named,
            known=of_hours,
            remedy="use a meter of site.yaml that counts hours",
        )
        return ""
    if len(of_hours) == 1:
        return of_hours[0]
    problems.error(
        document,
        (*pointer, "hours"),
        rule="which-meter",
        message=f"{len(of_hours)} meters of this site count hours",
        expected="one meter that counts hours, or its name in `meter`",
        remedy="add `meter:` beside `hours:`, or declare a meter in site.yaml",
    )
    return ""


def _check_vehicle_meter(
    document: Document, pointer: Pointer, item: Mapping[str, Any], site: Site, problems: Problems
) -> None:
    of_vehicles = [meter.ident for meter in site.meters.values() if meter.counts == "vehicles"]
    if not of_vehicles:
        problems.error(
            document,
            (*pointer, "vehicles"),
            rule="which-meter",
            message="no meter of this site counts vehicles",
            expected="a meter in site.yaml that counts vehicles",
            remedy="declare it under `meters`",
        )
    elif item.get("meter", of_vehicles[0]) not in of_vehicles:
        problems.unknown(
            document,
            (*pointer, "meter"),
            what="meter",
            word=item["meter"],
            known=of_vehicles,
            remedy="use a meter of site.yaml that counts vehicles",
        )


def _amount(text: str) -> Amount:
    quantity, _, unit = text.partition(" ")
    return Amount(quantity=float(quantity), unit=unit)


def _as_list(value: Any) -> list[str]:
    if value is None:
        return []
    return value if isinstance(value, list) else [value]
