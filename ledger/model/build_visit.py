"""observations/**/*.yaml, checked against its schema, as typed values."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from functools import cached_property
from typing import Any

from ledger.files.document import Document, Pointer
from ledger.model.build_task import known_place
from ledger.model.machines import Machine
from ledger.model.problems import Problems
from ledger.model.quantities import optional_float, quantity
from ledger.model.readings import KEYS_OF_READING, NO_METER, readings_of
from ledger.model.references import EntryRef, Place
from ledger.model.site import Site
from ledger.model.tasks import Task, When
from ledger.model.visits import (
    WORK_KEYS,
    Claim,
    Entry,
    EntryContent,
    Outcome,
    PassCount,
    SettingSeen,
    SpeedReading,
    Step,
    StockMove,
    Tachometer,
    TappedPasses,
    TimedTurns,
    Urgency,
    VideoTurns,
    Visit,
    VisitHead,
    WatchStart,
)
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


def build_visit(document: Document, around: Surroundings, problems: Problems) -> Visit:
    """The visit of a checked document; entries that name no known place or task are left out."""
    fields = document.value
    when = local_instant(fields["at"], around.site)
    by = fields["by"]
    helpers = tuple(fields.get("with", ()))
    filed_by, returned_by = (fields.get(key, "") for key in ("filed_by", "returned_by"))
    entered = fields.get("entered_at")
    day = when.astimezone(around.site.zone).date()
    head = VisitHead(
        visit=document.ident,
        when=when,
        day=day,
        by=by,
        helpers=helpers,
        filed_by=filed_by,
        returned_by=returned_by,
    )
    entries = []
    read_before = around.read_before
    for number, item in enumerate(fields["entries"], 1):
        content = read_before.get(id(item)) or _content(document, number, day, around, problems)
        if content is not None:
            entries.append(Entry(head=head, number=number, content=content))
    return Visit(
        ident=document.ident,
        path=document.path,
        when=when,
        day=day,
        by=by,
        helpers=helpers,
        filed_by=filed_by,
        returned_by=returned_by,
        permit=fields.get("permit", ""),
        entered_at=None if entered is None else local_instant(entered, around.site),
        meters={name: float(reading) for name, reading in fields.get("meters", {}).items()},
        note=fields.get("note", ""),
        digest=document.digest,
        entries=tuple(entries),
    )


def local_instant(text: str, site: Site) -> datetime:
    """An ISO 8601 instant; without an offset it is local to the site."""
    instant = datetime.fromisoformat(text)
    return instant if instant.tzinfo is not None else instant.replace(tzinfo=site.zone)


def _places(
    document: Document,
    pointer: Pointer,
    item: Mapping[str, Any],
    day: date,
    around: Surroundings,
    problems: Problems,
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
        return _claimed(item, left_out, day, around)
    if task is None:
        return tuple(named)
    chosen = _chosen(document, pointer, task, named, "at" in item, day, around, problems)
    left = tuple(
        place for place in chosen if place not in left_out and Place(place.machine) not in left_out
    )
    if "at" not in item or left:
        return left
    if chosen:
        problems.error(
            document,
            (*pointer, "except"),
            rule="nothing-left",
            message="`except` leaves out every place that the entry names",
            expected="fewer places than `at` names",
            remedy="remove `except`, or file the work as not-done with its reason",
        )
    return None


def _claimed(
    item: Mapping[str, Any], left_out: Sequence[Place], day: date, around: Surroundings
) -> tuple[Place, ...]:
    """Every place in use that the claimed tasks select, but those left out."""
    tasks = [around.tasks[ident] for ident in item["tasks"] if ident in around.tasks]
    places = dict.fromkeys(place for task in tasks for place in task.places)
    return tuple(
        place
        for place in places
        if around.machines[place.machine].service(place.point).in_use(day)
        and place not in left_out
        and Place(place.machine) not in left_out
    )


def _claim(item: Mapping[str, Any]) -> Claim | None:
    if "in_order" not in item:
        return None
    return Claim(
        of_pass=When(item["in_order"]),
        tasks=tuple(item["tasks"]),
        asked=item["of"],
        list_digits=item.get("list", ""),
        commit=item.get("commit", ""),
        drawn=tuple(map(Place.parse, item.get("drawn", ()))),
        seen=tuple(item.get("seen", ())),
        drawn_apart_s=item.get("drawn_apart_s"),
    )


def _chosen(
    document: Document,
    pointer: Pointer,
    task: Task,
    named: list[Place],
    says_where: bool,  # noqa: FBT001 - a yes or no read off the entry
    day: date,
    around: Surroundings,
    problems: Problems,
) -> list[Place]:
    if not says_where:
        machines = around.machines
        return [p for p in task.places if machines[p.machine].service(p.point).in_use(day)]
    chosen: dict[Place, None] = {}
    is_list = isinstance(document.value["entries"][pointer[-1]]["at"], list)
    for index, place in enumerate(named):
        on_machine = around.selected.get((task.ident, place.machine), ())
        matching = [p for p in on_machine if not place.point or p == place]
        if not matching and Place(place.machine) in on_machine:
            matching = [place]
        if not matching:
            problems.error(
                document,
                (*pointer, "at", index) if is_list else (*pointer, "at"),
                rule="not-selected",
                message=f"task `{task.ident}` is not done on `{place}`",
                expected="a place that the task selects",
                remedy=f"see `on` in tasks/{task.ident}.yaml, or leave `task` out of the entry",
            )
        chosen.update(dict.fromkeys(matching))
    return list(chosen)


def _named(names: str | list[str] | None, around: Surroundings) -> list[Place] | None:
    """The places of an entry's key; None where one of them is not known."""
    texts = [names] if isinstance(names, str) else names or []
    found = [known_place(text, around.machines) for text in texts]
    known = [place for place in found if place is not None]
    return known if len(known) == len(found) else None


def _content(
    document: Document, number: int, day: date, around: Surroundings, problems: Problems
) -> EntryContent | None:
    """What an entry says apart from its visit; None where it names something unknown."""
    item = document.value["entries"][number - 1]
    before = problems.count
    places = _places(document, ("entries", number - 1), item, day, around, problems)
    if places is None:
        return None
    content = content_of(item, places, around.site)
    # Without `at` the places depend on the day; a fault is told of each entry that has it.
    if "at" in item and problems.count == before:
        around.read_before[id(item)] = content
    return content


def content_of(item: Mapping[str, Any], places: tuple[Place, ...], site: Site) -> EntryContent:
    """What an entry in order says, of the places that it is about."""
    work: dict[str, Any] = {
        "raw": item,
        "places": places,
        "task": item.get("task", ""),
        "outcome": Outcome(item.get("outcome", Outcome.DONE)),
        "reason": item.get("reason", ""),
        "strokes": optional_float(item.get("strokes")),
        "minutes": optional_float(item.get("minutes")),
        "note": item.get("note", ""),
    }
    if WORK_KEYS.issuperset(item):
        return EntryContent(**work, is_bare_work=True)
    return EntryContent(
        **work,
        claim=_claim(item),
        speed=speed_reading_of(item),
        steps=_steps(item),
        line_rate_per_h=optional_float(item.get("line_rate_per_h")),
        readings=readings_of(item),
        setting=None if _SETTING_KEYS.isdisjoint(item) else _setting(item),
        keypad=item.get("keypad", ""),
        instrument=item.get("instrument", ""),
        finding=item.get("finding", ""),
        urgency=Urgency(item.get("urgency", "soon")),
        photos=tuple(item.get("photos", ())),
        failed=item.get("failed", False),
        stopped_minutes=optional_float(item.get("stopped_minutes")),
        stop=item.get("stop", ""),
        tied_back=item.get("tied_back", ""),
        since=local_instant(item["since"], site) if "since" in item else None,
        closes=EntryRef.parse(item["closes"]) if "closes" in item else None,
        changed=item.get("changed", ""),
        stock=_stock(item),
        corrects=EntryRef.parse(item["corrects"]) if "corrects" in item else None,
        void=item.get("void", False),
    )


def speed_reading_of(item: Mapping[str, Any]) -> SpeedReading | None:
    per_turn = item.get("passes_per_turn", 1)
    if "counted" in item:
        return PassCount(
            passes=item["counted"],
            seconds=float(item["seconds"]),
            start=WatchStart(item.get("start", "random")),
            passes_per_turn=per_turn,
        )
    if "taps_s" in item:
        return TappedPasses(
            times_s=tuple(float(tap) for tap in item["taps_s"]), passes_per_turn=per_turn
        )
    if "frames" in item:
        return VideoTurns(turns=item["turns"], frames=item["frames"], fps=float(item["fps"]))
    if "turns" in item:
        return TimedTurns(turns=item["turns"], seconds=float(item["seconds"]))
    if "tachometer_rpm" in item:
        return Tachometer(
            rpm=float(item["tachometer_rpm"]),
            accuracy_rpm=optional_float(item.get("accuracy_rpm")),
            accuracy_percent=optional_float(item.get("accuracy_percent")),
        )
    return None


def _steps(item: Mapping[str, Any]) -> tuple[Step, ...]:
    found = []
    for step in item.get("steps", ()):
        speed, setting = speed_reading_of(step), _setting_of_step(step)[1]
        if speed is not None and setting is not None:
            instrument = step.get("instrument", "")
            found.append(Step(setting=setting, speed=speed, instrument=instrument))
    return tuple(found)


def _setting(item: Mapping[str, Any]) -> SettingSeen:
    """What was found and left; a tuning session begins and ends with its first and last step."""
    steps = item.get("steps", ())
    unit = _setting_of_step(steps[0])[0] if steps else ""
    if unit == "Hz" or "found_hz" in item or "left_hz" in item:
        unit = "Hz"
        found, left = (optional_float(item.get(f"{at}_hz")) for at in ("found", "left"))
    else:
        unit = "L/min"
        found, left = (quantity(item, f"{at}_flow", "gpm lpm", "l_min") for at in ("found", "left"))
    if steps:
        found = _setting_of_step(steps[0])[1] if found is None else found
        left = _setting_of_step(steps[-1])[1] if left is None else left
    return SettingSeen(unit=unit, found=found, left=left)


def _setting_of_step(step: Mapping[str, Any]) -> tuple[str, float | None]:
    if "hz" in step:
        return "Hz", float(step["hz"])
    return "L/min", quantity(step, "flow", "gpm lpm", "l_min")


def _stock(item: Mapping[str, Any]) -> StockMove | None:
    if "part" not in item:
        return None
    return StockMove(
        part=item["part"],
        used=optional_float(item.get("used")),
        ordered=optional_float(item.get("ordered")),
        received=optional_float(item.get("received")),
        on_hand=optional_float(item.get("on_hand")),
    )
