"""A tuning session: after each count the setting to try next, and when to stop.

The pocket page holds the same rules in `pocket/assets/session.js`; `tests/vectors/session.json`
holds both to one answer, words included. Settings are in the unit that people read off the drive.
"""

import math
import shlex
from collections.abc import Sequence
from datetime import date
from enum import StrEnum

from ledger.book import words
from ledger.compute.band import Band, Verdict, verdict_of
from ledger.compute.numbers import convert, fixed, weighted_mean
from ledger.compute.speed import Speed, own_u_rpm
from ledger.model.ledger import Ledger
from ledger.model.machines import HydraulicDrive, Machine
from ledger.model.visits import Entry
from ledger.upkeep.register.found import left_agrees, standing_of
from ledger.upkeep.speeds.found import band_of, target_of
from ledger.upkeep.speeds.ratios import neighbours_of
from ledger.upkeep.speeds.words import format_beside
from ledger.upkeep.tuning.found import drive_limits, largest_step
from ledger.values import dataclass

MOST_COUNTS = 6
"""Counts after which the cause is not the setting. Common practice, no source."""

_MOST_AT_ONCE = {"Hz": 2.0, "L/min": 1.0, "gpm": 0.3}
"""The largest move between two counts. Common practice, no source."""

_PLACES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionDrive:
    """A drive as a person sets it, in `unit`.

    `low` and `high` are how far it may be moved without a new approval, inside the drive's own
    limits; `most` is the largest move between two counts.
    """

    unit: str
    step: float
    low: float
    high: float
    most: float


class AdviceKind(StrEnum):
    NEXT = "next"
    AGAIN = "again"
    STOP = "stop"
    LIMIT = "limit"
    CAUSE = "cause"
    MANY = "many"


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What to do after a count; `setting` where to count next, None where to stop."""

    kind: AdviceKind
    setting: float | None = None
    words: str


def session_drive(
    ledger: Ledger, machine: Machine, as_of: date | None = None
) -> SessionDrive | None:
    """What a session may do with a drive; None where nothing can be set."""
    limits = drive_limits(machine)
    if limits is None:
        return None
    unit = "L/min" if isinstance(machine.drive, HydraulicDrive) else "Hz"
    low, high = _allowed(ledger, machine, unit, as_of)

    def shown(value: float) -> float:
        return round(words.in_shown_unit(value, unit, ledger.site), _PLACES)

    unit_name = words.format_unit(unit, ledger.site)
    return SessionDrive(
        unit=unit_name,
        step=shown(limits.step),
        low=shown(max(low, limits.lowest)),
        high=shown(min(high, limits.highest)),
        most=_MOST_AT_ONCE[unit_name],
    )


def _allowed(
    ledger: Ledger, machine: Machine, unit: str, as_of: date | None
) -> tuple[float, float]:
    in_force = standing_of(ledger, machine.ident, as_of).change
    if in_force is None:
        return 0.0, math.inf
    most = largest_step(ledger.site.policy, unit, in_force.value)
    return in_force.value - most, in_force.value + most


def advice_after(
    drive: SessionDrive, band: Band, target_rpm: float, counts: Sequence[tuple[float, Speed]]
) -> Advice:
    """What to do after the counts so far, each a setting and a speed, the newest last.

    The speed is taken to go with the setting, by all counts; over a few hertz nothing better is
    needed. The band and its target are those of the line rate.

    Raises:
        ValueError: no count.
    """
    if not counts:
        raise ValueError("expected at least one count")
    weights = [1 / (speed.expanded() / 2) ** 2 for _, speed in counts]
    ratio = math.fsum(
        w * setting * speed.rpm for w, (setting, speed) in zip(weights, counts, strict=True)
    ) / math.fsum(w * setting**2 for w, (setting, _) in zip(weights, counts, strict=True))
    last, _ = counts[-1]
    here = _together([speed for setting, speed in counts if setting == last])
    ideal = round(math.floor(target_rpm / ratio / drive.step + 0.5) * drive.step, _PLACES)
    best = _inside(target_rpm / ratio, drive)
    apart, steps = abs(here.rpm - target_rpm), abs(best - last) / drive.step
    verdict = verdict_of(here, band)
    unit = drive.unit

    def stop(kind: AdviceKind, why: str) -> Advice:
        return Advice(kind=kind, words=f"Stop: {why}")

    if _went_against(counts):
        return stop(
            AdviceKind.CAUSE,
            "the speed did not follow the setting. Look at belt, coupling, pump or the mark, and "
            "make it a finding.",
        )
    if verdict is Verdict.IN_BAND and (steps < 1.5 or apart <= here.expanded()):
        near = (
            "no step of the drive comes nearer."
            if steps < 0.5
            else f"one more step is {fixed(ratio * drive.step, 1)} r/min, and not needed."
        )
        return stop(AdviceKind.STOP, f"in band, and {near}")
    if len(counts) >= MOST_COUNTS:
        why = f"{len(counts)} counts. Leave it, and look for the cause."
        return stop(AdviceKind.MANY, why)
    # A count that says nothing yet is no reason to move.
    if verdict is Verdict.CANNOT_TELL and (steps < 0.5 or apart <= here.expanded()):
        text = f"Time whole turns at {_value(last)} {unit}: the counts so far cannot tell."
        return Advice(kind=AdviceKind.AGAIN, setting=last, words=text)
    if steps >= 0.5:
        move = min(max(best - last, -drive.most), drive.most)
        setting = _inside(last + move, drive)
        text = f"Try {_value(setting)} {unit}: about {fixed(ratio * setting, 0)} r/min expected."
        if setting != best:
            text += f" At most {_value(drive.most)} {unit} at once."
        return Advice(kind=AdviceKind.NEXT, setting=setting, words=text)
    if ideal != best:
        return stop(
            AdviceKind.LIMIT,
            f"{_value(round(target_rpm, 1))} r/min would take {_value(ideal)} {unit}, beyond the "
            f"{_value(drive.low)} to {_value(drive.high)} that the drive or the site allows at "
            "once.",
        )
    why = "no step of the drive brings it into its band. Look for the cause."
    return stop(AdviceKind.CAUSE, why)


def _went_against(counts: Sequence[tuple[float, Speed]]) -> bool:
    """Whether the last move made the speed go the other way, by more than both counts' doubt."""
    if len(counts) < 2:
        return False
    (was, before), (now, after) = counts[-2:]
    change = after.rpm - before.rpm
    doubt = math.hypot(after.expanded(), before.expanded())
    return (now - was) * change < 0 and abs(change) > doubt


def _together(speeds: Sequence[Speed]) -> Speed:
    """Counts at one setting by one person: the shared part stays, the rest averages out."""
    if len(speeds) == 1:
        return speeds[0]
    rpm, u = weighted_mean([one.rpm for one in speeds], [own_u_rpm(one) ** 2 for one in speeds])
    shared = max(speed.u_shared_rpm for speed in speeds)
    return Speed(rpm=rpm, u_rpm=math.hypot(u, shared))


def _inside(value: float, drive: SessionDrive) -> float:
    """The nearest step of the drive that it may be set to."""
    least = math.ceil(drive.low / drive.step - 1e-6)
    most = math.floor(drive.high / drive.step + 1e-6)
    steps = max(min(math.floor(value / drive.step + 0.5), most), least)
    return round(steps * drive.step, _PLACES)


def _value(value: float) -> str:
    return f"{value:.10g}"


def practice_of(ledger: Ledger, machine: Machine) -> tuple[str, ...]:
    """What is minded while a drive is tuned; common practice, no source."""
    oil = isinstance(machine.drive, HydraulicDrive)
    return (
        "The cloth is wet, and no vehicle is in it.",
        "The oil is warm." if oil else "The panel's door stays shut: set the drive at its keypad.",
        "One drive at a time.",
        "Count again before the next vehicle.",
        *format_beside(neighbours_of(ledger, machine)),
    )


def propose_command(ledger: Ledger, entry: Entry) -> str:
    """The command that proposes what an entry left a drive at; "" where that is approved."""
    seen = entry.setting
    if seen is None or seen.left is None or not entry.places:
        return ""
    machine = ledger.machines[entry.places[0].machine]
    drive = ledger.setpoints.get(machine.ident)
    if not machine.has_setpoint or (drive and left_agrees(machine, drive, entry, seen.left)[1]):
        return ""
    option, value = "--hz", seen.left
    if seen.unit != "Hz":
        unit_name = words.format_unit(seen.unit, ledger.site)
        option = "--flow-gpm" if unit_name == "gpm" else "--flow-lpm"
        value = convert(value, "l_min", "gpm") if unit_name == "gpm" else value
    return (
        f"tunnelbook propose {machine.ident} {option} {_value(round(value, _PLACES))} "
        f"--evidence {shlex.quote(str(entry.ref.whole))} --why 'Tuned and counted.'"
    )


def aim_of(machine: Machine, line_rate_per_h: float) -> tuple[Band, float] | None:
    """The band and the speed to aim at; None where the machine states no band."""
    band, _ = band_of(machine, line_rate_per_h)
    target = target_of(machine, line_rate_per_h)
    return None if band is None or target is None else (band, target)
