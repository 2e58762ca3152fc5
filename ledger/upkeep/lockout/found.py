"""What is locked before hands go into a machine: its own energies, and what else can move there."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

from ledger.model.energy import Isolation
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.model.site import Person
from ledger.model.tasks import Task
from ledger.model.visits import Entry
from ledger.upkeep.due.found import DueWork

TUNNEL = "tunnel"

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
        """Machines on the sheet of which no energy is written down though a drive turns them."""
        return tuple(
            one.machine
            for one in self.locked
            if not one.machine.energy and (one.machine.drive is not None or not one.why)
        )


class Step(NamedTuple):
    """One isolation on a sheet: what it is of, and why it is locked."""

    name: str
    why: str
    energy: str
    how: Isolation


def sheets(ledger: Ledger) -> tuple[Sheet, ...]:
    """One for each machine with an energy or with work done locked out, in walking order."""
    tasks: dict[str, dict[str, Task]] = {}
    for task in ledger.tasks.values():
        for place in task.places if task.lockout else ():
            tasks.setdefault(place.machine, {})[task.ident] = task
    there = [machine for machine in ledger.machines.values() if machine.out_of_service is None]
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

    In the tunnel a zone that nobody stated may be any, so the other is locked.
    """
    if machine.area == TUNNEL and other.kind == "conveyor":
        return "moves through the tunnel"
    if machine.area == other.area == TUNNEL and not (machine.zone and other.zone):
        return "may reach here: no zone is stated"
    if not machine.zone:
        return ""
    if other.zone == machine.zone and other.area == TUNNEL:
        return "stands in the same zone"
    return "reaches this zone" if machine.zone in other.reaches else ""


def steps_of(ledger: Ledger, sheet: Sheet) -> Iterator[Step]:
    """Every isolation of the sheet, in its order."""
    for one in sheet.locked:
        for energy in one.machine.energy:
            if one.why and energy.only_here:
                continue
            yield Step(one.machine.name, one.why, f"{energy.kind}, {energy.magnitude}", energy)
    start = ledger.site.automatic_start
    if sheet.is_in_tunnel and start is not None:
        yield Step("Automatic start", "starts the line by itself", "control", start)


def _inspections(ledger: Ledger) -> dict[str, Entry]:
    """The last inspection of each machine's sheet."""
    return {
        place.machine: entry
        for entry in ledger.standing
        if entry.did_work and entry.task and _inspects(ledger, entry)
        for place in entry.places
    }


def _inspects(ledger: Ledger, entry: Entry) -> bool:
    task = ledger.tasks.get(entry.task)
    return task is not None and task.inspects_lockout


def inspected_by_users(ledger: Ledger) -> Iterator[tuple[Entry, Machine]]:
    """Inspections of a sheet by somebody who had worked by it within a year, and the machine."""
    used: dict[tuple[str, str], date] = {}
    for entry in ledger.standing:
        task = ledger.tasks.get(entry.task)
        if task is None or not entry.did_work:
            continue
        people = (entry.by, *entry.helpers)
        for ident in dict.fromkeys(place.machine for place in entry.places):
            if task.inspects_lockout:
                last = used.get((entry.by, ident))
                if last is not None and entry.day - last <= _USED_WITHIN:
                    yield entry, ledger.machines[ident]
            elif task.lockout:
                used |= dict.fromkeys(((person, ident) for person in people), entry.day)


def sheets_of_walk(found: Sequence[Sheet], work: Sequence[DueWork]) -> tuple[Sheet, ...]:
    """The sheets that the due work of a walk asks for."""
    machines = {one.place.machine for one in work if one.is_on_the_walk and one.task.lockout}
    return tuple(sheet for sheet in found if sheet.machine.ident in machines)


def qualified_people(ledger: Ledger) -> list[Person]:
    """Who is qualified for lockout by the people file, and has not left for good."""
    people = ledger.site.people.values()
    return [one for one in people if "lockout" in one.qualified and one.last_day is None]
