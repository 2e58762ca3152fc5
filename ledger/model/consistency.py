"""What files say of each other must agree: rounds, settings, drives, visits and corrections.

Only what the model could be built of is looked at; that each reference leads somewhere is
checked by `links`.
"""

from collections.abc import Mapping

from ledger.files.document import Document
from ledger.model.ledger import Ledger
from ledger.model.machines import ElectricDrive, HydraulicDrive, Machine
from ledger.model.problems import Faults, Problems
from ledger.model.readings import NO_METER, SETTING_ENDINGS, STEPS
from ledger.model.references import EntryRef
from ledger.model.setpoints import Change, DriveSetpoints
from ledger.model.tasks import Task
from ledger.model.visits import Entry, Visit

_SETTING_KEYS = tuple(SETTING_ENDINGS)

_FLOWS = tuple(key for key in SETTING_ENDINGS if key != "hz")


def check_consistency(
    ledger: Ledger, documents: Mapping[str, Document], problems: Problems
) -> None:
    """Report what cannot be true together; `documents` by path are those the ledger is made of."""
    of = {path: problems.of(document) for path, document in documents.items()}
    for machine in ledger.machines.values():
        _check_bands(of[f"equipment/{machine.ident}.yaml"])
    for task in ledger.tasks.values():
        _check_covers(of[f"tasks/{task.ident}.yaml"], task, ledger)
    for drive in ledger.setpoints.values():
        _check_setpoints(of[drive.path], drive, ledger.machines.get(drive.machine))
    for visit in ledger.visits:
        _check_name(of[visit.path], visit, ledger)
        _check_entries(of[visit.path], ledger, documents)
        for entry in visit.entries:
            if entry.corrects is not None and entry.corrects in ledger.entry:
                _check_corrects(of[visit.path], entry.corrects, entry, ledger)
    # Of visits only what stands: a correction mends an entry, and both are kept.
    for entry in ledger.detailed:
        if (entry.setting is not None or NO_METER in entry.raw) and entry.places:
            faults = of[ledger.path_of_visit[entry.ref.visit]]
            _setting_seen(faults, ledger.machines[entry.places[0].machine], entry)


def _check_bands(faults: Faults) -> None:
    rates: set[float] = set()
    for index, band in enumerate(faults.document.value.get("speed_band", ())):
        rate = band["line_rate_per_h"]
        if rate in rates:
            faults.add(
                ("speed_band", index, "line_rate_per_h"),
                rule="band-given-twice",
                message=f"a second band for {rate:.10g} vehicles an hour",
                expected="one band for each line rate",
                remedy="remove one of them",
            )
        rates.add(rate)


def _check_covers(faults: Faults, task: Task, ledger: Ledger) -> None:
    for index, covered in enumerate(task.covers):
        if task.ident in _covered_by(covered, ledger):
            round_about = "" if covered == task.ident else f"`{covered}`, which covers "
            faults.add(
                ("covers", index),
                rule="covers-itself",
                message=f"`{task.ident}` covers {round_about}`{task.ident}`",
                expected="the larger round covers the smaller",
                remedy="remove one of the two",
            )


def _covered_by(task: str, ledger: Ledger) -> set[str]:
    """The task and everything it covers, however deep."""
    reached: set[str] = set()
    waiting = [task]
    while waiting:
        ident = waiting.pop()
        if ident in ledger.tasks and ident not in reached:
            reached.add(ident)
            waiting.extend(ledger.tasks[ident].covers)
    return reached


def _check_setpoints(faults: Faults, drive: DriveSetpoints, machine: Machine | None) -> None:
    if machine is not None and not machine.has_setpoint:
        faults.add(
            (),
            rule="no-drive-limits",
            message=f"the drive of `{machine.ident}` has no limits, so it can have no setting",
            expected=f"hz_limits or flow limits in equipment/{machine.ident}.yaml",
            remedy="add the limits from the drive's and motor's manuals",
        )
    unit = "L/min" if machine and isinstance(machine.drive, HydraulicDrive) else "Hz"
    before: Change | None = None
    for index, change in enumerate(drive.changes):
        if machine is not None and machine.has_setpoint and change.unit != unit:
            written = next(key for key in _SETTING_KEYS if key in faults.document.value[index])
            faults.add(
                (index, written),
                key=True,
                rule="wrong-unit",
                message=f"a setting in {change.unit} for a drive that is set in {unit}",
                expected="hz for a frequency drive, flow for a hydraulic one",
                remedy="see `drive` in the machine's file",
            )
        if change.taken_over and not change.may_be_taken_over:
            faults.add(
                (index, "taken_over"),
                rule="taken-over-late",
                message="only a drive's first change can be what was found on it at the beginning",
                expected="`taken_over` on the first change alone",
                remedy="remove the key, and name readings under `evidence`",
            )
        if not change.is_approved:
            continue
        if before is not None and change.first_day < before.first_day:
            faults.add(
                (index, "from"),
                rule="not-newest-last",
                message=f"takes effect before the change above it ({before.first_day})",
                expected="changes in the order in which they take effect",
                remedy="add a new change at the end; leave the old ones as they are",
            )
        before = change


def _check_entries(faults: Faults, ledger: Ledger, documents: Mapping[str, Document]) -> None:
    # Taken from the document, so that a wrong place of an entry hides none of its other words.
    for index, keys in enumerate(faults.document.value["entries"]):
        if "closes" in keys:
            closed = EntryRef.parse(keys["closes"])
            path = ledger.path_of_visit.get(closed.visit)
            entries = documents[path].value["entries"] if path else ()
            named = entries[closed.number - 1] if closed.number <= len(entries) else None
            if named is not None and named.keys().isdisjoint({"finding", "tied_back"}):
                faults.add(
                    ("entries", index, "closes"),
                    rule="closes-no-finding",
                    message=f"`{closed}` is no finding and ties nothing back",
                    expected="an entry with `finding` or `tied_back`",
                    remedy="give the number of the entry that holds it",
                )
        if "seen" in keys and len(keys["seen"]) != len(keys["drawn"]):
            faults.add(
                ("entries", index, "seen"),
                rule="seen-elsewhere",
                message=f"{len(keys['seen'])} answers for {len(keys['drawn'])} drawn places",
                expected="an answer for each place of `drawn`, in its order",
                remedy="add what is missing, or leave `seen` out",
            )


def _check_name(faults: Faults, visit: Visit, ledger: Ledger) -> None:
    local = visit.when.astimezone(ledger.site.zone)
    minute = local.replace(tzinfo=None).isoformat(timespec="minutes").replace(":", "")
    stem = visit.ident.partition("~")[0]
    expected = f"{minute}-{visit.by}"
    person = ledger.site.people.get(visit.by)
    former = [f"{minute}-{name}" for name in (person.formerly if person else ())]
    if stem != expected and stem not in former:
        faults.add(
            ("at",) if not stem.startswith(f"{minute}-") else ("by",),
            rule="name-differs",
            message=f"the file is named `{stem}`, but its time and person make `{expected}`",
            expected="the file named by the visit's local time and person",
            remedy="rename the file before it is filed, or correct the time or the person",
        )


def _check_corrects(faults: Faults, original: EntryRef, entry: Entry, ledger: Ledger) -> None:
    pointer = ("entries", entry.ref.number - 1, "corrects")
    first = ledger.corrections.get(original)
    if first is None:
        faults.add(
            pointer,
            rule="corrects-later",
            message=f"`{original}` does not come before this entry",
            expected="an entry that was filed earlier",
            remedy="correct the earlier entry in a later visit",
        )
    elif first is not entry:
        faults.add(
            pointer,
            rule="corrected-twice",
            message=f"`{original}` is already corrected by `{first.ref}`",
            expected="one correction of an entry",
            remedy=f"correct `{first.ref}` instead",
        )


def _setting_seen(faults: Faults, machine: Machine, entry: Entry) -> None:
    match machine.drive:
        case ElectricDrive():
            wrong, has = (*_FLOWS, NO_METER), "has an electric drive, set in Hz"
            right = ["hz"]
        case HydraulicDrive():
            wrong, has = ("hz",), "has a hydraulic drive, set by its oil flow"
            right = [*_FLOWS]
        case _:
            wrong, has = (*_SETTING_KEYS, NO_METER), "has no drive in its file"
            right = []
    steps = entry.raw.get(STEPS, ())
    typed = [
        *((key,) for key in entry.raw if key.startswith(("found_", "left_", NO_METER))),
        *((STEPS, number, key) for number, step in enumerate(steps) for key in step),
    ]
    for pointer in typed:
        key = str(pointer[-1])
        if key.removeprefix("found_").removeprefix("left_") in wrong:
            stem = f"{key.partition('_')[0]}_" if len(pointer) == 1 else ""
            faults.add(
                ("entries", entry.ref.number - 1, *pointer),
                key=True,
                rule="not-its-drive",
                message=f"`{machine.ident}` {has}, so `{key}` does not apply to it",
                expected=" or ".join(stem + ending for ending in right)
                or "the machine whose drive was read",
                remedy="correct the key or the place; once the visit is filed, file a correction",
            )
