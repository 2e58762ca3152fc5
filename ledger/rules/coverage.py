"""Tasks that select nothing, points that no task covers, readings a task asks for."""

from collections.abc import Mapping
from datetime import date

from ledger.files.document import Document
from ledger.model.ledger import Ledger
from ledger.model.problems import Problems
from ledger.model.readings import KEYS_OF_READING
from ledger.model.references import Place
from ledger.model.visits import Entry


def coverage_warnings(
    ledger: Ledger, documents: Mapping[str, Document], as_of: date, problems: Problems
) -> None:
    """Gaps between what exists and what is looked after."""
    _empty_tasks(ledger, documents, problems)
    _uncovered_points(ledger, documents, as_of, problems)
    for entry in ledger.standing:
        document = documents[ledger.path_of_visit[entry.ref.visit]]
        _missing_reading(ledger, document, entry, problems)
        _wider_correction(ledger, document, entry, problems)


def _empty_tasks(ledger: Ledger, documents: Mapping[str, Document], problems: Problems) -> None:
    for task in ledger.tasks.values():
        if not task.places:
            problems.warning(
                documents[f"tasks/{task.ident}.yaml"],
                ("on",),
                rule="selects-nothing",
                message="the task selects no machine and no point of this site",
                expected="a kind or an id that the site has",
                remedy="change `on`, or take the file out until there is something to do",
            )


def _uncovered_points(
    ledger: Ledger, documents: Mapping[str, Document], as_of: date, problems: Problems
) -> None:
    covered = {
        place
        for task in ledger.tasks.values()
        if task.ends is None or as_of <= task.ends
        for place in task.places
    }
    for machine in ledger.machines.values():
        if not machine.in_use(as_of) and machine.in_service <= as_of:
            continue
        for point in machine.points.values():
            if Place(machine.ident, point.ident) not in covered:
                problems.warning(
                    documents[f"equipment/{machine.ident}.yaml"],
                    ("points", point.ident),
                    rule="point-without-task",
                    message=f"no task covers point `{point.ident}`, a {point.kind}",
                    expected="every point looked after by a task",
                    remedy="add it to a task's `on`, or take the point out",
                )


def _missing_reading(ledger: Ledger, document: Document, entry: Entry, problems: Problems) -> None:
    task = ledger.tasks.get(entry.task)
    if task is None or not entry.did_work:
        return
    for reads in ledger.missing_readings(task, entry):
        problems.warning(
            document,
            ("entries", entry.ref.number - 1),
            rule="reading-missing",
            message=f"task `{task.ident}` asks for a reading of {reads}; without it it stays due",
            expected=f"one of {', '.join(KEYS_OF_READING[reads])}",
            remedy="add the reading in a correction, or file the work as not-done",
        )


def _wider_correction(ledger: Ledger, document: Document, entry: Entry, problems: Problems) -> None:
    """A correction stands for what it names; without a place, for all that its task selects."""
    original = None if entry.corrects is None else ledger.entry.get(entry.corrects)
    if original is None or "at" in entry.raw or "at" not in original.raw:
        return
    more = [str(place) for place in entry.places if place not in original.places]
    if more:
        problems.warning(
            document,
            ("entries", entry.ref.number - 1, "corrects"),
            rule="correction-widens",
            message=f"the correction names no place, so it stands for {', '.join(more)} as well",
            expected="the places of the entry that is corrected",
            remedy="write `at` as in the entry that it corrects, in a correction of this one",
        )
