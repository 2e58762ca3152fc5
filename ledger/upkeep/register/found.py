"""The setting of each drive that is in force, and whether what was found and read agrees.

The reading that a new setting asks for by itself, until one confirms it.

A setting is a prediction: so many hertz will give so many turns. It stands proven once a speed
read at it agrees with what was known before (|E_n| ≤ 1, ISO 13528).
"""

from collections.abc import Callable, Container, Mapping, Sequence
from datetime import date, timedelta
from enum import StrEnum
from functools import partial

from ledger.compute.band import Band, p_in_band
from ledger.compute.speed import Speed
from ledger.model.ledger import Ledger
from ledger.model.machines import ElectricDrive, HydraulicDrive, Machine
from ledger.model.setpoints import Change, DriveSetpoints, Standing
from ledger.model.site import Site
from ledger.model.visits import Entry, SettingSeen
from ledger.upkeep.speeds.found import SpeedResult, agreement_with, band_of, by_machine
from ledger.upkeep.speeds.ratios import DriveRatio, drive_ratio, neighbours_of
from ledger.values import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """What to expect of a setting: a speed, and the chance that it is in the band."""

    change: Change
    speed: Speed | None
    band: Band | None
    p_in_band: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What a visit says a drive stood at when it was done, in the drive's unit."""

    entry: Entry
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AsSeen:
    """The last value found or left on the drive, against what was in force that day.

    `claimed` is the change begun by then that it is instead, where one only claims an approval.
    """

    entry: Entry
    value: float
    expected: Change | None
    agrees: bool | None
    claimed: Change | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Confirmation:
    """A speed read at the setting, against what was predicted before it."""

    result: SpeedResult
    predicted: Speed | None
    e_number: float | None

    @property
    def holds(self) -> bool | None:
        """Whether |E_n| ≤ 1 (ISO 13528); None where nothing could be predicted."""
        return None if self.e_number is None else abs(self.e_number) <= 1


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterLine:
    """One drive: what is in force, what is proposed, what was found and read.

    `as_left` is None where the last visit did not move the drive. `claims` are changes whose
    approval does not count, and that nothing approved has followed.
    """

    machine: Machine
    setpoints: DriveSetpoints | None
    ratio: DriveRatio
    in_force: Outlook | None
    proposals: tuple[Outlook, ...]
    claims: tuple[Outlook, ...]
    as_found: AsSeen | None
    as_left: AsSeen | None
    confirmation: Confirmation | None


def last_day_on_record(ledger: Ledger) -> date | None:
    """The last day that the files tell of, by a visit or by an approval; None before the first.

    The day on which pages that know no clock say what is in force. It is the whole site's, not
    one drive's: a drive that nobody has looked at since is still meant to stand at what has begun.
    """
    visit = ledger.overall.last_day
    approvals = [
        change.approved_on
        for drive in ledger.setpoints.values()
        for change in drive.changes
        if change.is_approved and change.approved_on is not None
    ]
    return max((*([] if visit is None else [visit]), *approvals), default=None)


def standing_of(ledger: Ledger, machine: str, as_of: date | None = None) -> Standing:
    """What is in force of a drive on a day, by default the last on record, and what comes."""
    drive = ledger.setpoints.get(machine)
    if drive is None:
        return Standing()
    return drive.standing(last_day_on_record(ledger) if as_of is None else as_of)


def register(ledger: Ledger, results: Sequence[SpeedResult]) -> tuple[RegisterLine, ...]:
    """Every drive that can be set, in walking order; from the sources alone, on no day."""
    of_machine = by_machine(results)
    return tuple(
        register_line(ledger, machine, of_machine[machine.ident])
        for machine in ledger.machines.values()
        if machine.has_setpoint
    )


def register_line(ledger: Ledger, machine: Machine, results: Sequence[SpeedResult]) -> RegisterLine:
    own = [result for result in results if result.machine == machine.ident]
    drive = ledger.setpoints.get(machine.ident)
    ratio = drive_ratio(ledger, machine, own)
    in_force = drive.in_force if drive else None
    found = last_seen(ledger, machine, lambda seen: seen.found)
    last = last_seen(ledger, machine)
    moved = last is not None and last.entry.setting and last.entry.setting.left is not None

    def to_come(changes: Sequence[Change]) -> tuple[Outlook, ...]:
        return tuple(outlook(machine, ratio.on(one.first_day), one) for one in changes)

    return RegisterLine(
        machine=machine,
        setpoints=drive,
        ratio=ratio,
        in_force=None if in_force is None else outlook(machine, ratio, in_force),
        proposals=to_come(drive.proposals if drive else ()),
        claims=to_come(drive.pending_claims if drive else ()),
        as_found=_held_to_register(machine, drive, found, found_agrees),
        as_left=_held_to_register(machine, drive, last if moved else None, left_agrees),
        confirmation=None if in_force is None else confirmation_of(ledger, machine, own, in_force),
    )


def outlook(machine: Machine, ratio: DriveRatio, change: Change) -> Outlook:
    """What the readings say to expect of a change, at the line rate it is meant for."""
    speed = ratio.speed_at(change.value)
    band, _ = band_of(machine, change.line_rate_per_h)
    chance = p_in_band(speed.rpm, speed.u_rpm, band, speed.dof) if speed and band else None
    return Outlook(change=change, speed=speed, band=band, p_in_band=chance)


def confirmation_of(
    ledger: Ledger, machine: Machine, own: Sequence[SpeedResult], change: Change
) -> Confirmation | None:
    """The last reading at a change's setting since it took effect; None where there is none."""
    last = readings_at(machine, own, change)[-1:]
    return held_against_prediction(ledger, machine, own, last[0], change) if last else None


def readings_at(
    machine: Machine, own: Sequence[SpeedResult], change: Change
) -> tuple[SpeedResult, ...]:
    """The speeds read at a change's setting since it took effect, by time."""
    return tuple(
        result
        for result in own
        if result.speed is not None
        and result.setting is not None
        and result.entry.day >= change.first_day
        and is_same_setting(machine, result.setting, change.value)
    )


def held_against_prediction(
    ledger: Ledger,
    machine: Machine,
    own: Sequence[SpeedResult],
    result: SpeedResult,
    change: Change,
) -> Confirmation:
    """A reading at a change's setting against what was known of the ratio before it."""
    known = drive_ratio(ledger, machine, own, before=result.entry).on(result.entry.day)
    predicted = known.speed_at(change.value)
    return Confirmation(
        result=result,
        predicted=predicted,
        e_number=None if predicted is None else agreement_with(result, predicted),
    )


def is_same_setting(machine: Machine, value: float, other: float) -> bool:
    """Whether two settings are one, to half a step of the drive's display."""
    match machine.drive:
        case ElectricDrive(hz_step=step) | HydraulicDrive(flow_step_lpm=step):
            return abs(value - other) <= step / 2 + 1e-9
        case _:
            return value == other


def found_agrees(
    machine: Machine, drive: DriveSetpoints, entry: Entry, value: float
) -> tuple[Change | None, bool | None]:
    """What was in force when the drive was seen, and whether the value found is it.

    On the day a change takes effect the drive may still show the value before it.
    """
    expected = drive.on(entry.day)
    if expected is None:
        return None, None
    possible = [expected.value]
    if expected.first_day == entry.day:
        earlier = [c for c in drive.changes if c.is_approved and c.number < expected.number]
        if earlier:
            possible.append(earlier[-1].value)
    return expected, any(is_same_setting(machine, value, other) for other in possible)


def last_seen(
    ledger: Ledger,
    machine: Machine,
    told: Callable[[SettingSeen], float | None] = lambda seen: seen.stands_at,
) -> Seen | None:
    """The last setting that a visit left or found on a drive, approved or not."""
    last = None
    for entry in ledger.detailed_at(machine.ident):
        value = told(entry.setting) if entry.setting else None
        if value is not None:
            last = Seen(entry=entry, value=value)
    return last


def step_start(ledger: Ledger, machine: Machine) -> float | None:
    """What a new change of a drive is a step from: the setting in force, else what it stands at.

    None for a drive's first change, and where nothing is approved and no visit tells.
    """
    drive = ledger.setpoints.get(machine.ident)
    if drive is None or not drive.changes:
        return None
    if drive.in_force is not None:
        return drive.in_force.value
    seen = last_seen(ledger, machine)
    return None if seen is None else seen.value


def claimed_at(
    machine: Machine, drive: DriveSetpoints, entry: Entry, value: float
) -> Change | None:
    """The newest change begun by then at that value whose approval does not count."""
    begun = [
        change
        for change in drive.claims
        if change.first_day <= entry.day and is_same_setting(machine, change.value, value)
    ]
    return begun[-1] if begun else None


def left_agrees(
    machine: Machine, drive: DriveSetpoints, entry: Entry, value: float
) -> tuple[Change | None, bool | None]:
    """What was in force when a drive was left, and whether it was left at that.

    Or at what has been approved since: a setting is tried first and approved on its reading.
    """
    expected, agrees = found_agrees(machine, drive, entry, value)
    if agrees is False:
        agrees = any(
            is_same_setting(machine, value, change.value)
            for change in drive.standing(entry.day).coming
        )
    return expected, agrees


def _held_to_register(
    machine: Machine,
    drive: DriveSetpoints | None,
    seen: Seen | None,
    agree: Callable[[Machine, DriveSetpoints, Entry, float], tuple[Change | None, bool | None]],
) -> AsSeen | None:
    if seen is None:
        return None
    entry, value = seen.entry, seen.value
    expected, agrees = agree(machine, drive, entry, value) if drive else (None, None)
    claimed = claimed_at(machine, drive, entry, value) if drive and not agrees else None
    return AsSeen(entry=entry, value=value, expected=expected, agrees=agrees, claimed=claimed)


class FollowUpState(StrEnum):
    """Where the reading stands on a day."""

    CONFIRMED = "confirmed"
    WANTED = "wanted"
    OVERDUE = "overdue"
    DOES_NOT_HOLD = "does not hold"
    PAUSED = "tied back"


_RESTING = frozenset({FollowUpState.CONFIRMED, FollowUpState.PAUSED})


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
    time. `expected` is the speed to expect by what is known on the day. `beside` are shafts on the
    same oil that were not read since the change.
    """

    machine: Machine
    change: Change
    due_on: date
    proof: Proof
    state: FollowUpState
    expected: Speed | None
    overdue_days: int
    beside: tuple[Machine, ...]

    @property
    def is_open(self) -> bool:
        return self.state not in _RESTING


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


def follow_ups(
    ledger: Ledger,
    results: Sequence[SpeedResult],
    as_of: date,
    confirmed: Container[tuple[str, int]] = (),
) -> tuple[FollowUp, ...]:
    """Every drive in use with a setting in force on the day, in walking order.

    Those known to be `confirmed` are left out, by machine and the number of the setting.
    """
    known = by_machine(result for result in results if result.entry.day <= as_of)
    read = {machine: max(one.entry.day for one in own) for machine, own in known.items()}
    found = (
        follow_up(ledger, machine, known[machine.ident], read, as_of)
        for machine in ledger.machines.values()
        if (drive := ledger.setpoints.get(machine.ident)) is not None
        and (change := drive.on(as_of)) is not None
        and (machine.ident, change.number) not in confirmed
    )
    return tuple(one for one in found if one is not None)


def follow_up(
    ledger: Ledger,
    machine: Machine,
    known: Sequence[SpeedResult],
    read: Mapping[str, date],
    as_of: date,
) -> FollowUp | None:
    """That of one drive, by the speeds known of it; None where it has no setting in force.

    `read` has the last day on which the speed of each machine was read.
    """
    drive = ledger.setpoints.get(machine.ident)
    change = drive.on(as_of) if drive and machine.has_setpoint else None
    if change is None or not machine.in_use(as_of):
        return None
    due_on = reading_due_on(ledger.site, change)
    proof = proof_of(ledger, machine, known, change)
    if proof.confirmed is not None:
        state = FollowUpState.CONFIRMED
    elif machine.ident in ledger.tied_back(as_of):
        state = FollowUpState.PAUSED
    elif proof.does_not_hold:
        state = FollowUpState.DOES_NOT_HOLD
    else:
        state = FollowUpState.OVERDUE if as_of > due_on else FollowUpState.WANTED
    return FollowUp(
        machine=machine,
        change=change,
        due_on=due_on,
        proof=proof,
        state=state,
        expected=drive_ratio(ledger, machine, known, as_of=as_of).on(as_of).speed_at(change.value),
        overdue_days=(as_of - due_on).days if state not in _RESTING and as_of > due_on else 0,
        beside=tuple(
            one
            for one in neighbours_of(ledger, machine)
            if one.in_use(as_of) and read.get(one.ident, date.min) < change.first_day
        ),
    )
