"""What a branch does to the plan, and to what it is checked by itself.

Tasks loosened, cover lost, people and policy; jobs, the tool's pin and the owners of files.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from enum import StrEnum
from pathlib import PurePosixPath

from ledger.book import words
from ledger.compute.recurrence import Calendar, Hours, Interval, Rule, Unit, Vehicles
from ledger.files.document import Document
from ledger.files.names import SITE_FILE
from ledger.model.ledger import Ledger
from ledger.model.machines import ElectricDrive, Energy, InService, Machine, limits_of
from ledger.model.policy import lowered_questions
from ledger.model.references import Place
from ledger.model.site import Site
from ledger.model.tasks import Task
from ledger.proof.records import differing
from ledger.values import asdict, dataclass, replace

_JOBS_AND_TOOL = (
    ".github/",
    ".gitlab/",
    ".gitlab-ci.yml",
    ".forgejo/",
    ".gitea/",
    "tool/",
)

_OWNERS = "CODEOWNERS"

# Mean lengths in the Gregorian calendar, enough to tell which of two intervals is longer.
_DAYS = {Unit.DAY: 1.0, Unit.WEEK: 7.0, Unit.MONTH: 30.436875, Unit.YEAR: 365.2425}


class Concern(StrEnum):
    """Why a reviewer should look."""

    LOOSENED = "looser than before"
    COVER_LOST = "no longer looked after"
    REWORDED = "rewritten"
    MACHINE = "machine's file"
    INSTRUMENT = "measuring instruments"
    SITE = "rules, people and line"


@dataclass(frozen=True, slots=True)
class PlanChange:
    """One thing to look at: what it is about, in which words, and the file that says so."""

    concern: Concern
    about: str
    words: str
    path: str


def plan_changes(
    before: Ledger,
    after: Ledger,
    documents_before: Mapping[str, Document],
    documents_after: Mapping[str, Document],
) -> tuple[PlanChange, ...]:
    """What weakens the plan, and every changed value of a machine's file and of site.yaml."""
    return (
        *weaker_plan(before, after),
        *_questions(before, after),
        *_new_machines(before, after),
        *_reworded(before, after),
        *_values("instruments/", Concern.INSTRUMENT, documents_before, documents_after),
        *_values("equipment/", Concern.MACHINE, documents_before, documents_after),
        *_values(SITE_FILE, Concern.SITE, documents_before, documents_after),
    )


def weaker_plan(before: Ledger, after: Ledger) -> tuple[PlanChange, ...]:
    """What weakens the plan: tasks loosened, cover lost, less to lock, wider bands and limits."""
    before = _as_called_in(after, before)
    site = (
        PlanChange(Concern.LOOSENED, "the site", text, SITE_FILE)
        for text in _site(before.site, after.site)
    )
    return (*_tasks(before, after), *_cover(before, after), *_limits(before, after), *site)


def _as_called_in(after: Ledger, before: Ledger) -> Ledger:
    """The plan before with the names of the one after, so that a new name is no loss."""
    tasks = {old: ident for ident, one in after.tasks.items() for old in one.formerly}
    machines = {old: ident for ident, one in after.machines.items() for old in one.formerly}
    points = {
        Place(machine.ident, old): point.ident
        for machine in after.machines.values()
        for point in machine.points.values()
        for old in point.formerly
    }
    if not (tasks or machines or points):
        return before

    def place_now(place: Place) -> Place:
        moved = Place(machines.get(place.machine, place.machine), place.point)
        return Place(moved.machine, points.get(moved, moved.point))

    def machine_now(machine: Machine) -> Machine:
        ident = machines.get(machine.ident, machine.ident)
        own = {
            now: replace(point, ident=now)
            for point in machine.points.values()
            for now in [points.get(Place(ident, point.ident), point.ident)]
        }
        return replace(machine, ident=ident, points=own)

    return replace(
        before,
        tasks={
            tasks.get(ident, ident): replace(task, places=tuple(map(place_now, task.places)))
            for ident, task in before.tasks.items()
        },
        machines={now.ident: now for now in map(machine_now, before.machines.values())},
    )


def _tasks(before: Ledger, after: Ledger) -> Iterator[PlanChange]:
    # A history without a change of the plan needs none of it.
    from ledger.upkeep.due.found import is_for_safety  # noqa: PLC0415

    for ident, old in before.tasks.items():
        new = after.tasks.get(ident)
        text = ["the task is gone"] if new is None else list(_loosened(old, new, after))
        if new is not None and is_for_safety(before, old) and not is_for_safety(after, new):
            text.append(NOT_FOR_SAFETY)
        for one in text:
            yield PlanChange(Concern.LOOSENED, f"task {old.title}", one, f"tasks/{ident}.yaml")


def _loosened(old: Task, new: Task, after: Ledger) -> Iterator[str]:
    if old.every != new.every and _is_looser(old.every, new.every):
        yield f"due {words.format_interval(new.every)}, was {words.format_interval(old.every)}"
    elif _rules(old.every) != _rules(new.every):
        yield f"now {words.format_interval(new.every)}, was {words.format_interval(old.every)}"
    if new.window_days > old.window_days:
        yield f"window of {new.window_days} days, was {old.window_days}"
    if new.counts_from != old.counts_from:
        yield f"counts from {new.counts_from}, was {old.counts_from}"
    if new.ends is not None and (old.ends is None or new.ends < old.ends):
        yield f"ends on {words.format_day(new.ends)}"
    if new.starts is not None and (old.starts is None or new.starts > old.starts):
        yield f"starts on {words.format_day(new.starts)}"
    if old.lockout and not new.lockout:
        yield "no longer asks for lockout"
    if old.qualified - new.qualified:
        yield f"no longer asks for {words.in_words(sorted(old.qualified - new.qualified))}"
    for caution in old.cautions:
        if caution not in new.cautions:
            yield f"caution removed: {caution}"
    kept = set(new.places)
    lost = [place for place in old.places if place not in kept and _exists(after, place)]
    if lost:
        named = words.in_words([after.place_name(place) for place in lost])
        yield f"no longer done at {named}"
    if old.steps and not new.steps:
        yield "its steps were removed"
    for reading in old.reads:
        if reading not in new.reads:
            yield f"no longer asks for a reading of {reading}"


NOT_FOR_SAFETY = "no longer marked as safety: its places can be answered together with their pass"


def _is_looser(old: tuple[Interval, ...], new: tuple[Interval, ...]) -> bool:
    """Whether a limit was lengthened or taken away; several are whichever comes first."""
    limits = _longest(new)
    return any(limits.get(unit, float("inf")) > most for unit, most in _longest(old).items())


def _longest(every: tuple[Interval, ...]) -> dict[str, float]:
    found: dict[str, float] = {}
    for interval in every:
        match interval:
            case Calendar(count=count, unit=unit):
                name, length = "days", count * _DAYS[unit]
            case Vehicles(count=count):
                name, length = "vehicles", count
            case Hours(count=count):
                name, length = "hours", count
            case Rule():
                continue
        found[name] = min(length, found.get(name, length))
    return found


def _rules(every: tuple[Interval, ...]) -> set[str]:
    return {interval.text for interval in every if isinstance(interval, Rule)}


def _cover(before: Ledger, after: Ledger) -> Iterator[PlanChange]:
    unselected = _covered(before) - _covered(after)
    for ident, machine in before.machines.items():
        for about, text in _cover_lost(machine, after.machines.get(ident), unselected):
            yield PlanChange(Concern.COVER_LOST, about, text, f"equipment/{ident}.yaml")


def _cover_lost(
    old: Machine, new: Machine | None, unselected: set[Place]
) -> Iterator[tuple[str, str]]:
    """The machine or point that is no longer looked after, and why."""
    about = f"machine {old.name}"
    if new is None:
        yield about, "the machine's file was deleted"
        return
    if new.in_service > old.in_service:
        yield about, f"in service from {words.format_day(new.in_service)} on"
    yield from ((about, text) for text in _out_of_service(old, new))
    for point in old.points.values():
        about, now = f"{old.name}: {point.name}", new.points.get(point.ident)
        if now is None:
            yield about, "the point was removed from the machine's file"
            continue
        yield from ((about, text) for text in _out_of_service(point, now))
        if Place(old.ident, point.ident) in unselected:
            yield about, "no task selects the point now"


def _out_of_service(old: InService, new: InService) -> Iterator[str]:
    for absence in new.absences:
        if absence not in old.absences:
            yield f"out of service {words.format_absence(absence)}"


def _limits(before: Ledger, after: Ledger) -> Iterator[PlanChange]:
    """Bands and limits of a drive that now let more in, and less to lock."""
    for ident, old in before.machines.items():
        new = after.machines.get(ident)
        if new is not None:
            for text in (
                *_unlocked(old, new),
                *_points_wider(old, new),
                *_speed_bands_wider(old, new),
                *_drive_limits_wider(old, new, after.site),
            ):
                yield PlanChange(Concern.LOOSENED, old.name, text, f"equipment/{ident}.yaml")


def _speed_bands_wider(old: Machine, new: Machine) -> Iterator[str]:
    bands = {band.line_rate_per_h: band for band in new.speed_band}
    for band in old.speed_band:
        now = bands.get(band.line_rate_per_h)
        was = words.format_range(band.low_rpm, band.high_rpm)
        rate = words.format_number(band.line_rate_per_h)
        if now is None:
            yield f"no band at {rate}/h any more, was {was} r/min"
        elif now.low_rpm < band.low_rpm or now.high_rpm > band.high_rpm:
            is_now = words.format_range(now.low_rpm, now.high_rpm)
            yield f"band at {rate}/h {was} → {is_now} r/min"


def _drive_limits_wider(old: Machine, new: Machine, site: Site) -> Iterator[str]:
    before, after = limits_of(old), limits_of(new)
    if before is not None and after is None:
        yield "the drive has no limits any more"
    elif before and after and (after[0] < before[0] or after[1] > before[1]):
        unit = "Hz" if isinstance(new.drive, ElectricDrive) else "L/min"
        was, is_now = (
            " to ".join(words.format_setting(one, unit, site) for one in pair)
            for pair in (before, after)
        )
        yield f"drive limits {was} → {is_now}"


def _points_wider(old: Machine, new: Machine) -> Iterator[str]:
    for point in old.points.values():
        left = new.points[point.ident].bands if point.ident in new.points else point.bands
        for reading, (low, high) in point.bands.items():
            now = left.get(reading)
            if now is None or now[0] < low or now[1] > high:
                was, is_now = (
                    words.format_range(*band) if band else "none" for band in ((low, high), now)
                )
                yield f"{point.name}: band of {reading} {was} → {is_now}"


def _site(old: Site, new: Site) -> Iterator[str]:
    """What the site itself asks less for, or states otherwise."""
    if old.zone.key != new.zone.key:
        yield f"time zone {old.zone.key} → {new.zone.key}"
    if old.record_begins < new.record_begins:
        begins = words.format_day(new.record_begins)
        yield f"work is asked for from {begins} on, was {words.format_day(old.record_begins)}"
    for closure in new.closures:
        if closure not in old.closures:
            yield f"closed {words.format_closure(closure)}"
    if _hours(new) < _hours(old):
        yield f"open for {_hours(new):g} hours a week, was {_hours(old):g}"
    was, now = old.automatic_start, new.automatic_start
    if was is not None and now is None:
        yield "the automatic start is no longer on any lockout sheet"
    elif was is not None and now is not None:
        for text in differing(asdict(was), asdict(now)):
            yield f"lockout sheets, the automatic start: {text}"


def _hours(site: Site) -> float:
    """How long the site is open in a week."""
    times = site.open_hours.values()
    minutes = sum((z.hour - a.hour) * 60 + z.minute - a.minute + z.second / 60 for a, z in times)
    return round(minutes / 60, 1)


def _unlocked(old: Machine, new: Machine) -> Iterator[str]:
    """What the lockout sheet of a machine, or of one in its reach, no longer says."""
    kinds, left = (Counter(one.kind for one in machine.energy) for machine in (old, new))
    for kind in kinds - left:
        yield f"energy removed from its lockout sheet: {kind}"
    for was, now in _same_kind(old, new):
        for text in differing(asdict(was), asdict(now)):
            yield f"lockout sheet, {was.kind}: {text}"
    for zone in sorted(set(old.reaches) - set(new.reaches)):
        yield f"no longer locked for work in zone {zone}"
    for caution in old.cautions:
        if caution not in new.cautions:
            yield f"caution removed: {caution}"


def _same_kind(old: Machine, new: Machine) -> Iterator[tuple[Energy, Energy]]:
    """The energies of a machine before and after, in their order among those of their kind."""
    left = list(new.energy)
    for was in old.energy:
        now = next((one for one in left if one.kind == was.kind), None)
        if now is not None:
            left.remove(now)
            yield was, now


def _questions(before: Ledger, after: Ledger) -> Iterator[PlanChange]:
    for one in lowered_questions(before.site.policy, after.site.policy):
        yield PlanChange(Concern.LOOSENED, f"question {one.keys[-1]}", one.effect, SITE_FILE)


def _new_machines(before: Ledger, after: Ledger) -> Iterator[PlanChange]:
    for ident, machine in after.machines.items():
        if ident not in before.machines:
            points = words.format_count(len(machine.points), "point")
            text = f"a new machine at station {machine.station:g}, with {points}"
            yield PlanChange(Concern.MACHINE, machine.name, text, f"equipment/{ident}.yaml")


def _reworded(before: Ledger, after: Ledger) -> Iterator[PlanChange]:
    for ident, old in before.tasks.items():
        new = after.tasks.get(ident)
        if new is not None and new.steps and new.steps != old.steps:
            text = "its steps were reworded"
            yield PlanChange(Concern.REWORDED, f"task {new.title}", text, f"tasks/{ident}.yaml")


def _covered(ledger: Ledger) -> set[Place]:
    return {place for task in ledger.tasks.values() for place in task.places}


def _exists(ledger: Ledger, place: Place) -> bool:
    machine = ledger.machines.get(place.machine)
    return machine is not None and (not place.point or place.point in machine.points)


def _values(
    start: str,
    concern: Concern,
    before: Mapping[str, Document],
    after: Mapping[str, Document],
) -> Iterator[PlanChange]:
    for path in sorted(before.keys() & after.keys()):
        if path.startswith(start):
            for text in differing(before[path].value, after[path].value):
                yield PlanChange(concern, path, text, path)


def changed_checks(
    other_files: Iterable[str],
    prefix: str,
    before: Mapping[str, Document],
    after: Mapping[str, Document],
) -> tuple[str, ...]:
    """The jobs, the tool's pin, the owners and the rules that a branch touches, in order.

    `other_files` are its files beside those of the record, from the repository's top; `prefix` is
    the site's folder there. While it touches any, its own green check proves nothing: it may have
    been made by what the branch put in.
    """
    return (
        *(path for path in other_files if _is_check(path) or _is_check(path.removeprefix(prefix))),
        *(
            f"{key} in {SITE_FILE}"
            for key in ("policy", "people")
            if SITE_FILE in before.keys() & after.keys()
            and before[SITE_FILE].value.get(key) != after[SITE_FILE].value.get(key)
        ),
    )


def _is_check(path: str) -> bool:
    return path.startswith(_JOBS_AND_TOOL) or PurePosixPath(path).name == _OWNERS
