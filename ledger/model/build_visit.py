"""observations/**/*.yaml, checked against its schema, as typed values."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from functools import cached_property
from typing import Any

from ledger.files.document import Document, as_list, each_at
from ledger.model import visits
from ledger.model.machines import Machine
from ledger.model.problems import Faults, Problems
from ledger.model.quantities import filled, optional_float, quantity
from ledger.model.readings import KEYS_OF_READING, NO_METER, readings_of, setting_of
from ledger.model.references import Place
from ledger.model.site import Site
from ledger.model.tasks import Task
from ledger.model.visits import EntryContent
from ledger.values import dataclass

_SETTING_KEYS = frozenset(KEYS_OF_READING["setting"]) - {NO_METER}


@dataclass(frozen=True, kw_only=True)
class Surroundings:
    """What the entries of a visit refer to. Not slotted: the index is made once and kept."""

    site: Site
    machines: Mapping[str, Machine]
    tasks: Mapping[str, Task]

    @cached_property
    def selected(self) -> Mapping[tuple[str, str], tuple[Place, ...]]:
        """What a task selects on a machine, by task and machine."""
        found: dict[tuple[str, str], list[Place]] = {}
        for task in self.tasks.values():
            for place in task.places:
                found.setdefault((task.ident, place.machine), []).append(place)
        return {key: tuple(places) for key, places in found.items()}

    @cached_property
    def read_before(self) -> dict[int, EntryContent]:
        """The contents of entries by the identity of the value they were read as.

        Lines that are alike are read as one and the same value, which the content keeps, so that
        no other takes its identity.
        """
        return {}


def build_visit(document: Document, around: Surroundings, problems: Problems) -> visits.Visit:
    """The visit of a checked document; entries that name no known place or task are left out."""
    keys, site = document.value, around.site
    head = head_of_visit(
        site,
        document.ident,
        local_instant(keys["at"], site),
        keys["by"],
        keys.get("with", ()),
        keys.get("filed_by", ""),
        keys.get("returned_by", ""),
    )
    faults, day, read_before = problems.of(document), head.day, around.read_before
    entries = []
    for number, item in enumerate(keys["entries"], 1):
        content = read_before.get(id(item)) or _content(faults, number, day, around)
        if content is not None:
            entries.append(visits.Entry(head=head, number=number, content=content))
    return filled(
        visits.Visit,
        keys,
        head=head,
        path=document.path,
        entered_at=local_instant(keys["entered_at"], site) if "entered_at" in keys else None,
        meters={name: float(reading) for name, reading in keys.get("meters", {}).items()},
        digest=document.digest,
        entries=tuple(entries),
    )


def head_of_visit(
    site: Site,
    ident: str,
    when: datetime,
    by: str,
    helpers: Iterable[str] = (),
    filed_by: str = "",
    returned_by: str = "",
) -> visits.VisitHead:
    """What the entries of a visit share."""
    return visits.VisitHead(
        ident=ident,
        when=when,
        day=when.astimezone(site.zone).date(),
        by=by,
        helpers=tuple(helpers),
        filed_by=filed_by,
        returned_by=returned_by,
    )


def local_instant(text: str, site: Site) -> datetime:
    """An ISO 8601 instant; without an offset it is local to the site."""
    instant = datetime.fromisoformat(text)
    return instant if instant.tzinfo is not None else instant.replace(tzinfo=site.zone)


def _places(
    faults: Faults, number: int, item: Mapping[str, Any], day: date, around: Surroundings
) -> tuple[Place, ...] | None:
    """The places an entry is about, as named; None where it names something unknown."""
    named = _named(item.get("at"), around)
    left_out = _named(item.get("except"), around)
    task = around.tasks.get(item["task"]) if "task" in item else None
    if "task" in item and task is None:
        return None
    if named is None or left_out is None:
        return None
    if "in_order" in item:
        tasks = [around.tasks[ident] for ident in item["tasks"] if ident in around.tasks]
        return _without(left_out, _in_use(tasks, day, around))
    if task is None:
        return tuple(named)
    if "at" not in item:
        return _without(left_out, _in_use([task], day, around))
    chosen = _chosen(faults, number, task, around)
    left = _without(left_out, chosen)
    if chosen and not left:
        faults.add(
            ("entries", number - 1, "except"),
            rule="nothing-left",
            message="`except` leaves out every place that the entry names",
            expected="fewer places than `at` names",
            remedy="remove `except`, or file the work as not-done with its reason",
        )
    return left or None


def _without(left_out: Sequence[Place], places: Iterable[Place]) -> tuple[Place, ...]:
    return tuple(place for place in places if not place.is_among(left_out))


def _in_use(tasks: Iterable[Task], day: date, around: Surroundings) -> Iterator[Place]:
    """Every place in use that the tasks select."""
    for place in dict.fromkeys(place for task in tasks for place in task.places):
        if around.machines[place.machine].service(place.point).in_use(day):
            yield place


def _chosen(faults: Faults, number: int, task: Task, around: Surroundings) -> dict[Place, None]:
    """What a task selects at the places that an entry names."""
    chosen: dict[Place, None] = {}
    at = faults.document.value["entries"][number - 1]["at"]
    for pointer, text in each_at(("entries", number - 1, "at"), at):
        place = Place.parse(text)
        on_machine = around.selected.get((task.ident, place.machine), ())
        matching = [p for p in on_machine if not place.point or p == place]
        if not matching and Place(place.machine) in on_machine:
            matching = [place]
        if not matching:
            faults.add(
                pointer,
                rule="not-selected",
                message=f"task `{task.ident}` is not done on `{place}`",
                expected="a place that the task selects",
                remedy=f"see `on` in tasks/{task.ident}.yaml, or leave `task` out of the entry",
            )
        chosen.update(dict.fromkeys(matching))
    return chosen


def _named(names: str | list[str] | None, around: Surroundings) -> list[Place] | None:
    """The places of an entry's key; None where no file defines one of them, which `links` tells."""
    places = [*map(Place.parse, as_list(names))]
    for place in places:
        machine = around.machines.get(place.machine)
        if machine is None or (place.point and place.point not in machine.points):
            return None
    return places


def _content(faults: Faults, number: int, day: date, around: Surroundings) -> EntryContent | None:
    """What an entry says apart from its visit; None where it names something unknown."""
    item = faults.document.value["entries"][number - 1]
    before = faults.problems.count
    places = _places(faults, number, item, day, around)
    if places is None:
        return None
    content = content_of(item, places, around.site)
    # Without `at` the places depend on the day; a fault is told of each entry that has it.
    if "at" in item and faults.problems.count == before:
        around.read_before[id(item)] = content
    return content


def content_of(item: Mapping[str, Any], places: tuple[Place, ...], site: Site) -> EntryContent:
    """What an entry in order says, of the places that it is about."""
    if visits.WORK_KEYS.issuperset(item):
        return filled(EntryContent, item, raw=item, places=places, is_bare_work=True)
    return filled(
        EntryContent,
        item,
        raw=item,
        places=places,
        claim=filled(visits.Claim, item) if "in_order" in item else None,
        speed=speed_reading_of(item),
        steps=tuple(map(_step, item.get("steps", ()))),
        readings=readings_of(item),
        setting=None if _SETTING_KEYS.isdisjoint(item) else _setting(item),
        since=local_instant(item["since"], site) if "since" in item else None,
        stock=filled(visits.StockMove, item) if "part" in item else None,
    )


def speed_reading_of(item: Mapping[str, Any]) -> visits.SpeedReading | None:
    if "counted" in item:
        return filled(visits.PassCount, item)
    if "taps_s" in item:
        return filled(visits.TappedPasses, item)
    if "frames" in item:
        return filled(visits.VideoTurns, item)
    if "turns" in item:
        return filled(visits.TimedTurns, item)
    return filled(visits.Tachometer, item) if "tachometer_rpm" in item else None


def _step(item: Mapping[str, Any]) -> visits.Step:
    return filled(visits.Step, item, setting=setting_of(item)[1], speed=speed_reading_of(item))


def _setting(item: Mapping[str, Any]) -> visits.SettingSeen:
    """What was found and left; a tuning session begins and ends with its first and last step."""
    steps = item.get("steps", ())
    unit = setting_of(steps[0])[0] if steps else ""
    if unit == "Hz" or "found_hz" in item or "left_hz" in item:
        unit = "Hz"
        found, left = (optional_float(item.get(f"{at}_hz")) for at in ("found", "left"))
    else:
        unit = "L/min"
        found, left = (quantity(item, f"{at}_flow", "gpm lpm", "l_min") for at in ("found", "left"))
    if steps:
        found = setting_of(steps[0])[1] if found is None else found
        left = setting_of(steps[-1])[1] if left is None else left
    return visits.SettingSeen(unit=unit, found=found, left=left)
