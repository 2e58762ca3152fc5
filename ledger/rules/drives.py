"""Settings against limits and register, and the sense of turning."""

from collections.abc import Mapping
from datetime import date

from ledger.files.document import Document
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine, limits_of
from ledger.model.problems import Problems
from ledger.model.setpoints import Change, DriveSetpoints
from ledger.model.visits import Entry
from ledger.upkeep.register.found import claimed_at, found_agrees, last_seen
from ledger.upkeep.speeds.found import last_reset
from ledger.upkeep.tuning.found import largest_step

_ROUNDING = 1e-9

_FLOW_ROUNDING_LPM = 0.05
"""By so much a limit may be missed that was written in gallons and proposed in litres."""


def drive_warnings(
    ledger: Ledger, documents: Mapping[str, Document], _as_of: date, problems: Problems
) -> None:
    """Approved and proposed settings against limits; what was found against what was approved."""
    for machine in ledger.machines.values():
        _limits_of_file(machine, documents, problems)
        if machine.has_setpoint and machine.ident not in ledger.setpoints:
            problems.warning(
                documents[f"equipment/{machine.ident}.yaml"],
                ("drive",),
                rule="no-setting",
                message="the drive has limits, but no file says what it is set to",
                expected=f"setpoints/{machine.ident}.yaml with the setting in force",
                remedy="write down what is on the drive, and let a second person approve it",
            )
    for drive in ledger.setpoints.values():
        limits = limits_of(ledger.machines.get(drive.machine))
        for change in drive.changes:
            near = _FLOW_ROUNDING_LPM if change.unit == "L/min" else 0.0
            if limits is not None and not min(limits) - near <= change.value <= max(limits) + near:
                problems.warning(
                    documents[drive.path],
                    (change.number - 1,),
                    rule="beyond-drive-limits",
                    message=f"{change.value:.10g} {change.unit} lies outside the drive's limits",
                    expected=f"{min(limits):.10g} to {max(limits):.10g} {change.unit}",
                    remedy="choose a value inside, or correct the limits by the makers' manuals",
                )
        for change in _still_told(drive):
            _large_step(ledger, documents[drive.path], drive, change, problems)
            _stale_evidence(ledger, documents[drive.path], drive, change, problems)
    for entry in ledger.standing:
        document = documents[ledger.path_of_visit[entry.ref.visit]]
        if entry.places:
            _as_found(ledger, document, entry, problems)
            _turning(ledger, document, entry, problems)


def _still_told(drive: DriveSetpoints) -> tuple[Change, ...]:
    """The changes that can still be done otherwise: the one in force, and what is proposed."""
    return drive.proposals if drive.in_force is None else (drive.in_force, *drive.proposals)


def _large_step(
    ledger: Ledger, document: Document, drive: DriveSetpoints, change: Change, problems: Problems
) -> None:
    earlier = [c for c in drive.changes if c.is_approved and c.number < change.number]
    if not earlier:
        return
    start = earlier[-1].value
    allowed = largest_step(ledger.site.policy, change.unit, start)
    if abs(change.value - start) <= allowed + _ROUNDING:
        return
    approved = change.is_approved
    problems.warning(
        document,
        (change.number - 1,),
        rule="step-too-large",
        message=(
            f"from {start:.4g} to {change.value:.4g} {change.unit} is more than the site allows "
            f"at once{', and was approved all the same' if approved else ''}"
        ),
        expected=f"a step of at most {allowed:.4g} {change.unit}",
        remedy=(
            "read the speed at it; where it must come down, propose a smaller step"
            if approved
            else "propose less, read the speed there, then go on"
        ),
    )


def _stale_evidence(
    ledger: Ledger, document: Document, drive: DriveSetpoints, change: Change, problems: Problems
) -> None:
    """Readings from before the mechanics changed, where that was known when it was agreed."""
    machine = ledger.machines.get(drive.machine)
    known_on = change.approval_day if change.is_approved else None
    reset = None if machine is None else last_reset(ledger, machine, as_of=known_on)
    if reset is None:
        return
    for ref in change.evidence:
        read = ledger.entry.get(ref)
        if read is not None and (read.when, read.ref) <= (reset.when, reset.ref):
            problems.warning(
                document,
                (change.number - 1, "evidence"),
                rule="stale-evidence",
                message=(
                    f"`{ref}` is older than the change of the {reset.changed.replace('-', ' ')} "
                    f"on {reset.day} (`{reset.ref}`)"
                ),
                expected="readings of the machine as it is now",
                remedy=(
                    "read the speed at the setting in force"
                    if change.is_approved
                    else "read the speed again, and name that reading"
                ),
            )


def _limits_of_file(
    machine: Machine, documents: Mapping[str, Document], problems: Problems
) -> None:
    limits = limits_of(machine)
    if limits is not None and limits[0] > limits[1]:
        problems.warning(
            documents[f"equipment/{machine.ident}.yaml"],
            ("drive",),
            rule="limits-reversed",
            message="the lower limit of the drive is above the upper",
            expected="two numbers, the lower first",
            remedy="turn them round",
        )
    _bands_of_file(documents[f"equipment/{machine.ident}.yaml"], problems)


def _bands_of_file(document: Document, problems: Problems) -> None:
    """The bands in the order of the file: the machine keeps them by line rate."""
    for index, band in enumerate(document.value.get("speed_band", ())):
        low, high = band["rpm"]
        if low > high:
            problems.warning(
                document,
                ("speed_band", index, "rpm"),
                rule="limits-reversed",
                message="the lower limit of the band is above the upper",
                expected="two numbers, the lower first",
                remedy="turn them round",
            )
        elif not low <= band.get("target_rpm", low) <= high:
            problems.warning(
                document,
                ("speed_band", index, "target_rpm"),
                rule="target-outside-band",
                message=f"a target of {band['target_rpm']:.10g} r/min lies outside its band",
                expected=f"{low:.10g} to {high:.10g} r/min",
                remedy="choose a target inside the band, or leave it out for the middle",
            )


def _as_found(ledger: Ledger, document: Document, entry: Entry, problems: Problems) -> None:
    machine = ledger.machines[entry.places[0].machine]
    drive = ledger.setpoints.get(machine.ident)
    if drive is None or entry.setting is None or entry.setting.found is None:
        return
    expected, agrees = found_agrees(machine, drive, entry, entry.setting.found)
    if expected is not None and agrees is False:
        claimed = claimed_at(machine, drive, entry, entry.setting.found)
        last = last_seen(ledger, machine)
        if claimed is not None and last is not None and last.entry.ref != entry.ref:
            return  # the claim is warned of by itself; how the drive stands now is enough
        problems.warning(
            document,
            ("entries", entry.ref.number - 1),
            rule="found-differs",
            message=(
                f"`{machine.ident}` was found at {entry.setting.found:.4g} {entry.setting.unit}, "
                f"but {expected.value:.4g} {expected.unit} was approved"
                + (
                    f" (change {claimed.number} only claims an approval)"
                    if claimed is not None
                    else ""
                )
            ),
            expected=f"the setting in force since {expected.first_day}",
            remedy="find out who changed it and why; put it back, or propose the new value",
        )


def _turning(ledger: Ledger, document: Document, entry: Entry, problems: Problems) -> None:
    machine = ledger.machines[entry.places[0].machine]
    seen = entry.readings.turning
    if seen and machine.turns and seen != machine.turns:
        problems.warning(
            document,
            ("entries", entry.ref.number - 1, "turning"),
            rule="turns-wrong-way",
            message=f"`{machine.ident}` turned {seen} the travel; it should turn {machine.turns}",
            expected=machine.turns,
            remedy="stop it; an electrician swaps two phases after lockout, then look again",
        )
