"""Days, times and meters that cannot be right: in no order, in no hour, ahead, twice, run back."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from typing import Any

from ledger.compute.meter import meter_faults
from ledger.compute.recurrence import Rule, rule_neighbours
from ledger.files.document import Pointer, each_at
from ledger.files.names import SITE_FILE
from ledger.model.ledger import Ledger
from ledger.model.machines import Absence, InService
from ledger.model.references import Place
from ledger.model.tasks import Task
from ledger.model.visits import Visit
from ledger.rules.site_check import SiteCheck


def time_warnings(check: SiteCheck) -> None:
    """Visits against the calendar and the meters against the visits before."""
    _in_the_future(check)
    for visit in check.ledger.visits:
        _local_time(check, visit)
        if visit.entered_at is not None and visit.entered_at < visit.when:
            check.warn(
                visit.path,
                ("entered_at",),
                rule="entered-before-done",
                message="the visit was written down before it began",
                expected="a time after `at`",
                remedy="correct one of the two times",
            )
    _meters(check)
    _filed_twice(check)


def _in_the_future(check: SiteCheck) -> None:
    """One warning for all such visits: a check as of an earlier day has every later one."""
    as_of = check.as_of
    later = [visit for visit in check.ledger.visits if visit.day > as_of]
    if not later:
        return
    first, last = later[0], later[-1]
    after = f"after the day of this check, {as_of}"
    message = f"the visit is {after}, and counts for nothing until its day comes"
    if len(later) > 1:
        message = f"{len(later)} visits are {after}, from {first.ident} to {last.ident}, "
        message += "and count for nothing until their days come"
    check.warn(
        first.path,
        ("at",),
        rule="in-the-future",
        message=message,
        expected="a time that has passed",
        remedy="correct the date before it is filed, or check with a later --as-of",
    )


def _filed_twice(check: SiteCheck) -> None:
    """Visits of one instant whose entries are alike to the word: work that would count double."""
    at_once: defaultdict[datetime, list[Visit]] = defaultdict(list)
    ledger = check.ledger
    for visit in ledger.visits:
        earlier = at_once[visit.when]
        filed = _uncorrected(ledger, visit) if earlier else []
        alike = [one for one in earlier if _uncorrected(ledger, one) == filed]
        earlier.append(visit)
        if filed and alike:
            check.warn(
                visit.path,
                ("entries",),
                rule="filed-twice",
                message=f"the same entries at the same time are in `{alike[0].ident}`",
                expected="work that is filed once",
                remedy="delete the copy before it is committed; later, strike its entries out "
                "with `tunnelbook correct`",
            )


def _uncorrected(ledger: Ledger, visit: Visit) -> list[Mapping[str, Any]]:
    return [entry.raw for entry in visit.entries if ledger.last_word(entry) is entry]


def _local_time(check: SiteCheck, visit: Visit) -> None:
    """A local time that the change to summer time skips names no moment."""
    if visit.when.utcoffset() is None:
        return
    back: datetime = visit.when.astimezone(UTC).astimezone(visit.when.tzinfo)
    if back.replace(tzinfo=None) != visit.when.replace(tzinfo=None):
        check.warn(
            visit.path,
            ("at",),
            rule="no-such-local-time",
            message="this local time is skipped by the change of the clocks",
            expected=f"a time that exists, such as {back:%Y-%m-%dT%H:%M}",
            remedy="correct the time before it is filed",
        )


def _meters(check: SiteCheck) -> None:
    ledger = check.ledger
    for meter in ledger.site.meters:
        read = [visit for visit in ledger.visits if meter in visit.meters]
        faults = meter_faults([visit.meters[meter] for visit in read])
        sound = [place for place in range(len(read)) if place not in faults.misread]
        for place in sorted(faults.misread | faults.resets):
            visit = read[place]
            number = visit.meters[meter]
            before = read[max(other for other in sound if other < place)]
            low = f"{before.meters[meter]:.10g}"
            message = f"{meter} reads {number:.10g}, "
            if place in faults.misread:
                after = read[min(other for other in sound if other > place)]
                high = f"{after.meters[meter]:.10g}"
                message += (
                    f"out of line between {low} in {before.ident} and {high} in {after.ident}"
                )
                expected = f"{low} to {high}"
                remedy = "correct it before it is filed; once it is, the book leaves it out"
            else:
                message += f"after {low} in {before.ident}: one of them is wrong"
                expected = f"{low} or more here, or {number:.10g} or less there"
                remedy = "look at the meter again; if the meter is new, say so in the visit's note"
            check.warn(
                visit.path,
                ("meters", meter),
                rule="meter-runs-back",
                message=message,
                expected=expected,
                remedy=remedy,
            )


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
    places = each_at((*above, "out_of_service"), periods)
    for index, (absence, (at, _)) in enumerate(zip(of.absences, places, strict=False)):
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
    for interval, (pointer, _) in zip(task.every, each_at(("every",), every), strict=False):
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
            (*pointer, "rule"),
            rule="never-due",
            message=f"`{interval.text}` gives no day after its start on {begins}"
            + (f" and before the task ends on {task.ends}" if task.ends else ""),
            expected="a rule that comes due",
            remedy="correct the rule (UNTIL, COUNT, days), or `starts` and `ends` of the task",
        )


def _in_service(ledger: Ledger, place: Place) -> date:
    point = ledger.point(place)
    return ledger.machines[place.machine].in_service if point is None else point.in_service
