"""tasks/*.yaml, checked against its schema, as typed values with what they select."""

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from ledger.compute.recurrence import (
    Calendar,
    Hours,
    Interval,
    Unit,
    Vehicles,
    is_daily,
    parse_interval,
    parse_rule,
)
from ledger.files.document import Document, Pointer
from ledger.model.machines import Machine
from ledger.model.problems import Problems
from ledger.model.quantities import filled
from ledger.model.references import Place
from ledger.model.site import Site
from ledger.model.tasks import Amount, Remembered, Task, When, remembered
from ledger.values import replace

_OLDER_WORDS = {"practice": "own", "own-record": "own"}


def build_task(
    document: Document, site: Site, machines: Mapping[str, Machine], problems: Problems
) -> Task:
    """The task of a checked document; what it names wrongly is reported and left out."""
    keys = document.value
    every, meter = _every(document, keys["every"], site, problems)
    places = _selected(keys["on"], machines)
    return filled(
        Task,
        keys,
        ident=document.ident,
        like=keys.get("like", document.ident),
        places=places,
        every=every,
        when=When(keys["when"]) if "when" in keys else _usual_pass(keys, every),
        hours_meter=meter,
        basis=_OLDER_WORDS.get(keys.get("basis", "own"), keys.get("basis", "own")),
        window_days=int(keys.get("window", "0 days").split()[0]),
        uses={part: Amount.parse(text) for part, text in sorted(keys.get("uses", {}).items())},
        last_done=_last_done(document, places, site, problems),
    )


def _usual_pass(keys: Mapping[str, Any], every: Sequence[Interval]) -> When:
    if keys.get("lockout"):
        return When.CLOSED
    return When.BEFORE_OPENING if any(map(is_daily, every)) else When.RUNNING


def known_place(text: str, machines: Mapping[str, Machine]) -> Place | None:
    """The place of that name, or None where no file defines it, which `links` reports."""
    place = Place.parse(text)
    machine = machines.get(place.machine)
    is_known = machine is not None and (not place.point or place.point in machine.points)
    return place if is_known else None


def _selected(on: Mapping[str, Any], machines: Mapping[str, Machine]) -> tuple[Place, ...]:
    left_out = {known_place(text, machines) for text in on.get("except", ())}
    chosen: set[Place | None]
    if "ids" in on:
        chosen = {known_place(text, machines) for text in on["ids"]}
    else:
        kinds = _as_list(on.get("machines"))
        points = _as_list(on.get("points"))
        chosen = {
            place
            for machine in machines.values()
            if (not kinds or machine.kind in kinds) and (machine.energy or not on.get("energy"))
            for place in _of_machine(machine, points)
        }
    return tuple(
        place
        for machine in machines.values()
        for place in (Place(machine.ident), *(Place(machine.ident, p) for p in machine.points))
        if place in chosen and not {place, Place(machine.ident)} & left_out
    )


def _last_done(
    document: Document, places: Collection[Place], site: Site, problems: Problems
) -> dict[Place, Remembered]:
    """By place; of two lines for one place the later holds, and one without `at` is for all."""
    found: dict[Place, Remembered] = {}
    for index, line in enumerate(document.value.get("last_done", ())):
        try:
            when = remembered(line["when"])
        except ValueError:
            when = None
        if when is None or (when.first and when.first > site.record_begins):
            problems.error(
                document,
                ("last_done", index, "when"),
                rule="not-before-the-record",
                message=f"`{line['when']}` is not a time before the record began",
                expected=f"a day, week, month or year that begins by {site.record_begins}",
                remedy="write it like 2026-11-20, 2026-W47, 2026-11 or 2026; "
                "file later work as a visit",
            )
            continue
        if when.last:
            when = replace(when, last=min(when.last, site.record_begins))
        named = {Place.parse(text) for text in line.get("at", ())}
        found |= {
            place: when
            for place in places
            if not named or place in named or Place(place.machine) in named
        }
    return found


def _of_machine(machine: Machine, point_kinds: list[str]) -> list[Place]:
    if not point_kinds:
        return [Place(machine.ident)]
    return [
        Place(machine.ident, point.ident)
        for point in machine.points.values()
        if point.kind in point_kinds
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
        elif "hours" in item:
            intervals.append(Hours(count=float(item["hours"])))
            meters.append(_hours_meter(document, pointer, item, site, problems))
        elif "vehicles" in item:
            intervals.append(Vehicles(count=float(item["vehicles"])))
            of_vehicles = [one for one in site.meters.values() if one.counts == "vehicles"]
            if not of_vehicles and "meter" not in item:
                problems.error(
                    document,
                    (*pointer, "vehicles"),
                    rule="which-meter",
                    message="no meter of this site counts vehicles",
                    expected="a meter in site.yaml that counts vehicles",
                    remedy="declare it under `meters`",
                )
        else:
            try:
                intervals.append(parse_rule(item["rule"]))
            except ValueError as wrong:
                problems.error(
                    document,
                    (*pointer, "rule"),
                    rule="bad-rule",
                    message=str(wrong),
                    expected="a recurrence rule of RFC 5545 that gives days",
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
    if "meter" in item:
        return item["meter"] if item["meter"] in of_hours else ""
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


def _as_list(value: Any) -> list[str]:
    if value is None:
        return []
    return value if isinstance(value, list) else [value]
