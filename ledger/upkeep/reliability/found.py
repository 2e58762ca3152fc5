"""What fails, how often, for how long and at what cost: per machine and per kind of point.

Everything is said up to the day of the last visit, so it depends on the sources alone.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from datetime import timedelta
from typing import TypeAlias

from ledger.compute import reliability as formulas
from ledger.compute import weibull
from ledger.compute.numbers import NoAnswer, NotEnoughData, fixed, shown_probability
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.model.meters import Watch, Watches, open_between, open_hours
from ledger.model.references import Place
from ledger.model.visits import Entry, StockMove
from ledger.upkeep.downtime.found import cost_per_h, united
from ledger.upkeep.findings.found import Finding, findings
from ledger.upkeep.reliability.sisters import Sisters, sisters_of
from ledger.values import dataclass

LEVEL = 0.90
"""Confidence level of the limits of a mean time between failures."""

MIN_SIGNS = 3
"""Of fewer observed warnings the shortest says little of the next one."""

DETECTION = 0.9

ACCEPTED_MISS = 0.01
"""What a look is taken to see, and the chance of missing all that is accepted: assumptions, which
the page states; two looks in the warning time follow from them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """A finding of lost function, at the operating hours of its machine's watch."""

    entry: Entry
    hours: float

    @property
    def place(self) -> Place:
        return self.entry.places[0]


Replacement: TypeAlias = weibull.AgeAdvice | weibull.RunToFailure | NoAnswer
"""No age can be advised where several parts fail, or too few failures show that one would pay."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FailureCosts:
    """Of all failures: minutes stopped, minutes of work of all people, and what parts cost.

    The rates are those of the site, None where it states none; that of a stopped hour is the least
    and the most it can be.
    """

    failures: int
    stopped_minutes: float
    work_minutes: float
    parts: float
    down_per_h: tuple[float, float] | None
    labour_per_h: float | None

    @property
    def total(self) -> tuple[float, float]:
        """The least and the most money for what has a rate or a price."""
        work = self.work_minutes / 60 * (self.labour_per_h or 0.0) + self.parts
        low, high = (self.stopped_minutes / 60 * rate for rate in self.down_per_h or (0.0, 0.0))
        return low + work, high + work


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineReliability:
    """One machine over its watch.

    `mtbf` is None where the failures show a trend, since it would mean nothing: then `life` is
    the growth model. `available` is of the machine, down from the finding of a failure, or from
    when it was tied back, to the entry that closes it; `line_available` of the line, which stopped
    for as long as was noted and goes on beside a machine that is tied back. Both are in opening
    hours, and None where the site was never open. `replacement` is of the part at the one place
    that fails, and None without a Weibull life or without costs.
    """

    machine: Machine
    watch: Watch
    failures: tuple[Failure, ...]
    trend: formulas.TrendTest | NotEnoughData
    mtbf: formulas.MeanTimeBetweenFailures | None
    available: formulas.Availability | NotEnoughData | None
    line_available: formulas.Availability | None
    costs: FailureCosts | None
    life: weibull.WeibullFit | formulas.GrowthModel | NotEnoughData
    replacement: Replacement | None
    repeats: tuple[Sisters, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sign:
    """The first finding, still open, at a place that later failed; `days` lie between the two."""

    finding: Entry
    failure: Entry
    days: float


@dataclass(frozen=True, slots=True, kw_only=True)
class KindReliability:
    """All points of one kind on the site; `hours` are those of all points together.

    `worst` is the point with most failures and how many. `life` is of parts renewed within the
    record. `signs` are findings that came before a failure, `looks` how often to look for them.
    """

    kind: str
    points: int
    hours: float
    failures: tuple[Failure, ...]
    worst: tuple[Place, int]
    trend: formulas.TrendTest | NotEnoughData
    mtbf: formulas.MeanTimeBetweenFailures | None
    life: weibull.WeibullFit | NotEnoughData
    signs: tuple[Sign, ...]
    looks: formulas.InspectionPlan | NotEnoughData


@dataclass(frozen=True, slots=True, kw_only=True)
class Reliability:
    """Machines in walking order, with and without failures; kinds by name, those with failures.

    `outside` counts failures that no watch holds: before a meter's first reading.
    """

    failed: tuple[MachineReliability, ...]
    unfailed: tuple[MachineReliability, ...]
    kinds: tuple[KindReliability, ...]
    outside: int


def reliability(ledger: Ledger) -> Reliability:
    """Judge every machine that ran within the record, and every kind of point that failed."""
    watches = Watches(ledger)
    watch_of = {
        machine.ident: watch
        for machine in ledger.machines.values()
        if (watch := watches.of(machine)) is not None
    }
    failed = failures_on_record(ledger)
    failures = [
        Failure(entry=entry, hours=watch.hours_at(entry.day))
        for entry in failed
        if (watch := watch_of.get(entry.places[0].machine)) is not None and watch.holds(entry.day)
    ]
    found = findings(ledger)
    machines = [
        _machine(
            ledger,
            ledger.machines[ident],
            watch,
            [failure for failure in failures if failure.place.machine == ident],
            found,
            sisters_of(ledger, watch_of, [failure.place for failure in failures], ident),
        )
        for ident, watch in watch_of.items()
    ]
    return Reliability(
        failed=tuple(machine for machine in machines if machine.failures),
        unfailed=tuple(machine for machine in machines if not machine.failures),
        kinds=_kinds(ledger, watch_of, failures),
        outside=len(failed) - len(failures),
    )


def failures_on_record(ledger: Ledger) -> list[Entry]:
    """Every finding of lost function that stands, by time."""
    return [entry for entry in ledger.events if entry.finding and entry.failed]


def _machine(
    ledger: Ledger,
    machine: Machine,
    watch: Watch,
    failures: Sequence[Failure],
    found: Sequence[Finding],
    repeats: tuple[Sisters, ...],
) -> MachineReliability:
    times = [failure.hours for failure in failures]
    here = [e for e in ledger.events_at(machine.ident) if e.places[0].machine == machine.ident]
    trend = formulas.laplace_test(times, end_h=watch.hours)
    life = formulas.life_between_failures(
        times, end_h=watch.hours, new_at_start=machine.in_service == watch.first
    )
    refs = {failure.entry.ref for failure in failures}
    downs = [finding for finding in found if finding.entry.ref in refs]
    stopped = [minutes / 60 for minutes in _stops(here) if minutes]
    costs = failure_costs(ledger, downs)
    return MachineReliability(
        machine=machine,
        watch=watch,
        failures=tuple(failures),
        trend=trend,
        mtbf=_mtbf(watch.hours, len(failures), trend),
        available=_machine_available(ledger, watch, machine, downs),
        line_available=_available(ledger, watch, stopped),
        costs=costs,
        life=life,
        replacement=_replacement(
            machine, life, len({failure.place for failure in failures}), costs
        ),
        repeats=repeats,
    )


def _stops(entries: Iterable[Entry]) -> list[float]:
    """Minutes that the line stood for a machine, not for a vehicle or for want of water."""
    return [
        entry.stopped_minutes
        for entry in entries
        if entry.stopped_minutes is not None and entry.stop in {"", "machine"}
    ]


def _mtbf(
    hours: float, failures: int, trend: formulas.TrendTest | NotEnoughData
) -> formulas.MeanTimeBetweenFailures | None:
    if (
        isinstance(trend, formulas.TrendTest)
        and trend.trend is not formulas.FailureTrend.NONE_SHOWN
    ):
        return None
    return formulas.mean_time_between_failures(hours, failures, level=LEVEL)


def _machine_available(
    ledger: Ledger, watch: Watch, machine: Machine, downs: Sequence[Finding]
) -> formulas.Availability | NotEnoughData | None:
    """By the time from a failure, or from being tied back, to what closed that.

    Times that overlap are one stop.
    """
    stops = [(one.entry.when, one.closed_by) for one in downs] + [
        (one.since, one.closed_by)
        for one in ledger.tie_backs
        if one.machine == machine.ident and watch.holds(one.first_day)
    ]
    closed = [(since, closed_by.when) for since, closed_by in stops if closed_by is not None]
    if len(closed) < len(stops):
        return NotEnoughData(
            what="stops closed",
            have=len(closed),
            need=len(stops),
            why="a machine is down until an entry closes the finding, or its being tied back",
        )
    hours = (open_between(ledger.site, *span) for span in united(closed))
    return _available(ledger, watch, [down for down in hours if down > 0])


def _available(
    ledger: Ledger, watch: Watch, stops_h: Sequence[float]
) -> formulas.Availability | None:
    """By the opening hours of the days that the watch holds; None where stops fill them."""
    span = (watch.last - watch.first).days + 1
    days = (watch.first + timedelta(days=n) for n in range(span))
    open_h = ledger.once(
        # Most machines were watched on the same days.
        (watch.first, watch.last, watch.absences),
        lambda: sum(open_hours(ledger.site, day) for day in days if watch.holds(day)),
    )
    return formulas.availability(open_h, stops_h, level=LEVEL) if open_h > sum(stops_h) else None


def _replacement(
    machine: Machine,
    life: weibull.WeibullFit | formulas.GrowthModel | NotEnoughData,
    places: int,
    costs: FailureCosts | None,
) -> Replacement | None:
    """By the planned cost in the machine's file and what was filed of its failures.

    Where a failure's cost is a range, the least of it counts, so that no age is advised that may
    not pay; the file's own figure only where nothing was filed.
    """
    planned, failed = machine.planned_cost, machine.failure_cost
    if costs is not None and costs.total[0] > 0:
        failed = costs.total[0] / costs.failures
    if not isinstance(life, weibull.WeibullFit) or planned is None or failed is None:
        return None
    if places > 1:
        return NoAnswer(f"the failures lie at {places} different points")
    advice = weibull.age_advice(life, planned_cost=planned, failure_cost=failed)
    if isinstance(advice, weibull.AgeAdvice) and not advice.is_advised:
        return NoAnswer(
            "too few failures to say, so keep to the present rule (the best age would pay "
            f"with a probability of {shown_probability(advice.saves)}, and "
            f"{fixed(100 * weibull.ADVISED_AT, 0)} % is asked)"
        )
    return advice


def _kinds(
    ledger: Ledger, watch_of: dict[str, Watch], failures: Sequence[Failure]
) -> tuple[KindReliability, ...]:
    by_kind: dict[str, list[Failure]] = defaultdict(list)
    for failure in failures:
        point = ledger.point(failure.place)
        if point is not None:
            by_kind[point.kind].append(failure)
    return tuple(_kind(ledger, watch_of, kind, by_kind[kind]) for kind in sorted(by_kind))


def _kind(
    ledger: Ledger, watch_of: dict[str, Watch], kind: str, failures: Sequence[Failure]
) -> KindReliability:
    places = [
        Place(machine.ident, point.ident)
        for machine in ledger.machines.values()
        for point in machine.points.values()
        if machine.ident in watch_of and point.kind == kind
    ]
    hours = sum(watch_of[place.machine].hours for place in places)
    # Each failure at its share of its own watch: uniform from 0 to 1 where there is no trend.
    shares = [failure.hours / watch_of[failure.place.machine].hours for failure in failures]
    trend = formulas.laplace_test(shares, end_h=1.0)
    counts = Counter(failure.place for failure in failures)
    signs = signs_before(findings(ledger), [failure.entry for failure in failures])
    lives = [
        life for place in places for life in lives_of_point(ledger, place, watch_of[place.machine])
    ]
    return KindReliability(
        kind=kind,
        points=len(places),
        hours=hours,
        failures=tuple(failures),
        worst=min(counts.items(), key=lambda item: (-item[1], item[0])),
        trend=trend,
        mtbf=_mtbf(hours, len(failures), trend),
        life=weibull.weibull_fit(lives),
        signs=signs,
        looks=_looks(signs),
    )


def lives_of_point(ledger: Ledger, place: Place, watch: Watch) -> tuple[weibull.Life, ...]:
    """The lives of the parts at one point, in operating hours of the machine.

    A life begins when the record says that the part was renewed, or when the point itself came
    into service after the watch began: the age of what was there before is not known, and taking
    it as new would make parts look shorter-lived than they are. Renewed before the watch, the part
    has an age at its start, by the hours a day of the watch. A life ends with a failure, or, as a
    survivor, with a renewal before one or with the watch. Of a part that failed and whose renewal
    nobody noted, no further life is counted.
    """
    point = ledger.point(place)
    began = None
    if point is not None and point.in_service > watch.first:
        began = watch.hours_at(point.in_service)
    age_h = 0.0
    lives = []
    for entry in ledger.events_at(place.machine):
        if place not in entry.places:
            continue
        is_failure = bool(entry.finding and entry.failed)
        if entry.day < watch.first and (is_failure or entry.changed):
            began = 0.0 if entry.changed else None
            age_h = (watch.first - entry.day).days * watch.hours_per_day
        if not watch.holds(entry.day):
            continue
        now = watch.hours_at(entry.day)
        if is_failure:
            if began is not None:
                lives.append((began, now, age_h, True))
            began, age_h = None, 0.0
        if entry.changed:
            if began is not None:
                lives.append((began, now, age_h, False))
            began, age_h = now, 0.0
    if began is not None:
        lives.append((began, watch.hours, age_h, False))
    return tuple(
        weibull.Life(hours=age_h + end - begin, failed=failed, entered_h=age_h)
        for begin, end, age_h, failed in lives
        if end > begin
    )


def signs_before(found: Sequence[Finding], failures: Sequence[Entry]) -> tuple[Sign, ...]:
    """The sign before each failure that had one, by the time of the failure.

    The time from a sign to the failure is the site's own P-F interval, cut short where the sign
    could have been seen before somebody looked.
    """
    signs = []
    for failure in failures:
        earlier = [
            finding.entry
            for finding in found
            if not finding.entry.failed
            and finding.entry.places[:1] == failure.places[:1]
            and finding.entry.when < failure.when
            and (finding.closed_by is None or finding.closed_by.when >= failure.when)
        ]
        if earlier:
            first = min(earlier, key=lambda entry: (entry.when, entry.ref))
            days = (failure.when - first.when) / timedelta(days=1)
            signs.append(Sign(finding=first, failure=failure, days=days))
    return tuple(signs)


def _looks(signs: Sequence[Sign]) -> formulas.InspectionPlan | NotEnoughData:
    if len(signs) < MIN_SIGNS:
        return NotEnoughData(
            what="failures that a finding announced",
            have=len(signs),
            need=MIN_SIGNS,
            why="the shortest warning of fewer says little of the next",
        )
    return formulas.inspection_plan(
        pf_interval_days=min(sign.days for sign in signs),
        detection=DETECTION,
        acceptable_miss=ACCEPTED_MISS,
    )


def failure_costs(ledger: Ledger, downs: Sequence[Finding]) -> FailureCosts | None:
    """None where nothing that has a rate or a price was filed of the failures.

    The work is that of the failures' own entries and of those that close them, times the people
    of the visit; the parts are those used in the same visits at the same machine.
    """
    costs = ledger.site.costs
    if costs is None or not downs:
        return None
    work = [entry for one in downs for entry in (one.entry, one.closed_by) if entry is not None]
    visits = {entry.ref.visit for entry in work}
    machines = {place.machine for one in downs for place in one.entry.places}
    estimate = FailureCosts(
        failures=len(downs),
        stopped_minutes=sum(_stops(one.entry for one in downs)),
        work_minutes=sum((entry.minutes or 0.0) * (1 + len(entry.helpers)) for entry in work),
        parts=sum(
            _price_of(ledger, entry.stock)
            for entry in ledger.events
            if entry.ref.visit in visits
            and entry.stock is not None
            and (not entry.places or not machines.isdisjoint(p.machine for p in entry.places))
        ),
        down_per_h=cost_per_h(ledger),
        labour_per_h=costs.labour_per_h,
    )
    return estimate if estimate.total[1] > 0 else None


def _price_of(ledger: Ledger, move: StockMove) -> float:
    """What the amount used of a part costs, at its price for a pack; 0 where none is stated."""
    part = ledger.parts.get(move.part)
    if part is None or part.cost is None:
        return 0.0
    return part.cost / (part.pack or 1.0) * (move.used or 0.0)
