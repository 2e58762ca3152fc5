"""Settings against limits and register, and the direction of rotation."""

import math

from ledger.files.document import Pointer
from ledger.model.machines import ElectricDrive, Machine, limits_of
from ledger.model.readings import TURNING
from ledger.model.setpoints import Change, DriveSetpoints
from ledger.model.visits import Entry
from ledger.rules.site_check import SiteCheck
from ledger.upkeep.register import found
from ledger.upkeep.speeds.found import speed_results
from ledger.upkeep.speeds.ratios import last_reset
from ledger.upkeep.tuning.found import largest_step
from ledger.upkeep.tuning.session import propose_command

_ROUNDING = 1e-9

_FLOW_ROUNDING_LPM = 0.05
"""How far a value may pass a limit that was written in gallons and proposed in litres."""


def drive_warnings(check: SiteCheck) -> None:
    """Approved and proposed settings against limits; what was found against what was approved."""
    ledger = check.ledger
    for machine in ledger.machines.values():
        _limits_of_file(check, machine)
        if machine.has_setpoint and machine.ident not in ledger.setpoints:
            check.warn(
                f"equipment/{machine.ident}.yaml",
                ("drive",),
                rule="no-setting",
                message="the drive has limits, but no file says what it is set to",
                expected=f"setpoints/{machine.ident}.yaml with the setting in force",
                remedy="write down what is on the drive, and let a second person approve it",
            )
    for drive in ledger.setpoints.values():
        machine_of = ledger.machines.get(drive.machine)
        for change in drive.changes:
            limits = _limits_broken(machine_of, change.value, change.unit)
            if limits:
                check.warn(
                    drive.path,
                    (change.number - 1,),
                    rule="beyond-drive-limits",
                    message=f"{change.value:.10g} {change.unit} lies outside the drive's limits",
                    expected=limits,
                    remedy="choose a value inside, or correct the limits by the makers' manuals",
                )
        # What can still be done otherwise: the one in force, and what is proposed.
        in_force = [] if drive.in_force is None else [drive.in_force]
        for change in (*in_force, *drive.proposals):
            _large_step(check, drive, change)
            _stale_evidence(check, drive, change)
    for entry in ledger.detailed:
        if entry.places:
            machine = ledger.machines[entry.places[0].machine]
            _as_seen(check, machine, entry)
            _left_uncounted(check, machine, entry)
            _turning(check, machine, entry)


def _large_step(check: SiteCheck, drive: DriveSetpoints, change: Change) -> None:
    earlier = [c for c in drive.changes if c.is_approved and c.number < change.number]
    if not earlier:
        return
    start = earlier[-1].value
    allowed = largest_step(check.ledger.site.policy, change.unit, start)
    if abs(change.value - start) <= allowed + _ROUNDING:
        return
    approved = change.is_approved
    check.warn(
        drive.path,
        (change.number - 1,),
        rule="step-too-large",
        message=(
            f"from {start:.4g} to {change.value:.4g} {change.unit} is more than the site allows "
            f"at once{', and was approved anyway' if approved else ''}"
        ),
        expected=f"a step of at most {allowed:.4g} {change.unit}",
        remedy=(
            "read the speed there; if the setting must be lowered, propose a smaller step"
            if approved
            else "propose less, read the speed there, then go on"
        ),
    )


def _stale_evidence(check: SiteCheck, drive: DriveSetpoints, change: Change) -> None:
    """Readings from before the mechanics changed, where that was known when it was agreed."""
    machine = check.ledger.machines.get(drive.machine)
    known_on = change.approval_day if change.is_approved else None
    reset = None if machine is None else last_reset(check.ledger, machine, as_of=known_on)
    if reset is None:
        return
    for ref in change.evidence:
        read = check.ledger.entry.get(ref)
        if read is not None and (read.when, read.ref) <= (reset.when, reset.ref):
            check.warn(
                drive.path,
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


def _limits_of_file(check: SiteCheck, machine: Machine) -> None:
    path = f"equipment/{machine.ident}.yaml"
    if isinstance(machine.drive, ElectricDrive) and (fault := machine.drive.nameplate_fault):
        check.warn(
            path,
            ("drive", "rated_rpm"),
            rule="above-synchronous-speed",
            message=fault,
            expected="a rated speed below the synchronous one",
            remedy="read speed, poles and frequency off the nameplate again",
        )
    limits = limits_of(machine)
    if limits is not None and limits[0] > limits[1]:
        _reversed(check, path, ("drive",), "drive")
    for point, keys in check.documents[path].value.get("points", {}).items():
        if keys.get("load_kn", 0) > keys.get("dynamic_load_kn", math.inf):
            check.warn(
                path,
                ("points", point, "load_kn"),
                rule="load-above-rating",
                message=(
                    f"a load of {keys['load_kn']:g} kN is above the bearing's rating of "
                    f"{keys['dynamic_load_kn']:g} kN: no life can be given"
                ),
                expected="a load below the rating",
                remedy="look up both again, and the unit",
            )
        for reading, (low, high) in keys.get("bands", {}).items():
            if low > high:
                _reversed(check, path, ("points", point, "bands", reading), "band")
    # The bands in the order of the file: the machine keeps them by line rate.
    for index, band in enumerate(check.documents[path].value.get("speed_band", ())):
        low, high = band["rpm"]
        if low > high:
            _reversed(check, path, ("speed_band", index, "rpm"), "band")
        elif not low <= band.get("target_rpm", low) <= high:
            check.warn(
                path,
                ("speed_band", index, "target_rpm"),
                rule="target-outside-band",
                message=f"a target of {band['target_rpm']:.10g} r/min lies outside its band",
                expected=f"{low:.10g} to {high:.10g} r/min",
                remedy="choose a target inside the band, or leave it out for the middle",
            )


def _reversed(check: SiteCheck, path: str, pointer: Pointer, what: str) -> None:
    check.warn(
        path,
        pointer,
        rule="limits-reversed",
        message=f"the lower limit of the {what} is above the upper",
        expected="two numbers, the lower first",
        remedy="turn them round",
    )


def _limits_broken(machine: Machine | None, value: float, unit: str) -> str:
    """The limits of a drive that a setting lies outside of; "" where it does not."""
    limits = limits_of(machine)
    near = _FLOW_ROUNDING_LPM if unit == "L/min" else 0.0
    if limits is None or min(limits) - near <= value <= max(limits) + near:
        return ""
    return f"{min(limits):.10g} to {max(limits):.10g} {unit}"


def _as_seen(check: SiteCheck, machine: Machine, entry: Entry) -> None:
    """The setting found, and the one left, against what was approved."""
    drive, seen = check.ledger.setpoints.get(machine.ident), entry.setting
    if drive is None or seen is None:
        return
    for how, value, agree in (
        ("found", seen.found, found.found_agrees),
        ("left", seen.left, found.left_agrees),
    ):
        if value is None:
            continue
        expected, agrees = agree(machine, drive, entry, value)
        limits = _limits_broken(machine, value, seen.unit)
        if expected is None and limits:
            check.warn_of_entry(
                entry,
                rule="beyond-drive-limits",
                message=f"{how} at {value:.10g} {seen.unit}, outside the drive's limits",
                expected=limits,
                remedy="look at the reading again, or correct the limits by the makers' manuals",
            )
        if expected is None or agrees is not False:
            continue
        claimed = found.claimed_at(machine, drive, entry, value)
        only_claimed = (
            f" (change {claimed.number} only claims an approval)" if claimed is not None else ""
        )
        last = found.last_seen(check.ledger, machine)
        if claimed is not None and last is not None and last.entry.ref != entry.ref:
            continue  # the claim is warned of by itself; how the drive stands now is enough
        check.warn_of_entry(
            entry,
            rule=f"{how}-differs",
            message=(
                f"`{machine.ident}` was {how} at {value:.4g} {seen.unit}, "
                f"but {expected.value:.4g} {expected.unit} was approved{only_claimed}"
            ),
            expected=f"the setting in force since {expected.first_day}",
            remedy="find out who changed it and why; put it back, or propose the new value"
            if how == "found"
            else f"put it back, or propose it: {propose_command(check.ledger, entry)}",
        )


def _left_uncounted(check: SiteCheck, machine: Machine, entry: Entry) -> None:
    """A drive that was moved, and at whose new setting nobody counted before going on."""
    ledger, seen = check.ledger, entry.setting
    if seen is None or seen.left is None or not ledger.site.policy.count_in_same_visit:
        return
    if seen.found is not None and found.is_same_setting(machine, seen.found, seen.left):
        return
    visit = (one for one in ledger.standing_at(machine.ident) if one.ref.visit == entry.ref.visit)
    counted = [
        result.setting
        for result in speed_results(ledger, visit)
        if result.machine == machine.ident and result.setting is not None
    ]
    if not any(found.is_same_setting(machine, at, seen.left) for at in counted):
        check.warn_of_entry(
            entry,
            rule="left-uncounted",
            message=(
                f"`{machine.ident}` was left at {seen.left:.4g} {seen.unit}, and nobody counted "
                "there before the next vehicle"
            ),
            expected="a count at the setting it was left at, in the same visit",
            remedy="count there now; file the counts as `steps`, each with its setting",
        )


def _turning(check: SiteCheck, machine: Machine, entry: Entry) -> None:
    seen = entry.readings[TURNING]
    if seen and machine.turns and seen != machine.turns:
        check.warn_of_entry(
            entry,
            "turning",
            rule="turns-wrong-way",
            message=f"`{machine.ident}` turned {seen} the travel; it should turn {machine.turns}",
            expected=machine.turns,
            remedy="stop it; an electrician swaps two phases after lockout, then look again",
        )
