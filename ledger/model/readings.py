"""The readings that a task asks for, and whether an entry holds them.

Which shaft speeds a machine can have at all.

What a catch test says of its nozzle, from the numbers of one entry.
"""

from collections.abc import Set as AbstractSet

from ledger.compute.wear import CatchTest, NozzleState, nozzle_state
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine, NozzleRating, Point
from ledger.model.tasks import Task
from ledger.model.visits import Entry, Readings

KEYS_OF_READING = {
    "speed": ("counted", "turns", "taps_s", "tachometer_rpm"),
    "turning": ("turning",),
    "catch": ("caught_ml", "caught_oz"),
    "chain": ("length_mm", "length_in"),
    "belt": ("deflection_mm", "deflection_in"),
    "strip": ("strip_length_mm", "strip_length_in"),
    "current": ("current_a",),
    "temperature": ("temperature_c", "temperature_f"),
    "pressure": ("pressure_psi", "pressure_kpa"),
    "level": ("level_percent",),
    "insulation": ("insulation_mohm",),
    "bounces": ("bounces",),
    "setting": (
        "found_hz",
        "left_hz",
        "found_flow_gpm",
        "left_flow_gpm",
        "found_flow_lpm",
        "left_flow_lpm",
    ),
}
"""For each word of a task's `reads`, the keys of an entry of which one holds it."""


def missing_readings(ledger: Ledger, task: Task, entry: Entry) -> tuple[str, ...]:
    """What the task asks for and the entry does not hold, in the task's order."""
    return missing_among(entry.raw.keys(), task, can_be_set=_can_be_set(ledger, entry))


def missing_among(keys: AbstractSet[str], task: Task, *, can_be_set: bool) -> tuple[str, ...]:
    """What the task asks for and an entry with such keys does not hold, in the task's order.

    A setting is asked for only where the drive can be set.
    """
    return tuple(
        reads
        for reads in task.reads
        if keys.isdisjoint(KEYS_OF_READING[reads]) and (reads != "setting" or can_be_set)
    )


def _can_be_set(ledger: Ledger, entry: Entry) -> bool:
    return any(ledger.machines[place.machine].has_setpoint for place in entry.places)


_LOW_RPM, _HIGH_RPM = 5.0, 400.0

_WITH_CLOTH = frozenset("curtain wrap side-brush low-brush top-brush buffer tyre-dresser".split())


def plausible_rpm(machine: Machine) -> tuple[float, float] | None:
    """Least and greatest speed of the machine's shaft in r/min; None where nothing is known.

    Speeds of machines with cloth or foam lie well inside; common practice, no source.
    """
    return (_LOW_RPM, _HIGH_RPM) if machine.kind in _WITH_CLOTH else None


# A gauge is read to a hundredth of what it shows. Common practice, no source.
_GAUGE_U_SHARE = 0.01


def catch_state(readings: Readings, point: Point | None) -> NozzleState | None:
    """The nozzle's state; None without a catch, a pressure and the nozzle's rating."""
    rating = point.rating if point else None
    catch, pressure_kpa = readings.catch, readings.pressure_kpa
    if catch is None or not pressure_kpa or not isinstance(rating, NozzleRating):
        return None
    test = CatchTest(
        volume_ml=1000 * catch.volume_l,
        seconds=catch.seconds,
        pressure_kpa=pressure_kpa,
        u_pressure_kpa=_GAUGE_U_SHARE * pressure_kpa,
    )
    return nozzle_state(test, new_flow_l_min=rating.flow_lpm, rated_pressure_kpa=rating.at_kpa)
