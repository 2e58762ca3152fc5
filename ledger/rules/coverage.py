"""Tasks that select nothing or cite no law, points without a task, readings a task asks for."""

from ledger.model.readings import KEYS_OF_READING
from ledger.model.references import Place
from ledger.model.visits import Entry
from ledger.rules.site_check import SiteCheck


def coverage_warnings(check: SiteCheck) -> None:
    """Gaps between what exists and what is looked after."""
    _tasks(check)
    _uncovered_points(check)
    asking = {task.ident for task in check.ledger.tasks.values() if task.reads}
    for entry in check.ledger.standing:
        if entry.content.task in asking and entry.did_work:
            _missing_reading(check, entry)
    for entry in check.ledger.detailed:
        _wider_correction(check, entry)


def _tasks(check: SiteCheck) -> None:
    for task in check.ledger.tasks.values():
        path = f"tasks/{task.ident}.yaml"
        # Energies are written down one machine after the other.
        if not task.places and not task.inspects_lockout:
            check.warn(
                path,
                ("on",),
                rule="selects-nothing",
                message="the task selects no machine and no point of this site",
                expected="a kind or an id that the site has",
                remedy="change `on`, or remove the file until there is something to do",
            )
        if task.names_law and not task.is_by_law:
            check.warn(
                path,
                ("basis",),
                rule="law-without-citation",
                message=f"`basis: {task.basis}` without a citation is not counted as by law",
                expected="`cite`, `where` and `cite_read` beside it",
                remedy="read the official text and cite it, or write `basis: own`",
            )


def _uncovered_points(check: SiteCheck) -> None:
    ledger, as_of = check.ledger, check.as_of
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
            is_here = point.absence_on(as_of) is None
            if is_here and Place(machine.ident, point.ident) not in covered:
                check.warn(
                    f"equipment/{machine.ident}.yaml",
                    ("points", point.ident),
                    rule="point-without-task",
                    message=f"no task covers point `{point.ident}`, a {point.kind}",
                    expected="every point looked after by a task",
                    remedy="add it to a task's `on`, or remove the point",
                )


def _missing_reading(check: SiteCheck, entry: Entry) -> None:
    task = check.ledger.tasks[entry.task]
    for reads in check.ledger.missing_readings(task, entry):
        check.warn_of_entry(
            entry,
            rule="reading-missing",
            message=f"task `{task.ident}` asks for a reading of {reads}; without one it stays due",
            expected=f"one of {', '.join(KEYS_OF_READING[reads])}",
            remedy="add the reading in a correction, or file the work as not-done",
        )


def _wider_correction(check: SiteCheck, entry: Entry) -> None:
    """A correction stands for what it names; without a place, for all that its task selects."""
    original = None if entry.corrects is None else check.ledger.entry.get(entry.corrects)
    if original is None or "at" in entry.raw or "at" not in original.raw:
        return
    more = [str(place) for place in entry.places if place not in original.places]
    if more:
        check.warn_of_entry(
            entry,
            "corrects",
            rule="correction-widens",
            message=f"the correction names no place, so it counts for {', '.join(more)} as well",
            expected="the places of the entry that is corrected",
            remedy="write `at` as in the entry that it corrects, in a correction of this one",
        )
