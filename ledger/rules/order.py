"""Days in an order that cannot be: what ends before it begins is never due and never missed."""

from datetime import date, timedelta

from ledger.compute.recurrence import Rule, rule_neighbours
from ledger.files.document import Pointer
from ledger.files.names import SITE_FILE
from ledger.model.ledger import Ledger
from ledger.model.machines import Absence, InService
from ledger.model.references import Place
from ledger.model.tasks import Task
from ledger.rules.site_check import SiteCheck


def order_warnings(check: SiteCheck) -> None:
    """Machines, tasks, people and approvals that end before they begin; findings closed early."""
    ledger = check.ledger
    for machine in ledger.machines.values():
        path = f"equipment/{machine.ident}.yaml"
        _absences(check, path, (), machine)
        for point in machine.points.values():
            _absences(check, path, ("points", point.ident), point)
    for task in ledger.tasks.values():
        _in_order(check, f"tasks/{task.ident}.yaml", ("ends",), task.starts, task.ends)
        _never_due(check, task)
    for person in ledger.site.people.values():
        pointer = ("people", person.ident, "until")
        _in_order(check, SITE_FILE, pointer, person.first_day, person.last_day)
    for drive in ledger.setpoints.values():
        for change in drive.changes:
            at = (change.number - 1, "approved_on")
            _in_order(check, drive.path, at, change.proposed_on, change.approved_on)
    for entry in ledger.detailed:
        finding = ledger.entry.get(entry.closes) if entry.closes is not None else None
        if finding is not None and entry.when < finding.when:
            check.warn_of_entry(
                entry,
                rule="closed-before-found",
                message=f"`{finding.ref}` was found only after this visit",
                expected="a finding made before this visit",
                remedy="correct the reference, or the time of one of the visits",
            )


def _in_order(
    check: SiteCheck, path: str, pointer: Pointer, begins: date | None, ends: date | None
) -> None:
    if begins is not None and ends is not None and ends < begins:
        check.warn(
            path,
            pointer,
            rule="ends-before-start",
            message=f"it ends on {ends}, before it begins on {begins}",
            expected=f"{begins} or later",
            remedy="swap the two days, or correct the year",
        )


def _absences(check: SiteCheck, path: str, above: Pointer, of: InService) -> None:
    """Periods out of service that begin too early, end too early or lie in each other."""
    keys = check.documents[path].value
    for part in above:
        keys = keys[part]
    periods = keys.get("out_of_service")
    for index, absence in enumerate(of.absences):
        at: Pointer = (*above, "out_of_service", *([index] if isinstance(periods, list) else []))
        _in_order(check, path, at, of.in_service, absence.first)
        _in_order(check, path, (*at, "to"), absence.first, absence.last)
        before = next((a for a in of.absences[:index] if _overlap(a, absence)), None)
        if before is not None:
            check.warn(
                path,
                at,
                rule="periods-overlap",
                message=f"it is already out of service from {before.first}"
                + (f" to {before.last}" if before.last else ""),
                expected="periods out of service that follow each other",
                remedy="correct the days, or give the earlier period the `to` that it lacks",
            )


def _overlap(one: Absence, other: Absence) -> bool:
    return one.holds(other.first) or other.holds(one.first)


def _never_due(check: SiteCheck, task: Task) -> None:
    """Rules of a task that give no day from where they count, at any of its places."""
    path = f"tasks/{task.ident}.yaml"
    every = check.documents[path].value["every"]
    anchors = {task.starts or _in_service(check.ledger, place) for place in task.places}
    for index, interval in enumerate(task.every):
        if not isinstance(interval, Rule) or not anchors:
            continue
        firsts = [
            rule_neighbours(interval, anchor, anchor - timedelta(days=1))[1] for anchor in anchors
        ]
        if any(day is not None and (task.ends is None or day <= task.ends) for day in firsts):
            continue
        begins = min(anchors)
        check.warn(
            path,
            ("every", index, "rule") if isinstance(every, list) else ("every", "rule"),
            rule="never-due",
            message=f"`{interval.text}` gives no day after its start on {begins}"
            + (f" and before the task ends on {task.ends}" if task.ends else ""),
            expected="a rule that comes due",
            remedy="correct the rule (UNTIL, COUNT, days), or `starts` and `ends` of the task",
        )


def _in_service(ledger: Ledger, place: Place) -> date:
    point = ledger.point(place)
    return ledger.machines[place.machine].in_service if point is None else point.in_service
