"""Whole sites of any size, for benchmarks and for statistics against a known truth."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from random import Random

from sitegen import draws
from sitegen.emit import write_files

FIRST_DAY = date(2026, 1, 1)
PEOPLE = ("a-onnevale", "b-tarrowby", "c-ilmsworth", "d-pellquist")
_NOMINAL_RPM_PER_HZ = 1.8125
_TARGET_RPM = 80.0
_WANDER_RPM = 0.3
_NEW_STRIP_MM = 500.0
_RENEWED_AT_MM = 425.0
_DAYS_BETWEEN_STRIP_MEASUREMENTS = 28
_DAYS_BETWEEN_SPEEDS = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What the generated readings were drawn from, by machine, by person and by day.

    `wander_rpm` is common to all shafts: line voltage and the weather.
    """

    rpm_per_hz: Mapping[str, float]
    setting_hz: Mapping[str, float]
    strip_loss_mm_per_day: Mapping[str, float]
    biases: Mapping[str, draws.Bias]
    wander_rpm: Sequence[float]

    def rpm(self, machine: str) -> float:
        """The true shaft speed at the machine's setting, but for the wander of the day."""
        return self.rpm_per_hz[machine] * self.setting_hz[machine]

    def strip_days(self, machine: str) -> int:
        """After how many days the cloth is renewed: at a measurement, before it is worn out."""
        days = (_NEW_STRIP_MM - _RENEWED_AT_MM) / self.strip_loss_mm_per_day[machine]
        rounds = int(days // _DAYS_BETWEEN_STRIP_MEASUREMENTS)
        return rounds * _DAYS_BETWEEN_STRIP_MEASUREMENTS


def generate(
    root: Path,
    *,
    seed: int = 1,
    machines: int = 45,
    days: int = 365,
    visits_per_day: int = 10,
    schemas: str | None = None,
    noted_share: float = 0.12,
) -> Truth:
    """Write a site of electric side brushes and `days` times `visits_per_day` visits.

    The same arguments give the same bytes. A site of 10 visits a day over 365 days has 3,650
    visits, over 3,650 days 36,500. `schemas` is the folder that the editor modelines point at;
    without it the files have none. `noted_share` of the entries have a note that no other has, so
    that their lines are not those of other days. Raises ValueError where a count is not positive, or a visit
    would have no minute of the day.
    """
    if min(machines, days, visits_per_day) < 1 or visits_per_day > 72:
        raise ValueError("machines, days and 1 to 72 visits a day")
    truth = _truth(Random(f"{seed}/truth"), machines, days)
    write_files(root, dict(_programme(truth, schemas)))
    write_files(root, dict(_visits(truth, seed, days, visits_per_day, schemas, noted_share)))
    return truth


def _truth(rng: Random, machines: int, days: int) -> Truth:
    names = [f"brush-{number:03}" for number in range(1, machines + 1)]
    ratios = {name: _NOMINAL_RPM_PER_HZ * rng.uniform(0.96, 1.04) for name in names}
    return Truth(
        rpm_per_hz=ratios,
        setting_hz={name: round(2 * _TARGET_RPM / ratios[name]) / 2 for name in names},
        strip_loss_mm_per_day={name: rng.uniform(0.02, 0.05) for name in names},
        biases={person: draws.bias(rng) for person in PEOPLE},
        wander_rpm=draws.wander(rng, days, share=_WANDER_RPM, correlation=0.9),
    )


def _modeline(kind: str, depth: int, schemas: str | None) -> str:
    if schemas is None:
        return ""
    return f"# yaml-language-server: $schema={'../' * depth}{schemas}/{kind}.schema.json\n"


def _programme(truth: Truth, schemas: str | None) -> Iterator[tuple[str, str]]:
    people = "".join(
        f"  {person}: {{name: {person[0].upper()}. {person[2:].title()}, roles: [technician], "
        "qualified: [lockout]}\n"
        for person in PEOPLE
    )
    hours = "".join(
        f"  {day}: 06:00-22:00\n"
        for day in ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
    )
    yield (
        "site.yaml",
        _modeline("site", 0, schemas) + "format: 1\nname: Generated wash\ntime_zone: Etc/UTC\n"
        f"in_service: {FIRST_DAY}\nline: {{line_rate_per_h: 110}}\nhours:\n{hours}"
        "meters:\n  vehicles: {name: Vehicles washed, counts: vehicles}\n"
        f"people:\n{people}"
        "  e-varnholt: {name: E. Varnholt, roles: [lead], approves: [setpoints]}\n",
    )
    for station, name in enumerate(truth.rpm_per_hz, 1):
        yield f"equipment/{name}.yaml", _modeline("machine", 1, schemas) + _machine(name, station)
        yield (
            f"setpoints/{name}.yaml",
            _modeline("setpoints", 1, schemas)
            + f"- from: {FIRST_DAY}\n  hz: {truth.setting_hz[name]}\n  line_rate_per_h: 110\n"
            "  why: Commissioned.\n  proposed_by: a-onnevale\n  approved_by: e-varnholt\n",
        )
    for name, body in _TASKS.items():
        yield f"tasks/{name}.yaml", _modeline("task", 1, schemas) + body


def _machine(name: str, station: int) -> str:
    side = "passenger" if station % 2 else "driver"
    return (
        f"name: Side {name.replace('-', ' ')}\nkind: side-brush\nstation: {10 * station}\n"
        f"side: {side}\nturns: against\n"
        "drive: {type: electric, motor_hp: 3, poles: 4, rated_rpm: 1740, base_hz: 60, "
        "reduction: 16, hz_limits: [30, 60]}\n"
        "speed_band:\n  - {line_rate_per_h: 110, rpm: [74, 86]}\n"
        "points:\n"
        "  shaft-bearing-top: {kind: rotating-bearing, bore_mm: 50, outer_mm: 90, width_mm: 20}\n"
        "  shaft-bearing-bottom: {kind: rotating-bearing, bore_mm: 50, outer_mm: 90, "
        "width_mm: 20}\n"
        "  nozzle-1: {kind: nozzle, flow_lpm: 1.9, at_kpa: 280}\n"
        f"  cloth: {{kind: cloth, new_length_mm: {_NEW_STRIP_MM:g}, worn_length_mm: 420}}\n"
        "  gearbox: {kind: gearbox}\n"
    )


_TASKS = {
    "look-at-nozzles": "title: Look at the nozzles\non: {points: nozzle}\nevery: 1 day\n",
    "look-at-cloth": "title: Look at the cloth\non: {points: cloth}\nevery: 1 day\n",
    "look-at-gearboxes": "title: Look at the gearboxes\non: {points: gearbox}\nevery: 1 week\n"
    "window: 2 days\n",
    "grease-shaft-bearings": "title: Grease the shaft bearings\non: {points: rotating-bearing}\n"
    "every: 1 week\nwindow: 2 days\nlockout: true\n"
    "cautions:\n  - Lock out and tag the drive.\nsteps: Wipe, three strokes, wipe.\n",
    "check-brush-speed": "title: Count the speed\non: {machines: side-brush}\nevery: 1 week\n"
    "window: 2 days\nreads: [speed, setting]\n",
    "measure-strips": "title: Measure the cloth\non: {points: cloth}\nevery: 4 weeks\n"
    "window: 5 days\nlockout: true\nreads: [strip]\ncovers: [look-at-cloth]\n",
}


def _visits(
    truth: Truth,
    seed: int,
    days: int,
    visits_per_day: int,
    schemas: str | None,
    noted_share: float,
) -> Iterator[tuple[str, str]]:
    modeline = _modeline("visit", 3, schemas)
    rng = Random(f"{seed}/visits")
    notes = Random(f"{seed}/notes")
    noted = 0
    vehicles = 100_000
    minutes_apart = 16 * 60 // visits_per_day
    for number in range(days):
        day = FIRST_DAY + timedelta(days=number)
        work = list(_work_of(truth, rng, number))
        share = -(-len(work) // visits_per_day)
        for visit in range(visits_per_day):
            minute = 6 * 60 + visit * minutes_apart
            person = PEOPLE[(number + visit) % len(PEOPLE)]
            lines = [
                line if isinstance(line, str) else line(person)
                for line in work[visit * share : (visit + 1) * share]
            ]
            lines = lines or ["{task: look-at-nozzles, at: brush-001}"]
            for index, line in enumerate(lines):
                if notes.random() < noted_share:
                    noted += 1
                    lines[index] = f"{line[:-1]}, note: heard a knock {noted} times}}"
            at = f"{day}T{minute // 60:02}:{minute % 60:02}"
            meters = f"meters: {{vehicles: {vehicles}}}\n" if visit == 0 else ""
            path = f"observations/{day:%Y/%m}/{at.replace(':', '')}-{person}.yaml"
            entries = "".join(f"  - {line}\n" for line in lines)
            yield path, f"{modeline}at: {at}\nby: {person}\n{meters}entries:\n{entries}"
        vehicles += rng.randint(850, 1250)


def _work_of(truth: Truth, rng: Random, number: int) -> Iterator[str | Callable[[str], str]]:
    """Entries of one day: every machine's daily looks, and what falls on the day for some.

    A count is that of whoever makes the visit it falls to.
    """
    for order, machine in enumerate(truth.rpm_per_hz):
        yield f"{{task: look-at-nozzles, at: {machine}}}"
        yield f"{{task: look-at-cloth, at: {machine}}}"
        if (number + order) % _DAYS_BETWEEN_SPEEDS == 0:
            yield partial(_count, truth, rng, machine, number)
            yield f"{{task: grease-shaft-bearings, at: {machine}, strokes: 3}}"
            yield f"{{task: look-at-gearboxes, at: {machine}}}"
        if (number + order) % _DAYS_BETWEEN_STRIP_MEASUREMENTS == 0:
            # Measured from the day of its own round on, and renewed after so many of them.
            age = number % truth.strip_days(machine)
            if age < number and age < _DAYS_BETWEEN_STRIP_MEASUREMENTS:
                yield f"{{at: {machine}/cloth, changed: brush-set}}"
            length = _NEW_STRIP_MM - truth.strip_loss_mm_per_day[machine] * age
            length += rng.gauss(0, 2)
            yield (
                f"{{task: measure-strips, at: {machine}/cloth, strip_length_mm: {round(length)}}}"
            )


def _count(truth: Truth, rng: Random, machine: str, number: int, person: str) -> str:
    rpm = truth.rpm(machine) + truth.wander_rpm[number]
    count = draws.pass_count(rng, rpm, 30, bias=truth.biases[person])
    return (
        f"{{task: check-brush-speed, at: {machine}, counted: {count['counted']}, "
        f"seconds: 30, found_hz: {truth.setting_hz[machine]}}}"
    )
