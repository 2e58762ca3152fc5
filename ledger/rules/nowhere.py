"""What was written down and counts nowhere, or counts twice: no line is dropped in silence."""

from collections.abc import Mapping
from datetime import date, timedelta

from ledger.files.document import as_list
from ledger.files.names import SITE_FILE
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.model.readings import NO_READINGS
from ledger.model.references import Place
from ledger.model.visits import Entry, Visit
from ledger.rules.site_check import SiteCheck
from ledger.upkeep.due.found import counts_for
from ledger.upkeep.due.rounds import list_of
from ledger.values import dataclass

_LONG_BEFORE = timedelta(days=366)

_LOOKED_BACK = timedelta(days=31)

_FEW = 3
"""So many reasons are listed of one entry."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bar:
    """Why nothing counts at a place on a day: a date, the days that would do, and its key."""

    reason: str
    expected: str
    stands_in: str


def nowhere_warnings(check: SiteCheck) -> None:
    """Work on days on which it has no place, visits of another age, entries written twice."""
    ledger, first_day = check.ledger, check.ledger.site.in_service
    old = [visit for visit in ledger.visits if visit.day < first_day - _LONG_BEFORE]
    _long_before(check, old)
    too_old = {visit.ident for visit in old}
    counted = counts_for(ledger)
    there_from = {ident: _always_there_from(one) for ident, one in ledger.machines.items()}
    begin = {"": date.min} | {t.ident: t.starts or date.min for t in ledger.tasks.values()}
    plain_from: dict[int, date] = {}
    for entry in ledger.standing:
        content = entry.content
        first = plain_from.get(id(content))
        if first is None:
            there = [there_from[place.machine] for place in content.places] or [date.max]
            first = plain_from[id(content)] = max(begin[content.task], *there)
        if entry.head.day < first and entry.head.ident not in too_old:
            _placed(check, counted, entry)
    for visit in ledger.visits:
        _twice(check, visit)
    _other_places(check)


def _other_places(check: SiteCheck) -> None:
    """One warning, at the newest round of the last weeks that asked about other places."""
    ledger = check.ledger
    for entry in reversed(ledger.standing):
        if entry.day < ledger.visits[-1].day - _LOOKED_BACK:
            return
        claim = entry.claim
        if claim is None or not claim.list_digits or not ledger.tasks.keys() >= {*claim.tasks}:
            continue
        count, digits = list_of(ledger, claim.tasks, entry.day)
        # What had come by the time it was received was left out of it, behind what was left out.
        left = entry.raw.get("except", ())
        if digits != claim.list_digits and not any(
            list_of(ledger, claim.tasks, entry.day, left[n:])[1] == claim.list_digits
            for n in range(len(left))
        ):
            check.warn_of_entry(
                entry,
                "list",
                rule="round-of-other-places",
                message=f"this round asked about {claim.asked} places, and the files name "
                f"{count if count != claim.asked else 'others'} for its day",
                expected="the places that were asked about",
                remedy="give what was added its `in_service`, and what is gone its "
                "`out_of_service`, so that the round speaks for what was seen",
            )
            return


def _always_there_from(machine: Machine) -> date:
    """The day from which nothing bars work at any point of the machine."""
    places = (machine, *machine.points.values())
    if any(place.absences for place in places):
        return date.max
    return max(place.in_service for place in places)


def _long_before(check: SiteCheck, old: list[Visit]) -> None:
    """One warning for all such visits: a log that was brought in may hold years of them."""
    if not old:
        return
    first_day = check.ledger.site.in_service
    subject = "the visit lies" if len(old) == 1 else f"{len(old)} visits, to {old[-1].ident}, lie"
    check.warn(
        old[0].path,
        ("at",),
        rule="long-before-service",
        message=f"{subject} more than a year before the site came into service on {first_day}",
        expected=f"a day from {first_day}",
        remedy=f"correct the year before it is filed, or `in_service` in {SITE_FILE}",
    )


def _placed(check: SiteCheck, counted: Mapping[str, tuple[str, ...]], entry: Entry) -> None:
    places = entry.places or _left_out(check.ledger, entry)
    bars = [bar for place in places if (bar := _bar_at(check, place, entry.day))]
    if entry.task and not bars and (bar := _not_begun(check.ledger, counted, entry)):
        bars, places = [bar], (Place(""),)
    if not bars:
        if entry.task and not places and "except" in entry.raw:
            check.warn_of_entry(
                entry,
                "except",
                rule="counts-nowhere",
                message="this counts nowhere: `except` leaves out every place of the task that day",
                expected="fewer places than the task selects",
                remedy="remove `except`, or file the work as not-done with its reason",
            )
        return
    rule, message, key = "not-in-service", bars[0].reason, "at"
    if entry.task and len(bars) == len(places):
        rule, message = "counts-nowhere", _format_nowhere(entry, bars)
        key = "at" if "at" in entry.raw else "task"
    elif "at" not in entry.raw:
        return
    check.warn_of_entry(
        entry,
        key,
        rule=rule,
        message=message,
        expected=bars[0].expected,
        remedy=f"correct the day, or {bars[0].stands_in}",
    )


def _format_nowhere(entry: Entry, bars: list[_Bar]) -> str:
    reasons = list(dict.fromkeys(bar.reason for bar in bars))
    what = "this counts nowhere"
    if _has_reading(entry):
        what = "the work counts nowhere, only its reading does"
    more = f", and {len(reasons) - _FEW} more" if len(reasons) > _FEW else ""
    return f"{what}: {', '.join(reasons[:_FEW])}{more}"


def _left_out(ledger: Ledger, entry: Entry) -> tuple[Place, ...]:
    """What the task of an entry that names no place selects on other days."""
    task = ledger.tasks.get(entry.task)
    if task is None:
        return ()
    left = {*map(Place.parse, as_list(entry.raw.get("except")))}
    return tuple(place for place in task.places if not place.is_among(left))


def _bar_at(check: SiteCheck, place: Place, day: date) -> _Bar | None:
    machine, point = check.ledger.machines[place.machine], check.ledger.point(place)
    path = f"equipment/{machine.ident}.yaml"
    service = machine.service(place.point)
    absence, away = machine.absence_on(day), machine.ident
    if absence is None and point is not None:
        absence, away = point.absence_on(day), str(place)
    if day < machine.in_service:
        home = path if "in_service" in check.documents[path].value else SITE_FILE
        return _begins(f"`{machine.ident}` came into service", machine.in_service, home)
    if absence is not None:
        span = f"since {absence.first}"
        if absence.last is not None:
            span = f"from {absence.first} to {absence.last}"
        back = service.back_in_use(day)
        return _Bar(
            reason=f"`{away}` was out of service {span}",
            expected=f"a day before {absence.first}" + (f", or from {back}" if back else ""),
            stands_in=f"`out_of_service` in {path}",
        )
    if point is not None and day < point.in_service:
        return _begins(f"`{place}` came into service", point.in_service, path)
    return None


def _not_begun(ledger: Ledger, counted: Mapping[str, tuple[str, ...]], entry: Entry) -> _Bar | None:
    """Work that is done before its task starts, and before all that it covers do."""
    starts = [
        task.starts for ident in counted.get(entry.task, ()) if (task := ledger.tasks.get(ident))
    ]
    if any(first is None or first <= entry.day for first in starts):
        return None
    first, path = ledger.tasks[entry.task].starts, f"tasks/{entry.task}.yaml"
    return _begins(f"task `{entry.task}` starts", first, path, key="starts")


def _begins(what: str, first: date | None, path: str, key: str = "in_service") -> _Bar:
    return _Bar(
        reason=f"{what} only on {first}",
        expected=f"a day from {first}",
        stands_in=f"`{key}` in {path}",
    )


def _twice(check: SiteCheck, visit: Visit) -> None:
    filed = [
        entry
        for entry in visit.entries
        if entry.content.corrects is None and check.ledger.last_word(entry) is entry
    ]
    contents = [entry.content for entry in filed]
    named = [(one.task, at) for one in contents for at in one.places or (None,)]
    if len(set(named)) == len(named):
        return
    before: dict[tuple[str, Place | None], list[Entry]] = {}
    for entry in filed:
        # Two that say the same have the task in common, and a place where they name any.
        shared = [before.setdefault((entry.task, at), []) for at in entry.places or (None,)]
        same = [other for others in shared for other in others if _is_same(other, entry)]
        for others in shared:
            others.append(entry)
        if same:
            first = min(same, key=lambda other: other.ref.number)
            check.warn_of_entry(
                entry,
                rule="stands-twice",
                message=f"entry {first.ref.number} of this visit says the same",
                expected="work and readings that are written down once",
                remedy="remove one before it is filed, later with `tunnelbook correct`"
                + ("; if it was read twice, say so in a `note`" if _has_reading(entry) else ""),
            )


def _is_same(one: Entry, other: Entry) -> bool:
    """The same work at one place, or the same words; a count is taken again and again."""
    if one.raw == other.raw:
        return True
    return (
        bool(one.task)
        and (one.task, one.outcome) == (other.task, other.outcome)
        and not _has_reading(one)
        and not _has_reading(other)
        and not {*one.places}.isdisjoint(other.places)
    )


def _has_reading(entry: Entry) -> bool:
    return (entry.speed, entry.readings, entry.setting) != (None, NO_READINGS, None)
