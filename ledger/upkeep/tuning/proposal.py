"""A proposed setting: what speaks against filing it, and the change as its file will hold it."""

import math
from collections.abc import Iterator
from datetime import date
from typing import Any

from ledger.compute.numbers import GPM_PLACES, LPM_PLACES, convert, fixed, round_to_step
from ledger.filing.fields import as_written
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.model.problems import nearest
from ledger.model.readings import SETTING_ENDINGS
from ledger.model.references import EntryRef
from ledger.model.setpoints import Change, DriveSetpoints
from ledger.upkeep.register.found import is_same_setting, step_start
from ledger.upkeep.speeds.found import SpeedResult, speed_results
from ledger.upkeep.speeds.ratios import last_reset
from ledger.upkeep.tuning.found import DriveLimits, drive_limits, largest_step
from ledger.values import dataclass

_OFF_STEP = 0.01
"""Part of a step by which a value may miss it: gallons kept as litres are rounded."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """What is proposed, as told: `key` is hz, flow_gpm or flow_lpm, and `number` in its unit."""

    machine: Machine
    key: str
    number: float
    line_rate_per_h: float
    first_day: date
    why: str
    evidence: tuple[str, ...]
    by: str
    on: date

    @property
    def value(self) -> float:
        """The setting in Hz or L/min, as the ledger reckons."""
        return convert(self.number, "gpm", "l_min") if self.key == "flow_gpm" else self.number

    @property
    def unit(self) -> str:
        return "Hz" if self.key == "hz" else "L/min"

    def shown(self, value: float) -> str:
        """A setting in Hz or L/min in the unit that the proposal was told in: `44.5 Hz`."""
        in_its_unit = convert(value, "l_min", "gpm") if self.key == "flow_gpm" else value
        return f"{round(in_its_unit, 4):.10g} {SETTING_ENDINGS[self.key]}"

    def change(self) -> dict[str, Any]:
        """The change as the file holds it."""
        change: dict[str, Any] = {
            "from": self.first_day.isoformat(),
            self.key: as_written(self.number),
            "line_rate_per_h": as_written(self.line_rate_per_h),
            "why": self.why,
        }
        if self.evidence:
            change["evidence"] = list(self.evidence)
        return change | {"proposed_by": self.by, "proposed_on": self.on.isoformat()}


@dataclass(frozen=True, slots=True)
class Objection:
    """Why a proposal is not filed, and what to do."""

    message: str
    remedy: str


def evidence_of(ledger: Ledger, proposal: Proposal) -> tuple[SpeedResult, ...]:
    """The speed readings of the machine among the evidence, in the order given."""
    return tuple(
        result
        for text in proposal.evidence
        for result in _readings(ledger, proposal.machine, _ref(text))
    )


def objections(ledger: Ledger, proposal: Proposal) -> tuple[Objection, ...]:
    """Everything that keeps a proposal from being filed; empty where nothing does."""
    drive = ledger.setpoints.get(proposal.machine.ident)
    return (
        *(tuple(_check_value(proposal)) or _against_settings(ledger, proposal, drive)),
        *_check_days(proposal, drive),
        *_check_evidence(ledger, proposal, drive),
    )


def _check_value(proposal: Proposal) -> Iterator[Objection]:
    machine, limits = proposal.machine.ident, drive_limits(proposal.machine)
    if limits is None:
        yield Objection(
            f"no step of `{machine}` lies inside the drive's limits",
            f"correct the limits in equipment/{machine}.yaml first",
        )
        return
    shown, step = proposal.shown(proposal.value), _shown_step(proposal, limits)
    value, steps = proposal.value if step is None else step, proposal.value / limits.step
    if not limits.lowest - 1e-9 <= value <= limits.highest + 1e-9:
        low, high = proposal.shown(limits.lowest), proposal.shown(limits.highest)
        yield Objection(
            f"{shown} lies outside the drive's limits", f"choose a value from {low} to {high}"
        )
    elif step is None and abs(steps - round(steps)) > _OFF_STEP:
        near = [n * limits.step for n in (math.floor(steps), math.ceil(steps))]
        inside = [proposal.shown(v) for v in near if limits.lowest <= v <= limits.highest]
        yield Objection(
            f"{shown} is no step of the drive, which moves by {proposal.shown(limits.step)}",
            f"choose {' or '.join(inside)}",
        )


def _shown_step(proposal: Proposal, limits: DriveLimits) -> float | None:
    """The step that the book shows as the flow told: rounded, and perhaps in another unit."""
    step = round_to_step(proposal.value, limits.step, limits.lowest, limits.highest)
    match proposal.key:
        case "flow_gpm":
            shown = fixed(convert(step, "l_min", "gpm"), GPM_PLACES)
        case "flow_lpm":
            shown = fixed(step, LPM_PLACES)
        case _:
            return None
    return step if float(shown) == proposal.number else None


def _against_settings(
    ledger: Ledger, proposal: Proposal, drive: DriveSetpoints | None
) -> Iterator[Objection]:
    for change in drive.proposals if drive else ():
        if _is_same(proposal, change):
            yield Objection(
                f"{proposal.shown(change.value)} is proposed already, as change "
                f"{change.number} by {change.proposed_by}",
                "let a second person approve that one, or withdraw it first",
            )
    in_force = drive.in_force if drive else None
    if in_force is not None and _is_same(proposal, in_force):
        yield Objection(
            f"{proposal.shown(in_force.value)} is in force since {in_force.first_day}",
            "there is nothing to change; file the reading as a visit",
        )
    start, limits = step_start(ledger, proposal.machine), drive_limits(proposal.machine)
    if start is None or limits is None:
        return
    allowed = largest_step(ledger.site.policy, proposal.unit, start)
    step = proposal.value - start
    if abs(step) > allowed + limits.step * 1e-3:
        between = proposal.shown(_step_between(limits, start, math.copysign(allowed, step)))
        yield Objection(
            (
                f"from {proposal.shown(start)} to {proposal.shown(proposal.value)} is "
                f"more than the site allows at once ({proposal.shown(allowed)})"
            ),
            (
                f"go in two steps or more, {between} at the furthest now; read the speed there, "
                "then go on"
            ),
        )


def _step_between(limits: DriveLimits, start: float, move: float) -> float:
    """The step of the drive next to `start + move`, on its side of the start."""
    rounded = math.floor if move > 0 else math.ceil
    return rounded((start + move) / limits.step + math.copysign(1e-9, move)) * limits.step


def _is_same(proposal: Proposal, change: Change) -> bool:
    return (
        is_same_setting(proposal.machine, proposal.value, change.value)
        and proposal.line_rate_per_h == change.line_rate_per_h
    )


def _check_days(proposal: Proposal, drive: DriveSetpoints | None) -> Iterator[Objection]:
    # The first change of a drive may be what it stood at all along.
    if drive is None or not drive.changes:
        return
    in_force = drive.in_force
    if in_force is not None and proposal.first_day < in_force.first_day:
        yield Objection(
            f"it would take effect before the change in force ({in_force.first_day})",
            "give a later day with --from",
        )
    elif proposal.first_day < proposal.on:
        yield Objection(
            f"it would take effect before it is proposed ({proposal.on})",
            "give this day or a later one with --from: nobody has approved it yet",
        )


def _check_evidence(
    ledger: Ledger, proposal: Proposal, drive: DriveSetpoints | None
) -> Iterator[Objection]:
    # Only a drive's first change may be the value found on it, and needs no reading.
    if not proposal.evidence and drive is not None and drive.changes:
        yield Objection(
            "nothing supports it", "name the speed readings that do: --evidence VISIT#N"
        )
    for text in proposal.evidence:
        fault = _evidence_fault(ledger, proposal, text)
        if fault is not None:
            yield fault


def _evidence_fault(ledger: Ledger, proposal: Proposal, text: str) -> Objection | None:
    ref = _ref(text)
    entry = ledger.entry.get(ref) if ref else None
    own = _own_readings(ledger, proposal)
    hint = "read its speed first, and file it with `tunnelbook record`"
    if own:
        hint = f"its last readings are {', '.join(f'`{ref}`' for ref in own[-3:])}"
    if entry is None:
        near = nearest(text, own) or nearest(text, map(str, ledger.entry))
        return Objection(f"there is no entry `{text}`", f"did you mean `{near}`?" if near else hint)
    last = ledger.last_word(entry)
    if last.void:
        return Objection(f"`{text}` was struck out, by `{last.ref}`", "leave it out")
    if last is not entry:
        return Objection(f"`{text}` was put right by `{last.ref}`", f"name `{last.ref}` instead")
    results = _readings(ledger, proposal.machine, ref)
    if not results:
        return Objection(f"`{text}` is no speed reading of `{proposal.machine.ident}`", hint)
    if all(result.speed is None for result in results):
        return Objection(
            f"`{text}` gives no speed: {results[0].flaw}",
            "leave it out, or correct the entry first",
        )
    reset = last_reset(ledger, proposal.machine)
    read = results[0].entry
    if reset is not None and (read.when, read.ref) <= (reset.when, reset.ref):
        return Objection(
            (
                f"`{text}` is older than the change of the {reset.changed.replace('-', ' ')} on "
                f"{reset.day} (`{reset.ref}`), so it says nothing of the machine as it is now"
            ),
            "read the speed again, and name that reading",
        )
    return None


def _readings(ledger: Ledger, machine: Machine, ref: EntryRef | None) -> tuple[SpeedResult, ...]:
    """The speeds that a standing entry read at a machine; empty where it is no such reading."""
    entries = [entry for entry in ledger.standing_at(machine.ident) if entry.ref == ref]
    return tuple(one for one in speed_results(ledger, entries) if one.machine == machine.ident)


def _own_readings(ledger: Ledger, proposal: Proposal) -> list[str]:
    return [
        str(entry.ref)
        for entry in ledger.standing_at(proposal.machine.ident)
        if entry.reads_speed and entry.places[0].machine == proposal.machine.ident
    ]


def _ref(text: str) -> EntryRef | None:
    try:
        return EntryRef.parse(text)
    except ValueError:
        return None
