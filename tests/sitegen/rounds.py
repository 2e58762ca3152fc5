"""The regular rounds of the example: every day, week, month, quarter and year."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from random import Random
from typing import Any

from sitegen import condition, draws
from sitegen.diary import Diary, DraftVisit

NEWCOMER_FROM = date(2026, 3, 2)
TACHOMETER_FROM = date(2026, 6, 1)
# The newcomer counted these for eight seconds, until shown why that proves nothing.
_SHORT_COUNTS = frozenset({"top-brush", "low-brush-d"})
_SHOWN_TO_COUNT = date(2026, 5, 1)
SHUT_DOWN = (date(2026, 2, 9), date(2026, 2, 10), date(2026, 2, 11))

# Rounds that did not take place, without a word in the record.
MISSED = frozenset(
    {
        ("walk", date(2025, 10, 31)),
        ("walk", date(2026, 1, 23)),
        ("walk", date(2026, 8, 15)),
        ("grease", date(2025, 12, 22)),
        ("plant", date(2026, 7, 10)),
        ("speeds", date(2026, 7, 8)),
        ("belts", date(2026, 9, 4)),
        ("plant", date(2026, 11, 20)),
        ("panel filters", date(2026, 6, 1)),
    }
)

# Rounds that were moved, and so came late.
MOVED: Mapping[tuple[str, date], date] = {
    ("mechanical", date(2026, 6, 16)): date(2026, 6, 29),
    ("grease", date(2026, 5, 11)): date(2026, 5, 15),
    ("grease", date(2026, 3, 9)): date(2026, 3, 10),
}

# Work that was written down as not done: round and day, task, reason.
NOT_DONE: Mapping[tuple[str, date], tuple[str, str]] = {
    ("plant", date(2025, 11, 14)): ("clean-strainers", "Queue to the street until closing."),
    ("plant", date(2026, 2, 20)): ("fill-brine-tank", "Salt not delivered."),
    ("belts", date(2026, 4, 3)): ("check-hoses", "Called to the entry, photo-eye."),
    ("mechanical", date(2026, 8, 18)): ("grease-pivot-bearings", "Gun broken, new one ordered."),
    ("walk", date(2026, 1, 27)): ("look-at-nozzles", "Frozen shut until ten, started dry."),
    ("mechanical", date(2026, 10, 20)): ("check-dampers", "Pole missing."),
}

DAILY = (
    "test-emergency-stops",
    "look-over-conveyor",
    "check-guards",
    "look-for-leaks",
    "drain-air-receiver",
    "check-photo-eyes",
    "look-at-chemical-levels",
    "look-at-nozzles",
    "look-at-cloth",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Example:
    """What the rounds need of the hand-written files.

    `setting_on` is the setting in force of a machine on a day; `currents` the full-load amperes
    of each motor point; `nozzles` flow in gpm and pressure in psi of those that are catch-tested.
    """

    is_open: Callable[[date], bool]
    setting_on: Callable[[str, date], float]
    currents: Mapping[str, float]
    nozzles: Mapping[str, tuple[float, float]]
    dampers: tuple[str, ...]


def stream(*names: Any) -> Random:
    """A stream of its own for each purpose and day, so that one change moves nothing else."""
    return Random("/".join(str(name) for name in ("quillmere", *names)))


def walker(day: date) -> str:
    """Who walks the tunnel before opening."""
    if day >= NEWCOMER_FROM and day.weekday() in {1, 5}:
        return "k-yelloway"
    return "m-osterby" if day.weekday() in {0, 2, 4} else "p-dunmarsh"


def _do(visit: DraftVisit, kind: str, day: date, task: str, **rest: Any) -> None:
    skipped, reason = NOT_DONE.get((kind, day), ("", ""))
    if task == skipped:
        visit.add(task=task, outcome="not-done", reason=reason)
    else:
        visit.add(task=task, **rest)


def daily_walk(diary: Diary, day: date, meters: Mapping[str, float]) -> None:
    if ("walk", day) in MISSED:
        return
    rng = stream("walk", day)
    minute = rng.choice((20, 25, 30, 35, 40))
    visit = diary.open(day, f"06:{minute}", walker(day), meters=dict(meters))
    for task in DAILY:
        _do(visit, "walk", day, task)
    visit.add(
        task="read-air-pressure",
        at="compressor/gauge",
        pressure_psi=draws.to_step(rng.gauss(122, 1.4), 1, 0),
    )


def grease_round(diary: Diary, day: date) -> None:
    visit = diary.open(day, "05:25", "m-osterby")
    visit.add(task="grease-shaft-bearings", strokes=3)
    if day.isocalendar().week % 2:
        visit.add(task="grease-curtain-bearings", strokes=1)
    visit.add(task="lubricate-conveyor-chain")
    visit.add(task="check-take-up")


def grease_conveyor(diary: Diary, day: date) -> None:
    visit = diary.open(day, "05:05", "m-osterby")
    visit.add(task="grease-conveyor-bearings", strokes=4)


_READS_HIGH = 1.0024


def _by_tachometer(rng: Random, rpm: float) -> dict[str, Any]:
    """The site's one tachometer: it errs alike each time, inside its 0.5 %."""
    return {
        "tachometer_rpm": round(rpm * _READS_HIGH + rng.gauss(0, 0.15), 1),
        "instrument": "tachometer-1",
    }


def _speed_reading(rng: Random, day: date, rpm: float) -> dict[str, Any]:
    chance = rng.random()
    if day >= TACHOMETER_FROM and chance < 0.25:
        return _by_tachometer(rng, rpm)
    if chance < 0.33:
        return draws.timed_turns(rng, rpm, rng.choice((20, 30, 40)))
    if chance < 0.39:
        return draws.taps(rng, rpm, 15)
    if chance < 0.43:
        return draws.video(rng, rpm, 20)
    if chance < 0.49:
        return draws.pass_count(rng, rpm, 15)
    if chance < 0.55:
        return draws.pass_count(rng, rpm, 60)
    if chance < 0.60:
        return draws.pass_count(rng, rpm, 30, passes_per_turn=2)
    return draws.pass_count(rng, rpm, 30, on_pass=chance > 0.85)


def speed_round(diary: Diary, day: date, example: Example) -> None:
    """Each brush at the setting in force; the incidents overwrite what was otherwise."""
    newcomer = day >= NEWCOMER_FROM and day.isocalendar().week % 3 == 0
    person = "k-yelloway" if newcomer else "p-dunmarsh"
    visit = diary.open(day, "10:15", person)
    for machine in condition.BRUSHES:
        rng = stream("speed", machine, day)
        setting = example.setting_on(machine, day)
        key = "found_flow_gpm" if machine == condition.HYDRAULIC else "found_hz"
        rpm = condition.speed_rpm(machine, day, setting)
        if person == "k-yelloway" and machine in _SHORT_COUNTS and day < _SHOWN_TO_COUNT:
            reading = draws.pass_count(rng, rpm, 8)
        else:
            reading = _speed_reading(rng, day, rpm)
        visit.add(task="check-brush-speed", at=machine, **reading, **{key: setting})


def belts_round(diary: Diary, day: date) -> None:
    visit = diary.open(day, "20:25", "p-dunmarsh")
    for task in (
        "check-belts",
        "look-at-gearboxes",
        "check-hoses",
        "clean-photo-eyes",
        "test-start-horn",
    ):
        _do(visit, "belts", day, task)


def plant_round(diary: Diary, day: date, vehicles: int) -> None:
    rng = stream("plant", day)
    visit = diary.open(day, "21:10", "m-osterby", meters=condition.plant_meters(day, vehicles))
    for task in ("clean-strainers", "check-pumps", "check-oil-levels", "look-at-pits"):
        _do(visit, "plant", day, task)
    water = stream("water", day)
    for tap, grains in (("raw", 14 + water.gauss(0, 0.4)), ("soft", 0)):
        visit.add(task="test-water-hardness", at=f"softener/{tap}", hardness_gpg=round(grains))
    visit.add(
        task="read-softener-run",
        at="softener/resin",
        run_gal=draws.to_step(water.uniform(3e3, 13e3), 100, 0),
    )
    visit.add(at="softener/brine-tank", brine_percent=draws.to_step(water.gauss(95, 1.5), 1, 0))
    visit.add(task="flush-eyewash")
    for tap, read in condition.membrane(day, water).items():
        visit.add(task="read-membrane-values", at=f"reverse-osmosis/{tap}", **read)
    if day.isocalendar().week % 2 == 0:
        _do(visit, "plant", day, "fill-brine-tank")
    for gauge in ("hydraulic-unit", "pump-stand-1", "pump-stand-2", "reverse-osmosis"):
        place = f"{gauge}/gauge"
        true = condition.pump_pressure_psi(place, day)
        shown = draws.to_step(rng.gauss(true, 0.006 * true), 10 if true > 200 else 1, 0)
        visit.add(task="read-pump-pressures", at=place, pressure_psi=shown)
    for drum, days_a_fill, offset in (
        ("drum-presoak", 34, 3),
        ("drum-foam", 41, 11),
        ("drum-wax", 55, 20),
        ("drum-dressing", 83, 40),
    ):
        age = (day - condition.FIRST_DAY).days + offset
        level = 100 - 88 * (age % days_a_fill) / days_a_fill
        visit.add(
            task="read-chemical-levels",
            at=f"dosing/{drum}",
            level_percent=draws.to_step(level, 5, 0),
            **({"depth_in": draws.to_step(0.36 * level, 0.25, 2)} if drum == "drum-foam" else {}),
        )


def mechanical_round(diary: Diary, day: date, example: Example) -> None:
    rng = stream("mechanical", day)
    visit = diary.open(day, "20:20", "m-osterby", with_=["p-dunmarsh"])
    _do(visit, "mechanical", day, "grease-pivot-bearings", strokes=1)
    for task in ("tighten-fasteners", "check-gearbox-levels", "check-seals", "check-lift-chain"):
        _do(visit, "mechanical", day, task)
    for task in ("prove-top-brush-rises", "time-chain-speed"):
        visit.add(task=task)
    for injector, parts in condition.dilution(day).items():
        visit.add(
            task="titrate-chemicals",
            at=f"dosing/{injector}",
            **draws.titration(stream("titration", injector, day), *parts),
        )
    visit.add(at="dosing/injector-presoak", flow_gpm=1.0, open_seconds=8.5, ph=11.4)
    if NOT_DONE.get(("mechanical", day), ("",))[0] == "check-dampers":
        _do(visit, "mechanical", day, "check-dampers")
    else:
        for damper in example.dampers:
            bounces = condition.damper_bounces(damper.partition("/")[0], day)
            seen = bounces + (rng.random() < 0.2)
            visit.add(task="check-dampers", at=damper, bounces=seen)
    visit.add(
        task="measure-conveyor-chain",
        at="conveyor/chain",
        pitches=24,
        length_in=draws.to_step(condition.conveyor_chain_in(day, 24) + rng.gauss(0, 0.03), 0.05, 2),
    )
    for machine in ("pump-stand-1", "compressor"):
        true = condition.belt_deflection_in(machine, day)
        visit.add(
            task="measure-belts",
            at=f"{machine}/belt",
            deflection_in=draws.to_step(true + rng.gauss(0, 0.012), 0.01, 2),
            force_lbf=4.5,
        )
    surface = condition.motor_surface_f(day) + rng.gauss(0, 1.5)
    visit.add(
        task="check-hydraulic-motor",
        at="low-brush-p/hydraulic-motor",
        temperature_f=draws.to_step(surface, 1, 0),
    )


def cloth_round(diary: Diary, day: date) -> None:
    rng = stream("cloth", day)
    visit = diary.open(day, "05:45", "p-dunmarsh")
    for machine in condition.BRUSHES:
        length = condition.strip_in(machine, day) + rng.gauss(0, 0.1)
        visit.add(
            task="measure-strips",
            at=f"{machine}/cloth",
            strip_length_in=draws.to_step(length, 0.1, 1),
        )
    visit.add(task="wash-cloth")
    for machine in condition.BRUSHES:
        visit.add(task="check-turning-sense", at=machine, turning=condition.turning(machine))


def panel_filters(diary: Diary, day: date) -> None:
    visit = diary.open(day, "13:40", "p-dunmarsh")
    visit.add(task="clean-drive-filters")
    visit.add(task="look-at-drives")


def valves_round(diary: Diary, day: date) -> None:
    visit = diary.open(day, "14:30", "m-osterby")
    for task in ("check-valves", "check-unloaders", "look-at-extinguishers"):
        visit.add(task=task)


def blower_screens(diary: Diary, day: date) -> None:
    diary.open(day, "05:10", "p-dunmarsh").add(task="clean-blower-screens")


def intake_filter(diary: Diary, day: date) -> None:
    visit = diary.open(day, "13:10", "m-osterby")
    visit.add(task="change-intake-filter")


def electrical_quarter(diary: Diary, day: date, example: Example) -> None:
    rng = stream("currents", day)
    visit = diary.open(day, "11:00", "p-dunmarsh")
    for motor, full_load in example.currents.items():
        true = condition.motor_current_a(motor.partition("/")[0], day, full_load)
        current = round(true * (1 + rng.gauss(0, 0.015)), 1)
        visit.add(task="measure-motor-currents", at=motor, current_a=current)
    visit.add(task="check-switches")


def water_quarter(diary: Diary, day: date, example: Example) -> None:
    rng = stream("catch", day)
    visit = diary.open(day, "05:30", "m-osterby")
    for nozzle, (flow, at_psi) in example.nozzles.items():
        true = flow * condition.nozzle_share(nozzle, day)
        pressure = rng.gauss(at_psi, 1.5)
        caught = draws.catch(rng, true, at_psi=at_psi, pressure_psi=pressure, seconds=20)
        visit.add(task="catch-test-nozzles", at=nozzle, **caught)
    for task in ("measure-rail-wear", "clean-dryer", "change-pump-oil"):
        visit.add(task=task)
    visit.add(task="change-ro-filters")
    for machine in ("curtain-1", "curtain-2"):
        length = 60 - 0.35 * condition.months(day) + rng.gauss(0, 0.3)
        visit.add(
            task="measure-curtain-cloth",
            at=f"{machine}/cloth",
            strip_length_in=draws.to_step(length, 0.5, 1),
        )


def stop_circuit(diary: Diary, day: date) -> None:
    diary.open(day, "05:00", "p-dunmarsh", with_=["t-varrick"]).add(task="prove-stop-circuit")


def pits(diary: Diary, day: date) -> None:
    visit = diary.open(day, "04:40", "m-osterby", with_=["t-varrick"])
    visit.add(task="clear-pits", note="Permit and air test sheet in the office, binder 26.")


def half_year(diary: Diary, day: date) -> None:
    visit = diary.open(day, "04:45", "m-osterby")
    visit.add(task="change-return-filter")
    visit.add(task="change-compressor-oil")
    if day.month == 3:
        for task in ("inspect-eyewash", "service-extinguishers", "test-backflow-preventer"):
            visit.add(task=task)
    if day.month == 9:
        visit.add(task="test-relief-valve")


def shut_down(diary: Diary, example: Example) -> None:
    """The yearly work, in the three closed days of February."""
    first, second, third = SHUT_DOWN
    visit = diary.open(first, "08:00", "m-osterby", with_=["t-varrick"])
    visit.add(task="change-gearbox-oil")
    visit.add(task="change-hydraulic-oil")
    visit = diary.open(
        second,
        "08:30",
        "p-dunmarsh",
        with_=["r-askelund"],
        permit="P-2026-003",
        returned_by="t-varrick",
    )
    for motor in example.currents:
        visit.add(
            task="test-insulation",
            at=motor,
            insulation_mohm=condition.insulation_mohm(motor.partition("/")[0]),
        )
    visit = diary.open(third, "08:30", "p-dunmarsh", with_=["t-varrick"])
    visit.add(task="copy-drive-parameters")
    visit.add(task="picture-terminals")


def open_on_or_after(day: date, example: Example) -> date:
    while not example.is_open(day):
        day += timedelta(days=1)
    return day
