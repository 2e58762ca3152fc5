"""What was written down and counts nowhere, or counts twice: no line is dropped in silence."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from ledger.files.document import Document, Pointer
from ledger.files.names import SITE_FILE
from ledger.model.ledger import Ledger
from ledger.model.problems import Problems
from ledger.model.references import Place
from ledger.model.visits import Entry, Readings, Visit
from ledger.upkeep.due.found import counts_for

_LONG_BEFORE = timedelta(days=366)

_NO_READINGS = Readings()

_FEW = 3
"""So many reasons are told of one entry."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bar:
    """Why nothing counts at a place on a day: a date, the days that would do, and its key."""

    said: str
    expected: str
    stands_in: str


def nowhere_warnings(
    ledger: Ledger, documents: Mapping[str, Document], _as_of: date, problems: Problems
) -> None:
    """Work on days on which it has no place, visits of another age, entries written twice."""
    first_day = ledger.site.in_service
    old = [visit for visit in ledger.visits if visit.day < first_day - _LONG_BEFORE]
    _long_before(old, first_day, documents, problems)
    too_old = {visit.ident for visit in old}
    counted = counts_for(ledger)
    for entry in ledger.standing:
        if entry.ref.visit not in too_old:
            _placed(ledger, documents, counted, entry, problems)
    for visit in ledger.visits:
        _twice(ledger, documents[visit.path], visit, problems)


def _long_before(
    old: list[Visit], first_day: date, documents: Mapping[str, Document], problems: Problems
) -> None:
    """One warning for all such visits: a log that was brought in may hold years of them."""
    if not old:
        return
    said = "the visit lies" if len(old) == 1 else f"{len(old)} visits, to {old[-1].ident}, lie"
    problems.warning(
        documents[old[0].path],
        ("at",),
        rule="long-before-service",
        message=f"{said} more than a year before the site came into service on {first_day}",
        expected=f"a day from {first_day}",
        remedy=f"correct the year before it is filed, or `in_service` in {SITE_FILE}",
    )


def _placed(
    ledger: Ledger,
    documents: Mapping[str, Document],
    counted: Mapping[str, tuple[str, ...]],
    entry: Entry,
    problems: Problems,
) -> None:
    document = documents[ledger.path_of_visit[entry.ref.visit]]
    pointer: Pointer = ("entries", entry.ref.number - 1)
    places = entry.places or _left_out(ledger, entry)
    bars = [bar for place in places if (bar := _bar_at(ledger, documents, place, entry.day))]
    if entry.task and not bars and (bar := _not_begun(ledger, counted, entry)):
        bars, places = [bar], (Place(""),)
    if entry.task and len(bars) == len(places):
        if bars:
            _counts_nowhere(document, pointer, entry, bars, problems)
        elif "except" in entry.raw:
            _leaves_nothing(document, pointer, problems)
    elif bars and "at" in entry.raw:
        problems.warning(
            document,
            (*pointer, "at"),
            rule="not-in-service",
            message=bars[0].said,
            expected=bars[0].expected,
            remedy=f"correct the day, or {bars[0].stands_in}",
        )


def _counts_nowhere(
    document: Document, pointer: Pointer, entry: Entry, bars: list[_Bar], problems: Problems
) -> None:
    told = list(dict.fromkeys(bar.said for bar in bars))
    what = "this counts nowhere"
    if _has_reading(entry):
        what = "the work counts nowhere, only its reading does"
    more = f", and {len(told) - _FEW} more" if len(told) > _FEW else ""
    problems.warning(
        document,
        (*pointer, "at" if "at" in entry.raw else "task"),
        rule="counts-nowhere",
        message=f"{what}: {', '.join(told[:_FEW])}{more}",
        expected=bars[0].expected,
        remedy=f"correct the day, or {bars[0].stands_in}",
    )


def _leaves_nothing(document: Document, pointer: Pointer, problems: Problems) -> None:
    problems.warning(
        document,
        (*pointer, "except"),
        rule="counts-nowhere",
        message="this counts nowhere: `except` leaves out every place of the task that day",
        expected="fewer places than the task selects",
        remedy="take `except` out, or file the work as not-done with its reason",
    )


def _left_out(ledger: Ledger, entry: Entry) -> tuple[Place, ...]:
    """What the task of an entry that names no place selects on other days."""
    task = ledger.tasks.get(entry.task)
    if task is None:
        return ()
    excepted = entry.raw.get("except", ())
    left = {Place.parse(text) for text in ([excepted] if isinstance(excepted, str) else excepted)}
    return tuple(
        place for place in task.places if place not in left and Place(place.machine) not in left
    )


def _bar_at(
    ledger: Ledger, documents: Mapping[str, Document], place: Place, day: date
) -> _Bar | None:
    machine, point = ledger.machines[place.machine], ledger.point(place)
    path = f"equipment/{machine.ident}.yaml"
    absence = machine.absence_on(day)
    if day < machine.in_service:
        home = path if "in_service" in documents[path].value else SITE_FILE
        return _not_yet(machine.ident, machine.in_service, home)
    if absence is not None:
        span = f"since {absence.first}"
        if absence.last is not None:
            span = f"from {absence.first} to {absence.last}"
        back = machine.back_in_use(day)
        return _Bar(
            said=f"`{machine.ident}` was out of service {span}",
            expected=f"a day before {absence.first}" + (f", or from {back}" if back else ""),
            stands_in=f"`out_of_service` in {path}",
        )
    if point is not None and day < point.in_service:
        return _not_yet(str(place), point.in_service, path)
    return None


def _not_yet(what: str, first: date, path: str) -> _Bar:
    return _Bar(
        said=f"`{what}` came into service only on {first}",
        expected=f"a day from {first}",
        stands_in=f"`in_service` in {path}",
    )


def _not_begun(ledger: Ledger, counted: Mapping[str, tuple[str, ...]], entry: Entry) -> _Bar | None:
    """Work that is done before its task starts, and before all that it covers do."""
    starts = [
        task.starts for ident in counted.get(entry.task, ()) if (task := ledger.tasks.get(ident))
    ]
    if any(first is None or first <= entry.day for first in starts):
        return None
    first = ledger.tasks[entry.task].starts
    return _Bar(
        said=f"task `{entry.task}` starts only on {first}",
        expected=f"a day from {first}",
        stands_in=f"`starts` in tasks/{entry.task}.yaml",
    )


def _twice(ledger: Ledger, document: Document, visit: Visit, problems: Problems) -> None:
    filed = [
        entry
        for entry in visit.entries
        if entry.corrects is None and ledger.last_word(entry) is entry
    ]
    before: dict[tuple[str, Place | None], list[Entry]] = {}
    for entry in filed:
        # Two that say the same have the task in common, and a place where they name any.
        shared = [before.setdefault((entry.task, at), []) for at in entry.places or (None,)]
        same = [other for others in shared for other in others if _is_same(other, entry)]
        for others in shared:
            others.append(entry)
        if same:
            first = min(same, key=lambda other: other.ref.number)
            problems.warning(
                document,
                ("entries", entry.ref.number - 1),
                rule="stands-twice",
                message=f"entry {first.ref.number} of this visit says the same",
                expected="work and readings that are written down once",
                remedy="take one out before it is filed, later with `tunnelbook correct`"
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
    return entry.speed is not None or entry.setting is not None or entry.readings != _NO_READINGS
