"""What is locked before hands go into a machine: its own energies, and what else can move there."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from typing import NamedTuple

from ledger.model.ledger import Ledger
from ledger.model.machines import Isolation, Machine
from ledger.model.tasks import Task
from ledger.model.visits import Entry
from ledger.upkeep.due.found import DueWork
from ledger.values import dataclass

TUNNEL = "tunnel"

_WET = ("water pressure", "chemicals")
_DRIVE = "electrical or hydraulic drive"
_MOVED = (_DRIVE, "air or oil of the arm", "weight of the arm", *_WET)

# What to look for at a machine of which no energy is written down (common practice, no source).
_USUAL = {
    "conveyor": (_DRIVE, "chain under tension", "air of the roller fork"),
    "correlator": ("air of the guide",),
    "soak-arch": _WET,
    "wheel-arch": _WET,
    "high-pressure-arch": ("water at high pressure", "drive of turning nozzles"),
    "foam-arch": (*_WET, "air of the foam"),
    "wax-arch": _WET,
    "rinse-arch": _WET,
    "curtain": (_DRIVE, "hanging frame and cloth", *_WET),
    "wrap": _MOVED,
    "side-brush": _MOVED,
    "low-brush": _MOVED,
    "buffer": _MOVED,
    "top-brush": (_DRIVE, "raised brush", "counterweight", "air or oil of the lift", *_WET),
    "blower": ("electrical drive", "wheel that runs on"),
    "tyre-dresser": ("air of the arms", "dressing under pressure"),
    "drive-panel": ("mains", "charge of the drives"),
    "hydraulic-unit": ("electrical drive", "oil pressure, also in an accumulator", "hot oil"),
    "pump-stand": ("electrical drive", "water pressure", "feed water"),
    "compressor": ("electrical drive", "air in the receiver"),
    "air-dryer": ("mains", "air pressure"),
    "dosing": ("chemicals", "water pressure"),
    "softener": ("water pressure",),
    "reverse-osmosis": ("electrical drive", "water pressure"),
    "reclaim": ("electrical drive", "water pressure"),
    "pit-pump": ("electrical drive that starts by its float", "water in its line"),
    "door": ("electrical drive", "weight or spring of the door"),
    "entry-gate": ("electrical drive", "weight or spring of the boom"),
    "water-heater": ("gas, oil or mains", "hot water under pressure"),
}

_NOT_WRITTEN_ISOLATION = Isolation(
    isolate_at="not written down: find it",
    device="not written down",
    prove="Every source is found and locked. Try to start it: nothing moves",
)

_USED_WITHIN = timedelta(days=366)


@dataclass(frozen=True, slots=True, kw_only=True)
class Locked:
    """A machine that is locked, and why; "" for the machine of the sheet itself."""

    machine: Machine
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What is locked for work with hands in at one machine, itself first.

    `tasks` are those done locked out there; `inspected` is the last inspection of the sheet. With
    `is_in_tunnel` the automatic start is locked too.
    """

    machine: Machine
    tasks: tuple[Task, ...]
    locked: tuple[Locked, ...]
    inspected: Entry | None

    @property
    def is_in_tunnel(self) -> bool:
        return self.machine.area == TUNNEL

    @property
    def unstated(self) -> tuple[Machine, ...]:
        """Machines on the sheet that must have an energy, of which none is written down."""
        return tuple(
            one.machine
            for one in self.locked
            if not one.machine.energy
            and (not one.why or one.machine.drive is not None or one.machine.kind in _USUAL)
        )


class Step(NamedTuple):
    """One isolation on a sheet: what it is of, and why it is locked.

    Where a machine's energies are not written down, `energy` says what is usual there.
    """

    name: str
    why: str
    energy: str
    how: Isolation


def sheets(ledger: Ledger, inspected: Mapping[str, Entry] | None = None) -> tuple[Sheet, ...]:
    """One for each machine with an energy or with work done locked out, in walking order.

    `inspected` is the last inspection of each, where it has been looked for.
    """
    tasks: dict[str, dict[str, Task]] = {}
    for task in ledger.tasks.values():
        for place in task.places if task.lockout else ():
            tasks.setdefault(place.machine, {})[task.ident] = task
    there = [machine for machine in ledger.machines.values() if machine.out_of_service is None]
    if inspected is None:
        inspected = _inspections(ledger)
    return tuple(
        Sheet(
            machine=machine,
            tasks=tuple(tasks.get(machine.ident, {}).values()),
            locked=tuple(_locked(machine, there)),
            inspected=inspected.get(machine.ident),
        )
        for machine in there
        if machine.energy or machine.ident in tasks
    )


def _locked(machine: Machine, there: Sequence[Machine]) -> Iterator[Locked]:
    yield Locked(machine=machine, why="")
    for other in there:
        can_reach = not other.energy or not all(one.only_here for one in other.energy)
        if other is not machine and can_reach and (why := _why_with(machine, other)):
            yield Locked(machine=other, why=why)


def _why_with(machine: Machine, other: Machine) -> str:
    """Why another machine is locked too; "" where it cannot reach whoever works at this one.

    In the tunnel a zone that nobody stated may be any, so the other is locked. A conveyor runs
    through every zone, whichever its file names.
    """
    if machine.area == TUNNEL and other.kind == "conveyor":
        return "moves through the tunnel"
    if machine.area == other.area == TUNNEL and machine.kind == "conveyor":
        return "stands along the conveyor"
    if machine.area == other.area == TUNNEL and not (machine.zone and other.zone):
        return "may reach here: no zone is stated"
    if not machine.zone:
        return ""
    if other.zone == machine.zone and other.area == TUNNEL:
        return "stands in the same zone"
    return "reaches this zone" if machine.zone in other.reaches else ""


def steps_of(ledger: Ledger, sheet: Sheet) -> Iterator[Step]:
    """Every isolation of the sheet, in its order, and each gap where one should be."""
    unstated = {machine.ident for machine in sheet.unstated}
    for one in sheet.locked:
        if one.machine.ident in unstated:
            usual = _USUAL.get(one.machine.kind, ())
            looked_for = f"usual here: {', '.join(usual)}" if usual else "not written down"
            yield Step(one.machine.name, one.why, looked_for, _NOT_WRITTEN_ISOLATION)
        for energy in one.machine.energy:
            if one.why and energy.only_here:
                continue
            yield Step(one.machine.name, one.why, f"{energy.kind}, {energy.magnitude}", energy)
    if sheet.is_in_tunnel:
        start = ledger.site.automatic_start or _NOT_WRITTEN_ISOLATION
        yield Step("Automatic start", "starts the line by itself", "control", start)


def _inspections(ledger: Ledger) -> dict[str, Entry]:
    """The last inspection of each machine's sheet."""
    tasks = {task.ident for task in ledger.tasks.values() if task.inspects_lockout}
    return {
        place.machine: entry
        for entry in ledger.standing_of(tasks)
        if entry.did_work and entry.task in tasks
        for place in entry.places
    }


def inspected_by_users(ledger: Ledger) -> Iterator[tuple[Entry, Machine]]:
    """Inspections of a sheet by somebody who had worked by it within a year, and the machine."""
    if not any(task.inspects_lockout for task in ledger.tasks.values()):
        return
    used: dict[tuple[str, str], date] = {}
    for entry in ledger.standing:
        task = ledger.tasks.get(entry.content.task)
        if task is None or not entry.did_work:
            continue
        for ident in dict.fromkeys(place.machine for place in entry.places):
            if task.inspects_lockout:
                last = used.get((entry.by, ident))
                if last is not None and entry.day - last <= _USED_WITHIN:
                    yield entry, ledger.machines[ident]
            elif task.lockout:
                used |= {(person, ident): entry.day for person in (entry.by, *entry.helpers)}


def sheets_of_walk(found: Sequence[Sheet], work: Sequence[DueWork]) -> tuple[Sheet, ...]:
    """The sheets that the due work of a walk asks for."""
    machines = {one.place.machine for one in work if one.is_on_the_walk and one.task.lockout}
    return tuple(sheet for sheet in found if sheet.machine.ident in machines)
