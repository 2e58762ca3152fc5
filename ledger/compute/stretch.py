"""Stretches of readings between the changes that re-base a chart."""

from collections.abc import Sequence
from dataclasses import dataclass

from ledger.compute.timed_reading import TimedReading

# The length of the worked example of NIST/SEMATECH 6.3.2.2; with weekly readings a quarter.
BASELINE_READINGS = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """The readings from one re-basing change to the next, by day.

    `since_day` is the day of the change, None before the first. `baseline` are the first
    readings, which freeze the limits; `watched` the rest, which are held against them.
    """

    since_day: float | None
    baseline: tuple[TimedReading, ...]
    watched: tuple[TimedReading, ...]


def stretches(
    readings: Sequence[TimedReading],
    *,
    change_days: Sequence[float],
    baseline_readings: int = BASELINE_READINGS,
) -> tuple[Stretch, ...]:
    """Part the readings at each change (a new setpoint, a recorded repair), oldest first.

    A reading on the very day of a change counts to what follows it. Stretches without a reading
    are left out, but for the last, which says since when nothing is known.

    Raises:
        ValueError: `baseline_readings` is below 1.
    """
    if baseline_readings < 1:
        raise ValueError(f"expected a baseline of 1 reading or more, not {baseline_readings!r}")
    ordered = sorted(readings, key=lambda r: (r.day, r.value, r.standard_uncertainty))
    starts: list[float | None] = [None, *sorted(set(change_days))]
    ends = [*starts[1:], None]
    found = []
    for since, until in zip(starts, ends, strict=True):
        held = tuple(
            r
            for r in ordered
            if (since is None or r.day >= since) and (until is None or r.day < until)
        )
        if held or until is None:
            found.append(
                Stretch(
                    since_day=since,
                    baseline=held[:baseline_readings],
                    watched=held[baseline_readings:],
                )
            )
    return tuple(found)
