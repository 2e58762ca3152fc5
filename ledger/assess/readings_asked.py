"""The readings that a task asks for, and whether an entry holds them."""

from collections.abc import Set as AbstractSet

from ledger.model.ledger import Ledger
from ledger.model.tasks import Task
from ledger.model.visits import Entry

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
