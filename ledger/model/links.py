"""References from file to file: each must lead somewhere that makes sense."""

from collections.abc import Iterable, Iterator, Mapping
from collections.abc import Set as AbstractSet
from datetime import datetime

from ledger.files.document import Document, Pointer
from ledger.files.paths import Kind
from ledger.model.ledger import Ledger
from ledger.model.machines import HydraulicDrive, Machine
from ledger.model.problems import Problems
from ledger.model.references import EntryRef
from ledger.model.setpoints import Change, DriveSetpoints
from ledger.model.tasks import Task
from ledger.model.visits import Entry, Visit

_SETTING_KEYS = ("hz", "flow_gpm", "flow_lpm")

_ENTRY_REMEDY = (
    "write visit#number: the visit's file name without .yaml, a # and the entry's number"
)


def linked_corrections(visits: Iterable[Visit]) -> dict[EntryRef, Entry]:
    """The correction of each corrected entry, the first where there are two.

    Only a correction that comes after its original counts, so that a chain always ends.
    """
    found: dict[EntryRef, Entry] = {}
    corrected = {
        entry.corrects for visit in visits for entry in visit.entries if entry.corrects is not None
    }
    if not corrected:
        return found
    before: set[EntryRef] = set()
    for visit in visits:
        for entry in visit.entries:
            if entry.corrects in before:
                found.setdefault(entry.corrects, entry)
            if entry.ref in corrected:
                before.add(entry.ref)
    return found


class _FiledEntries(Mapping[EntryRef, Mapping[str, object]]):
    """The entries of documents by reference, without a reference kept for each of them."""

    def __init__(self, documents: Iterable[Document]) -> None:
        self._of_visit: dict[str, list[Mapping[str, object]]] = {
            document.ident: document.value["entries"]
            for document in documents
            if document.kind is Kind.VISIT
        }

    def __getitem__(self, ref: EntryRef) -> Mapping[str, object]:
        entries = self._of_visit[ref.visit]
        if not 0 < ref.number <= len(entries):
            raise KeyError(ref)
        return entries[ref.number - 1]

    def __iter__(self) -> Iterator[EntryRef]:
        for visit, entries in self._of_visit.items():
            for number in range(1, len(entries) + 1):
                yield EntryRef(visit, number)

    def __len__(self) -> int:
        return sum(map(len, self._of_visit.values()))


def check_links(ledger: Ledger, documents: Mapping[str, Document], problems: Problems) -> None:
    """Report every reference of the ledger's files that leads nowhere, or to the wrong kind."""
    # Taken from the documents, so that an entry left out for another fault is still known.
    entries = _FiledEntries(documents.values())
    for path in sorted(documents):
        document = documents[path]
        match document.kind:
            case Kind.MACHINE:
                _check_machine(document, ledger, problems)
            case Kind.TASK:
                _check_task(document, ledger.tasks[document.ident], ledger, problems)
            case Kind.SETPOINTS:
                drive = ledger.setpoints[document.ident]
                _check_setpoints(document, drive, ledger, entries.keys(), problems)
    for visit in ledger.visits:
        _check_visit(documents[visit.path], visit, ledger, entries, problems)


def _check_machine(document: Document, ledger: Ledger, problems: Problems) -> None:
    panel = document.value.get("panel")
    if panel is not None and panel not in ledger.site.panels:
        problems.unknown(
            document,
            ("panel",),
            what="panel",
            word=panel,
            known=ledger.site.panels,
            remedy="use a key under `panels` in site.yaml",
        )


def _check_task(document: Document, task: Task, ledger: Ledger, problems: Problems) -> None:
    for index, covered in enumerate(task.covers):
        if covered not in ledger.tasks:
            problems.unknown(
                document,
                ("covers", index),
                what="task",
                word=covered,
                known=ledger.tasks,
                remedy="use the name of a file in tasks/, without .yaml",
            )
        elif task.ident in _covered_by(covered, ledger):
            round_about = "" if covered == task.ident else f"`{covered}`, which covers "
            problems.error(
                document,
                ("covers", index),
                rule="covers-itself",
                message=f"`{task.ident}` covers {round_about}`{task.ident}`",
                expected="the larger round covers the smaller",
                remedy="take one of the two out",
            )
    for part in task.uses:
        _check_part(document, ("uses", part), part, ledger, problems, key=True)


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


def _check_setpoints(
    document: Document,
    drive: DriveSetpoints,
    ledger: Ledger,
    entries: AbstractSet[EntryRef],
    problems: Problems,
) -> None:
    machine = ledger.machines.get(drive.machine)
    if machine is None:
        problems.unknown(
            document,
            (),
            what="machine",
            word=drive.machine,
            known=ledger.machines,
            remedy="name the file after a file in equipment/",
        )
    elif not machine.has_setpoint:
        problems.error(
            document,
            (),
            rule="no-drive-limits",
            message=f"the drive of `{machine.ident}` has no limits, so it can have no setting",
            expected=f"hz_limits or flow limits in equipment/{machine.ident}.yaml",
            remedy="add the limits from the drive's and motor's manuals",
        )
    else:
        _check_units(document, drive, machine, problems)
    before: Change | None = None
    for index, change in enumerate(drive.changes):
        if change.is_approved:
            if before is not None and change.first_day < before.first_day:
                problems.error(
                    document,
                    (index, "from"),
                    rule="not-newest-last",
                    message=f"takes effect before the change above it ({before.first_day})",
                    expected="changes in the order in which they take effect",
                    remedy="add a new change at the end; leave the old ones as they are",
                )
            before = change
        for key in ("proposed_by", "approved_by"):
            person = getattr(change, key)
            if person:
                _check_person(document, (index, key), person, ledger, problems)
        for place, evidence in enumerate(change.evidence):
            check_entry(document, (index, "evidence", place), evidence, entries, problems)


def _check_units(
    document: Document, drive: DriveSetpoints, machine: Machine, problems: Problems
) -> None:
    unit = "L/min" if isinstance(machine.drive, HydraulicDrive) else "Hz"
    for index, change in enumerate(drive.changes):
        if change.unit != unit:
            written = next(key for key in _SETTING_KEYS if key in document.value[index])
            problems.error(
                document,
                (index, written),
                key=True,
                rule="wrong-unit",
                message=f"a setting in {change.unit} for a drive that is set in {unit}",
                expected="hz for a frequency drive, flow for a hydraulic one",
                remedy="see `drive` in the machine's file",
            )


def _check_visit(
    document: Document,
    visit: Visit,
    ledger: Ledger,
    entries: Mapping[EntryRef, Mapping[str, object]],
    problems: Problems,
) -> None:
    _check_person(document, ("by",), visit.by, ledger, problems)
    for index, helper in enumerate(visit.helpers):
        _check_person(document, ("with", index), helper, ledger, problems)
    _check_name(document, visit, ledger, problems)
    for meter in visit.meters:
        if meter not in ledger.site.meters:
            problems.unknown(
                document,
                ("meters", meter),
                what="meter",
                word=meter,
                known=ledger.site.meters,
                remedy="use a key under `meters` in site.yaml",
                key=True,
            )
    # Taken from the document, so that a wrong place of an entry hides none of its other words.
    for index, item in enumerate(document.value["entries"]):
        pointer: Pointer = ("entries", index)
        if "part" in item:
            _check_part(document, (*pointer, "part"), item["part"], ledger, problems)
        if "closes" in item:
            closes = EntryRef.parse(item["closes"])
            if check_entry(document, (*pointer, "closes"), closes, entries.keys(), problems):
                _check_closes(document, (*pointer, "closes"), closes, entries, problems)
        if "corrects" in item:
            corrects = EntryRef.parse(item["corrects"])
            entry = ledger.entry.get(EntryRef(visit.ident, index + 1))
            if (
                check_entry(document, (*pointer, "corrects"), corrects, entries.keys(), problems)
                and entry is not None
            ):
                _check_corrects(document, (*pointer, "corrects"), entry, ledger, problems)


def _check_name(document: Document, visit: Visit, ledger: Ledger, problems: Problems) -> None:
    local: datetime = visit.when.astimezone(ledger.site.zone)
    stem = visit.ident.partition("~")[0]
    expected = f"{local:%Y-%m-%dT%H%M}-{visit.by}"
    if stem != expected:
        problems.error(
            document,
            ("at",) if not stem.startswith(f"{local:%Y-%m-%dT%H%M}-") else ("by",),
            rule="name-differs",
            message=f"the file is named `{stem}`, but its time and person make `{expected}`",
            expected="the file named by the visit's local time and person",
            remedy="rename the file before it is filed, or correct the time or the person",
        )


def _check_closes(
    document: Document,
    pointer: Pointer,
    closes: EntryRef,
    entries: Mapping[EntryRef, Mapping[str, object]],
    problems: Problems,
) -> None:
    if "finding" not in entries[closes]:
        problems.error(
            document,
            pointer,
            rule="closes-no-finding",
            message=f"`{closes}` is not a finding",
            expected="an entry with `finding`",
            remedy="give the number of the entry that holds the finding",
        )


def _check_corrects(
    document: Document, pointer: Pointer, entry: Entry, ledger: Ledger, problems: Problems
) -> None:
    original = entry.corrects
    first = ledger.corrections.get(original) if original is not None else None
    if first is entry or original not in ledger.entry:
        return
    if first is None:
        problems.error(
            document,
            pointer,
            rule="corrects-later",
            message=f"`{original}` does not come before this entry",
            expected="an entry that was filed earlier",
            remedy="correct the earlier entry in a later visit",
        )
    else:
        problems.error(
            document,
            pointer,
            rule="corrected-twice",
            message=f"`{original}` is already corrected by `{first.ref}`",
            expected="one correction of an entry",
            remedy=f"correct `{first.ref}` instead",
        )


def _check_person(
    document: Document, pointer: Pointer, person: str, ledger: Ledger, problems: Problems
) -> None:
    if person not in ledger.site.people:
        problems.unknown(
            document,
            pointer,
            what="person",
            word=person,
            known=ledger.site.people,
            remedy="use a key under `people` in site.yaml",
        )


def _check_part(
    document: Document,
    pointer: Pointer,
    part: str,
    ledger: Ledger,
    problems: Problems,
    *,
    key: bool = False,
) -> None:
    if part not in ledger.parts:
        problems.unknown(
            document,
            pointer,
            what="part",
            word=part,
            known=ledger.parts,
            remedy="use the name of a file in parts/, without .yaml",
            key=key,
        )


def check_entry(
    document: Document,
    pointer: Pointer,
    ref: EntryRef,
    entries: AbstractSet[EntryRef],
    problems: Problems,
) -> bool:
    """Whether a reference leads to one of the entries; reported where it does not."""
    if ref in entries:
        return True
    visits = {known.visit for known in entries}
    if ref.visit in visits:
        last = max(known.number for known in entries if known.visit == ref.visit)
        problems.error(
            document,
            pointer,
            rule="unknown-entry",
            message=f"visit `{ref.visit}` has no entry {ref.number}",
            expected=f"a number from 1 to {last}",
            remedy=_ENTRY_REMEDY,
        )
        return False
    problems.unknown(
        document, pointer, what="visit", word=ref.visit, known=visits, remedy=_ENTRY_REMEDY
    )
    return False
