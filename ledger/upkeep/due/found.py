"""What is due: every task at every place, as seen on a day."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from functools import cached_property

from ledger.compute.meter import Closure, MeterLog, OperatingCalendar
from ledger.compute.recurrence import Hours, Vehicles, is_daily
from ledger.compute.schedule import Cycle, Due, Meters, State, Window, next_due
from ledger.model.ledger import Ledger
from ledger.model.machines import InService
from ledger.model.meters import log_of, vehicle_log
from ledger.model.references import EntryRef, Place
from ledger.model.site import Person
from ledger.model.tasks import Remembered, Task, When
from ledger.model.visits import Claim, Entry, Outcome
from ledger.values import dataclass, grouped, replace


@dataclass(frozen=True, slots=True, kw_only=True)
class DueWork:
    """One task at one place. `put_off` is the last not-done entry since it was last done.

    `remembered` is what was known of the last time before the record began, where it still counts.
    """

    task: Task
    place: Place
    due: Due
    last_done: Entry | None
    put_off: Entry | None
    remembered: Remembered | None = None

    @property
    def is_never_on_record(self) -> bool:
        """Whether nobody filed it or remembers a time."""
        return self.last_done is None and (self.remembered is None or not self.remembered.first)

    @property
    def is_on_the_walk(self) -> bool:
        """Whether it may be done today: its window is open, or has passed."""
        return self.due.state in {State.IN_WINDOW, State.OVERDUE}


class Schedule:
    """Cycles and work done of one ledger, as known on a day; built once, asked often.

    `counting` are standing entries by time that do for all, where not every one is asked for.
    """

    def __init__(
        self, ledger: Ledger, as_of: date, counting: Iterable[Entry] | None = None
    ) -> None:
        self._ledger = ledger
        self._as_of = as_of
        self._operating = operating_calendar(ledger)
        self._counts_for = counts_for(ledger)
        self._done: defaultdict[tuple[str, Place], list[Entry]] = defaultdict(list)
        self._put_off: dict[tuple[str, Place], Entry] = {}
        self._tied_back = ledger.tied_back(as_of)
        begun = (tie for tie in ledger.tie_backs if tie.first_day <= as_of)
        self._ties = grouped(begun, lambda tie: tie.machine)
        self._for_safety = {t.ident for t in ledger.tasks.values() if is_for_safety(ledger, t)}
        self.note(ledger.standing if counting is None else counting)

    def note(self, noted: Iterable[Entry]) -> None:
        """Further standing entries, later than all before."""
        entries = tuple(noted)
        # One question answers for all, where the day notes what it is asked.
        if max((entry.head.day for entry in entries), default=date.min) > self._as_of:
            entries = tuple(entry for entry in entries if entry.head.day <= self._as_of)
        # Where work that is alike counts, by the identity of what the entry says.
        lists: dict[int, list[list[Entry]]] = {}
        for entry in entries:
            content = entry.content
            if content.outcome is Outcome.NOT_DONE and content.task:
                self._put_off.update(((content.task, place), entry) for place in content.places)
            elif content.claim is not None and not content.task:
                self._note_claim(entry, content.claim)
            else:
                found = lists.get(id(content))
                if found is None:
                    found = lists[id(content)] = self._lists_of(entry)
                for of_place in found:
                    of_place.append(entry)

    @cached_property
    def _meters(self) -> dict[str, MeterLog]:
        """By meter, and the first meter that counts vehicles once more as `vehicles`."""
        ledger, as_of = self._ledger, self._as_of
        logs = {meter: log_of(ledger, meter, as_of) for meter in ledger.site.meters}
        return logs | {"vehicles": vehicle_log(ledger, as_of)}

    def _lists_of(self, entry: Entry) -> list[list[Entry]]:
        """Of each task and place for which work that was done counts."""
        return [
            self._done[task, place]
            for task in self._counts_for.get(entry.task, ())
            # A count that was not taken leaves the counting due.
            if not self._ledger.missing_readings(self._ledger.tasks[task], entry)
            for place in entry.places
        ]

    def _note_claim(self, entry: Entry, claim: Claim) -> None:
        """What has to be answered place by place stays due, whatever a round says of it."""
        covered = frozenset(entry.places)
        claimed = [self._ledger.tasks[one] for one in claim.tasks if one in self._ledger.tasks]
        for task in claimed:
            if is_looked_at(self._ledger, task):
                for counted in self._counts_for[task.ident]:
                    for place in covered.intersection(task.places):
                        self._done[counted, place].append(entry)

    def entries_done(self, task: Task, place: Place) -> list[Entry]:
        """Entries by which the task counts as done there, by time; also those that cover it.

        Work on a whole machine covers the same task on its points.
        """
        own = self._done.get((task.ident, place), [])
        if not place.point:
            return own
        whole = self._done.get((task.ident, Place(place.machine)), [])
        if not whole:
            return own
        return sorted({e.ref: e for e in (*own, *whole)}.values(), key=lambda e: (e.when, e.ref))

    def days_done(self, task: Task, place: Place) -> list[date]:
        """The days of the entries, and the latest that a remembered time leaves open."""
        days = [entry.day for entry in self.entries_done(task, place)]
        remembered = task.last_done.get(place)
        if remembered is not None and remembered.last:
            days.append(remembered.last)
        return days

    def due(self, task: Task, place: Place) -> DueWork:
        done = self.entries_done(task, place)
        last = done[-1] if done else None
        put_off = self._put_off.get((task.ident, place))
        if put_off is not None and last is not None and put_off.day <= last.day:
            put_off = None
        remembered = None if last else task.last_done.get(place)
        due = self._next(task, place, self.days_done(task, place), self._as_of)
        if remembered is not None and remembered.first:
            earliest = self._next(task, place, [remembered.first], self._as_of)
            due = _with_doubt(earliest, due)
        due = _once_back(self.service(place), due, late_days=task.window_days)
        if place.machine in self._tied_back and not serves_the_line(self._ledger, place):
            due = replace(due, rests=State.PAUSED)
        return DueWork(
            task=task, place=place, due=due, last_done=last, put_off=put_off, remembered=remembered
        )

    def service(self, place: Place) -> InService:
        """When the place is there to be worked at: not while its machine is tied back."""
        service = self._ledger.machines[place.machine].service(place.point)
        tied = self._ties.get(place.machine, ())
        if not tied or serves_the_line(self._ledger, place):
            return service
        absences = (*service.absences, *(tie.away for tie in tied))
        return InService(in_service=service.in_service, absences=absences)

    def _next(self, task: Task, place: Place, done: Iterable[date], as_of: date) -> Due:
        cycle, meters = self.cycle(task, place), self.meters_of(task)
        return next_due(cycle, done=done, as_of=as_of, meters=meters)

    def upcoming(self, work: DueWork, until: date) -> Iterator[DueWork]:
        """The work and its next turns before a day, as if each were done when it is due."""
        due = work.due
        while due.due_on is not None and due.due_on < until and due.state is not State.PAUSED:
            yield replace(work, due=due)
            done = max(due.due_on, self._as_of)
            due = self._next(work.task, work.place, [done], done)

    def is_open(self, day: date) -> bool:
        """Whether the site is open on a day."""
        return self._operating.is_open(day)

    def entries_that_count(self, machine: str | None = None) -> tuple[Entry, ...]:
        """Those by which work is due or not; without the others it would be due all the same.

        With a `machine` those by which it is due there.
        """
        counting: dict[EntryRef, Entry] = {}
        for task in self._ledger.tasks.values():
            for place in task.places:
                if machine is not None and place.machine != machine:
                    continue
                done = self.entries_done(task, place)
                begins = self.cycle(task, place).in_service
                before = [entry for entry in done if entry.day < begins]
                put_off = self._put_off.get((task.ident, place))
                for entry in (*before[-1:], *done[-1:], put_off):
                    if entry is not None:
                        counting[entry.ref] = entry
        return tuple(counting.values())

    def cycle(self, task: Task, place: Place) -> Cycle:
        machine = self._ledger.machines[place.machine]
        point = machine.points.get(place.point)
        in_service = machine.in_service if point is None else point.in_service
        done_from = max(in_service, task.starts) if task.starts else in_service
        begins = max(done_from, self._ledger.site.record_begins)
        remembered = task.last_done.get(place)
        if remembered is not None and remembered.first:
            done_from = min(done_from, remembered.first)
        # On the first day there is no lockout that could be inspected.
        is_asked = task.ident in self._for_safety and not task.inspects_lockout
        is_due_at_once = is_asked and not any(
            done_from <= day < begins for day in self.days_done(task, place)
        )
        return Cycle(
            intervals=task.every,
            in_service=begins,
            done_from=done_from,
            is_due_at_once=is_due_at_once,
            anchor=task.starts or in_service,
            counts_from=task.counts_from,
            window=Window(early_days=task.window_days, late_days=task.window_days),
            operating=self._operating,
        )

    def meters_of(self, task: Task) -> Meters:
        """What the meters that a task counts by had counted; nothing where it counts by none."""
        if not any(isinstance(one, Vehicles | Hours) for one in task.every):
            return Meters()
        return Meters(
            vehicles=self._meters.get("vehicles", MeterLog()),
            hours=self._meters.get(task.hours_meter, MeterLog()),
        )

    def all_due(self) -> tuple[DueWork, ...]:
        """Every task in use at every place in service, in walking order, then by task."""
        rank = {machine: number for number, machine in enumerate(self._ledger.machines)}
        found = [
            self.due(task, place)
            for task in self._ledger.tasks.values()
            if task.in_use(self._as_of)
            for place in task.places
            if self._ledger.machines[place.machine].service(place.point).in_use(self._as_of)
        ]
        return tuple(sorted(found, key=lambda work: (rank[work.place.machine], work.task.ident)))


def _with_doubt(earliest: Due, latest: Due) -> Due:
    """Due as soon as it can be, by the earliest time remembered; late only by the latest."""
    if earliest.window_from is None or latest.window_to is None:
        return latest
    return replace(latest, due_on=earliest.due_on, window_from=earliest.window_from)


def _once_back(service: InService, due: Due, *, late_days: int) -> Due:
    """What could not be done while it was away is due on the day that it comes back."""
    back = None if due.window_to is None else comes_back(service, due.window_to)
    if back is None:
        return due
    closes = back + timedelta(days=late_days)
    return replace(due, due_on=back, window_from=back, window_to=closes)


def comes_back(service: InService, day: date) -> date | None:
    """The day on which is back what is away on a day; None where it is there, or gone."""
    return None if service.absence_on(day) is None else service.back_in_use(day)


def operating_calendar(ledger: Ledger) -> OperatingCalendar:
    site = ledger.site
    return OperatingCalendar(
        open_weekdays=frozenset(number + 1 for number in site.open_hours) or frozenset(range(1, 8)),
        closures=tuple(Closure(first=c.first, last=c.last) for c in site.closures),
    )


def counts_for(ledger: Ledger) -> Mapping[str, tuple[str, ...]]:
    """For each task, itself and every task that it covers, however deep."""
    found = {}
    for ident in ledger.tasks:
        reached: dict[str, None] = {}
        waiting = [ident]
        while waiting:
            task = waiting.pop()
            if task in ledger.tasks and task not in reached:
                reached[task] = None
                waiting.extend(ledger.tasks[task].covers)
        found[ident] = tuple(reached)
    return found


_SAFETY_POINTS = frozenset({"guard", "emergency-stop"})

_SAFETY_MACHINES = frozenset({"safety-circuit"})


def serves_the_line(ledger: Ledger, place: Place) -> bool:
    """Whether a place does its part for the line also while its machine is out of action.

    An emergency stop at a brush that is tied back still has to stop the conveyor.
    """
    point = ledger.point(place)
    is_stop = point is not None and point.kind == "emergency-stop"
    return is_stop or ledger.machines[place.machine].kind in _SAFETY_MACHINES


def before_it_runs_again(ledger: Ledger, machine: str) -> tuple[Task, ...]:
    """The safety tasks of a machine, to be done once it is no longer tied back."""
    return tuple(
        task
        for task in ledger.tasks.values()
        if is_for_safety(ledger, task)
        and not task.inspects_lockout
        and any(place.machine == machine for place in task.places)
    )


def is_for_safety(ledger: Ledger, task: Task) -> bool:
    """Whether the task is for safety: by its own word, its basis in law, or what it looks at."""
    points = (ledger.point(place) for place in task.places)
    return ledger.once(
        (is_for_safety, task.ident),
        lambda: (
            task.safety
            or task.names_law
            or any(ledger.machines[place.machine].kind in _SAFETY_MACHINES for place in task.places)
            or any(point is not None and point.kind in _SAFETY_POINTS for point in points)
        ),
    )


def is_looked_at(ledger: Ledger, task: Task) -> bool:
    """Whether one answer may speak for many places of it.

    What is read, done with hands in, for safety or asked for by law is answered place by place.
    """
    return not (task.reads or task.lockout or is_for_safety(ledger, task))


def may_do(person: Person, task: Task) -> bool:
    """Whether the person holds every qualification that the task needs."""
    return task.needs <= person.qualified


def by_task(work: Sequence[DueWork]) -> list[list[DueWork]]:
    """The work of each task together, in the order in which the walk comes to the tasks."""
    return list(grouped(work, lambda one: one.task.ident).values())


PASSES = {
    When.BEFORE_OPENING: "Before opening",
    When.RUNNING: "While the line runs",
    When.CLOSED: "When the line is closed",
}


def belongs_to_daily_round(one: DueWork) -> bool:
    """Whether the work comes round every day."""
    return one.due.because is not None and is_daily(one.due.because)


def minutes_of(work: Sequence[DueWork]) -> float:
    """Minutes the work takes by its tasks; tasks that state none count as nothing."""
    return sum(one.task.minutes or 0.0 for one in work)


def minutes_of_walk(ledger: Ledger, work: Sequence[DueWork]) -> float:
    """Minutes of the work, and once for each machine those of its locks."""
    locked = {one.place.machine for one in work if one.task.lockout}
    return minutes_of(work) + len(locked) * ledger.site.policy.lockout_minutes
