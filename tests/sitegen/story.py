"""The fourteen months of the example site: its rounds, and what befell it between them.

The machines, settings and calendar are read from the committed hand-written files, so that an
edit there flows into the visits when they are drawn anew.
"""

from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML
from sitegen import condition, rounds
from sitegen.diary import Diary
from sitegen.incidents import add_incidents
from sitegen.rounds import Example, open_on_or_after, stream

VEHICLES_AT_START = 412_306
CONVEYOR_HOURS_AT_START = 3_921.4
COMPRESSOR_HOURS_AT_START = 6_204.0
_VEHICLES_BY_WEEKDAY = (900, 920, 950, 1000, 1200, 1300)

_MONTHLY_MECHANICAL = (
    date(2025, 10, 14), date(2025, 11, 12), date(2025, 12, 11), date(2026, 1, 13),
    date(2026, 2, 12), date(2026, 3, 16), date(2026, 4, 15), date(2026, 5, 18),
    date(2026, 6, 16), date(2026, 7, 27), date(2026, 8, 18), date(2026, 9, 17),
    date(2026, 10, 20), date(2026, 11, 19),
)  # fmt: skip
_MONTHLY_CLOTH = (
    date(2025, 9, 16), date(2025, 10, 16), date(2025, 11, 13), date(2025, 12, 15),
    date(2026, 1, 14), date(2026, 2, 13), date(2026, 3, 16), date(2026, 4, 16),
    date(2026, 5, 19), date(2026, 6, 18), date(2026, 7, 16), date(2026, 8, 17),
    date(2026, 9, 16), date(2026, 10, 15), date(2026, 11, 16),
)  # fmt: skip
_QUARTERS = (date(2025, 12, 11), date(2026, 3, 13), date(2026, 6, 11), date(2026, 9, 11))
_ELECTRICAL = (date(2025, 12, 10), date(2026, 3, 10), date(2026, 6, 10), date(2026, 9, 9))
_STOP_CIRCUIT = (
    date(2025, 10, 8), date(2026, 1, 14), date(2026, 4, 8), date(2026, 7, 10), date(2026, 10, 14),
)  # fmt: skip
_PITS = (date(2025, 12, 16), date(2026, 3, 17), date(2026, 6, 23), date(2026, 9, 22))
_HALF_YEARS = (date(2026, 3, 12), date(2026, 9, 10))
_HOURS_BETWEEN_INTAKE_FILTERS = 500
_VEHICLES_BETWEEN_SCREENS = 30_000
_HOURS_BETWEEN_CONVEYOR_GREASE = 72


def example_visits(site: Path) -> Mapping[str, str]:
    """Text of every drawn visit of the example, by its path below the site."""
    example = _read_example(site)
    diary = Diary()
    _rounds(diary, example)
    add_incidents(diary, example)
    return diary.files()


def _days() -> Iterator[date]:
    day = condition.FIRST_DAY
    while day <= condition.LAST_DAY:
        yield day
        day += timedelta(days=1)


def _rounds(diary: Diary, example: Example) -> None:
    vehicles = VEHICLES_AT_START
    conveyor_h, compressor_h = CONVEYOR_HOURS_AT_START, COMPRESSOR_HOURS_AT_START
    greased_h, filtered_h, screened = conveyor_h, compressor_h, vehicles
    calendar = _calendar(example)
    for day in _days():
        for kind in calendar.get(day, ()):
            _one_round(diary, example, kind, day, vehicles)
        if not example.is_open(day):
            continue
        meters = {
            "vehicles": vehicles,
            "conveyor_hours": round(conveyor_h, 1),
            "compressor_hours": round(compressor_h, 1),
        }
        rounds.daily_walk(diary, day, meters)
        if conveyor_h - greased_h >= _HOURS_BETWEEN_CONVEYOR_GREASE:
            rounds.grease_conveyor(diary, day)
            greased_h = conveyor_h
        if compressor_h - filtered_h >= _HOURS_BETWEEN_INTAKE_FILTERS:
            rounds.intake_filter(diary, day)
            filtered_h = compressor_h
        if vehicles - screened >= _VEHICLES_BETWEEN_SCREENS:
            rounds.blower_screens(diary, day)
            screened = vehicles
        rng = stream("traffic", day)
        season = 1.06 if day.month in {3, 4, 5, 10} else 0.97
        washed = round(_VEHICLES_BY_WEEKDAY[day.weekday()] * season + rng.gauss(0, 45))
        vehicles += washed
        conveyor_h += washed / 104 + 0.6
        compressor_h += 6.2 + rng.uniform(-0.5, 0.5)


def _calendar(example: Example) -> Mapping[date, tuple[str, ...]]:
    """The rounds of each day, those moved and missed taken into account."""
    planned: list[tuple[str, date]] = []
    for day in _days():
        weekly = {0: "grease", 2: "speeds", 4: "belts"}.get(day.weekday())
        if weekly and example.is_open(day):
            planned.append((weekly, day))
        if day.weekday() == 4 and example.is_open(day):
            planned.append(("plant", day))
        if day.weekday() == 0 and day.day <= 7:
            planned.append(("panel filters", open_on_or_after(day, example)))
        if day.day == 1:
            planned.append(("valves", open_on_or_after(day, example)))
    for kind, days in (
        ("mechanical", _MONTHLY_MECHANICAL),
        ("cloth", _MONTHLY_CLOTH),
        ("water quarter", _QUARTERS),
        ("electrical quarter", _ELECTRICAL),
        ("stop circuit", _STOP_CIRCUIT),
        ("pits", _PITS),
        ("half year", _HALF_YEARS),
        ("shut-down", rounds.SHUT_DOWN[:1]),
    ):
        planned += [(kind, day) for day in days]
    held: dict[date, tuple[str, ...]] = {}
    for kind, day in planned:
        if (kind, day) not in rounds.MISSED:
            on = rounds.MOVED.get((kind, day), day)
            held[on] = (*held.get(on, ()), kind)
    return held


def _one_round(diary: Diary, example: Example, kind: str, day: date, vehicles: int) -> None:
    match kind:
        case "grease":
            rounds.grease_round(diary, day)
        case "speeds":
            rounds.speed_round(diary, day, example)
        case "belts":
            rounds.belts_round(diary, day)
        case "plant":
            rounds.plant_round(diary, day, vehicles)
        case "panel filters":
            rounds.panel_filters(diary, day)
        case "valves":
            rounds.valves_round(diary, day)
        case "mechanical":
            rounds.mechanical_round(diary, day, example)
        case "cloth":
            rounds.cloth_round(diary, day)
        case "water quarter":
            rounds.water_quarter(diary, day, example)
        case "electrical quarter":
            rounds.electrical_quarter(diary, day, example)
        case "stop circuit":
            rounds.stop_circuit(diary, day)
        case "pits":
            rounds.pits(diary, day)
        case "half year":
            rounds.half_year(diary, day)
        case "shut-down":
            rounds.shut_down(diary, example)
        case _:
            raise ValueError(kind)


def _read_example(root: Path) -> Example:
    reader = YAML(typ="safe", pure=True)

    def read(path: Path) -> Any:
        return reader.load(path.read_text(encoding="utf-8"))

    site = read(root / "site.yaml")
    machines = {path.stem: read(path) for path in sorted((root / "equipment").glob("*.yaml"))}
    walk = sorted(machines, key=lambda ident: (machines[ident]["station"], ident))
    settings = {
        path.stem: [change for change in read(path) if "approved_by" in change]
        for path in sorted((root / "setpoints").glob("*.yaml"))
    }
    closed: set[date] = set()
    for closure in site["closures"]:
        day = closure["from"]
        while day <= closure.get("to", closure["from"]):
            closed.add(day)
            day += timedelta(days=1)
    weekdays = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
    open_weekdays = {
        number
        for number, name in enumerate(weekdays)
        if site["hours"].get(name, "closed") != "closed"
    }

    def points(kind: str) -> Iterator[tuple[str, str, Mapping[str, Any]]]:
        for machine in walk:
            for point, facts in machines[machine].get("points", {}).items():
                if facts["kind"] == kind:
                    yield machine, f"{machine}/{point}", facts

    def setting_on(machine: str, day: date) -> float:
        change = [change for change in settings[machine] if change["from"] <= day][-1]
        return float(change["flow_gpm"] if "flow_gpm" in change else change["hz"])

    return Example(
        is_open=lambda day: day.weekday() in open_weekdays and day not in closed,
        setting_on=setting_on,
        currents={
            place: machines[machine]["drive"]["full_load_a"]
            for machine, place, _ in points("motor")
            if machines[machine]["drive"]["type"] == "electric"
        },
        nozzles={
            place: (facts["flow_gpm"], facts["at_psi"])
            for machine, place, facts in points("nozzle")
            if machine in {"soak-arch", "rinse-arch"}
        },
        dampers=tuple(place for _, place, _ in points("damper")),
    )
