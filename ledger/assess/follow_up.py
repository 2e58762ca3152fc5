"""The reading that a new setting asks for by itself, until one confirms it.

A setting is a prediction: so many hertz will give so many turns. It stands proven once a speed
read at it agrees with what was known before (|E_n| ≤ 1, ISO 13528).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from functools import partial

from ledger.assess.ratios import drive_ratio
from ledger.assess.register import Confirmation, held_against_prediction, readings_at
from ledger.assess.speeds import SpeedResult
from ledger.compute.speed import Speed
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.model.setpoints import Change
from ledger.model.site import Site


class FollowUpState(StrEnum):
    """Where the reading stands on a day."""

    CONFIRMED = "confirmed"
    WANTED = "wanted"
    OVERDUE = "overdue"
    DOES_NOT_HOLD = "does not hold"


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What the readings at a setting say of it.

    `confirmed` is the first that agrees with the prediction, `last` the newest of all; a reading
    with nothing to hold it against confirms nothing, but the next is held against it.
    """

    confirmed: Confirmation | None
    last: Confirmation | None

    @property
    def does_not_hold(self) -> bool:
        """Whether nothing confirmed the setting and the newest reading speaks against it."""
        return self.confirmed is None and self.last is not None and self.last.holds is False


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowUp:
    """The setting in force on a day, and the reading it asks for.

    The reading may be taken from the first day of the change on; `due_on` is the last day in
    time. `expected` is the speed to expect by what is known on the day.
    """

    machine: Machine
    change: Change
    due_on: date
    proof: Proof
    state: FollowUpState
    expected: Speed | None
    overdue_days: int

    @property
    def is_open(self) -> bool:
        return self.state is not FollowUpState.CONFIRMED


def proof_of(
    ledger: Ledger, machine: Machine, results: Sequence[SpeedResult], change: Change
) -> Proof:
    """What was read at a change's setting since it took effect; from the sources, on no day."""
    own = [result for result in results if result.machine == machine.ident]
    held = [
        partial(held_against_prediction, ledger, machine, own, result, change)
        for result in readings_at(machine, own, change)
    ]
    return Proof(
        confirmed=next((one for hold in held if (one := hold()).holds), None),
        last=held[-1]() if held else None,
    )


def reading_due_on(site: Site, change: Change) -> date:
    """The last day on which the reading that a change asks for is in time."""
    return change.first_day + timedelta(days=site.policy.follow_up_days)


def follow_ups(ledger: Ledger, results: Sequence[SpeedResult], as_of: date) -> tuple[FollowUp, ...]:
    """Every drive in use with a setting in force on the day, in walking order."""
    known = [result for result in results if result.entry.day <= as_of]
    found = []
    for machine in ledger.machines.values():
        drive = ledger.setpoints.get(machine.ident)
        change = drive.on(as_of) if drive and machine.has_setpoint else None
        if change is not None and machine.in_use(as_of):
            found.append(_follow_up(ledger, machine, known, change, as_of))
    return tuple(found)


def _follow_up(
    ledger: Ledger, machine: Machine, known: Sequence[SpeedResult], change: Change, as_of: date
) -> FollowUp:
    due_on = reading_due_on(ledger.site, change)
    proof = proof_of(ledger, machine, known, change)
    late = max(0, (as_of - due_on).days)
    if proof.confirmed is not None:
        state = FollowUpState.CONFIRMED
    elif proof.does_not_hold:
        state = FollowUpState.DOES_NOT_HOLD
    else:
        state = FollowUpState.OVERDUE if late else FollowUpState.WANTED
    return FollowUp(
        machine=machine,
        change=change,
        due_on=due_on,
        proof=proof,
        state=state,
        expected=drive_ratio(ledger, machine, known, as_of=as_of).speed_at(change.value),
        overdue_days=late if proof.confirmed is None else 0,
    )
