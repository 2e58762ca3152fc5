"""tasks/*.yaml, checked against its schema, as typed values with what they select."""

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from ledger.compute import recurrence
from ledger.files.document import Document, Pointer, as_list, each_at
from ledger.model.machines import Machine
from ledger.model.problems import Faults, Problems
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
    keys, faults = document.value, problems.of(document)
    every, meter = _every(faults, keys["every"], site)
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
        last_done=_last_done(faults, places, site),
    )


def _usual_pass(keys: Mapping[str, Any], every: Sequence[recurrence.Interval]) -> When:
    if keys.get("lockout"):
        return When.CLOSED
    return When.BEFORE_OPENING if any(map(recurrence.is_daily, every)) else When.RUNNING


def _selected(on: Mapping[str, Any], machines: Mapping[str, Machine]) -> tuple[Place, ...]:
    named, left_out = (set(map(Place.parse, on.get(key, ()))) for key in ("ids", "except"))
    kinds, points = (as_list(on.get(key)) for key in ("machines", "points"))

    def is_meant(machine: Machine, place: Place) -> bool:
        if "ids" in on:
            return place in named
        if (kinds and machine.kind not in kinds) or (on.get("energy") and not machine.energy):
            return False
        return machine.points[place.point].kind in points if place.point else not points

    return tuple(
        place
        for machine in machines.values()
        for place in (Place(machine.ident), *(Place(machine.ident, p) for p in machine.points))
        if is_meant(machine, place) and not place.is_among(left_out)
    )


def _last_done(faults: Faults, places: Collection[Place], site: Site) -> dict[Place, Remembered]:
    """By place; of two lines for one place the later holds, and one without `at` is for all."""
    found: dict[Place, Remembered] = {}
    for index, line in enumerate(faults.document.value.get("last_done", ())):
        try:
            when = remembered(line["when"])
        except ValueError:
            when = None
        if when is None or (when.first and when.first > site.record_begins):
            faults.add(
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
        found |= {place: when for place in places if not named or place.is_among(named)}
    return found


def _every(faults: Faults, every: Any, site: Site) -> tuple[tuple[recurrence.Interval, ...], str]:
    intervals: list[recurrence.Interval] = []
    meters: list[str] = []
    for pointer, item in each_at(("every",), every):
        if isinstance(item, str):
            intervals.append(recurrence.parse_interval(item))
        elif "hours" in item:
            intervals.append(recurrence.Hours(count=float(item["hours"])))
            meters.append(_hours_meter(faults, pointer, item, site))
        elif "vehicles" in item:
            intervals.append(recurrence.Vehicles(count=float(item["vehicles"])))
            of_vehicles = [one for one in site.meters.values() if one.counts == "vehicles"]
            if not of_vehicles and "meter" not in item:
                faults.add(
                    (*pointer, "vehicles"),
                    rule="which-meter",
                    message="no meter of this site counts vehicles",
                    expected="a meter in site.yaml that counts vehicles",
                    remedy="declare it under `meters`",
                )
        else:
            try:
                intervals.append(recurrence.parse_rule(item["rule"]))
            except ValueError as wrong:
                faults.add(
                    (*pointer, "rule"),
                    rule="bad-rule",
                    message=str(wrong),
                    expected="a recurrence rule of RFC 5545 that gives days",
                    remedy="write it like FREQ=MONTHLY;BYDAY=1MO",
                )
    known = sorted({meter for meter in meters if meter})
    if len(known) > 1:
        faults.add(
            ("every",),
            rule="two-hour-meters",
            message="intervals in hours count by different meters: " + ", ".join(known),
            expected="one meter of hours for a task",
            remedy="split the task in two",
        )
    a_year = recurrence.Calendar(count=1, unit=recurrence.Unit.YEAR)
    return tuple(intervals) or (a_year,), meters[0] if meters else ""


def _hours_meter(faults: Faults, pointer: Pointer, item: Mapping[str, Any], site: Site) -> str:
    of_hours = [meter.ident for meter in site.meters.values() if meter.counts == "hours"]
    if "meter" in item:
        return item["meter"] if item["meter"] in of_hours else ""
    if len(of_hours) == 1:
        return of_hours[0]
    faults.add(
        (*pointer, "hours"),
        rule="which-meter",
        message=f"{len(of_hours)} meters of this site count hours",
        expected="one meter that counts hours, or its name in `meter`",
        remedy="add `meter:` beside `hours:`, or declare a meter in site.yaml",
    )
    return ""
