"""What fails, how often, for how long and at what cost: per machine and per kind of point.

Everything is said up to the day of the last visit, so it depends on the sources alone.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import partial
from typing import TypeAlias

from ledger.compute import weibull
from ledger.compute.numbers import NotEnoughData, significant
from ledger.compute.reliability import (
    FailureTrend,
    GrowthModel,
    InspectionPlan,
    MeanTimeBetweenFailures,
    TrendTest,
    availability,
    inspection_plan,
    laplace_test,
    life_between_failures,
    mean_time_between_failures,
)
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.model.meters import Watch, Watches
from ledger.model.references import Place
from ledger.model.visits import Entry
from ledger.upkeep.findings.found import Finding, findings
from ledger.upkeep.reliability.sisters import Sisters, sisters_of

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


@dataclass(frozen=True, slots=True, kw_only=True)
class BestAge:
    """The age at the best estimates, and the range of ages over the limits of shape and scale."""

    best: weibull.ReplaceAtAge
    lower_h: float
    upper_h: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NoAge:
    """No age can be said to be the best: several parts fail, or none is shown to wear out."""

    reason: str


Replacement: TypeAlias = BestAge | NoAge | weibull.RunToFailure


@dataclass(frozen=True, slots=True, kw_only=True)
class Availability:
    """Steady-state availability at the MTBF's estimate and limits; the repair time is taken as
    exact. `upper` is 1 where the MTBF has no upper limit.
    """

    estimate: float
    lower: float
    upper: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineReliability:
    """One machine over its watch.

    `mtbf` is None where the failures show a trend, since it would mean nothing: then `life` is
    the growth model. `down_minutes` adds up every stop noted at the machine;
    `mean_down_minutes` is the mean of the failures that noted one. `replacement` is of the part at
    the one place that fails, and None without a Weibull life or without costs.
    """

    machine: Machine
    watch: Watch
    failures: tuple[Failure, ...]
    down_minutes: float
    mean_down_minutes: float | None
    trend: TrendTest | NotEnoughData
    mtbf: MeanTimeBetweenFailures | NotEnoughData | None
    available: Availability | None
    life: weibull.WeibullFit | GrowthModel | NotEnoughData
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
    trend: TrendTest | NotEnoughData
    mtbf: MeanTimeBetweenFailures | NotEnoughData | None
    life: weibull.WeibullFit | NotEnoughData
    signs: tuple[Sign, ...]
    looks: InspectionPlan | NotEnoughData


@dataclass(frozen=True, slots=True, kw_only=True)
class Reliability:
    """Machines in walking order, with and without failures; kinds by name, those with failures.

    `outside` counts failures that no watch holds: before a meter's first reading.
    """

    failed: tuple[MachineReliability, ...]
    unfailed: tuple[MachineReliability, ...]
    kinds: tuple[KindReliability, ...]
    outside: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FailureCosts:
    """Minutes over all failures; the rates are those of the site, None where it states none."""

    failures: int
    stopped_minutes: float
    work_minutes: float
    down_per_h: float | None
    labour_per_h: float | None

    @property
    def total(self) -> float:
        """Money for the minutes that have a rate."""
        stopped = self.stopped_minutes / 60 * (self.down_per_h or 0.0)
        return stopped + self.work_minutes / 60 * (self.labour_per_h or 0.0)


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
    machines = [
        _machine(
            ledger,
            ledger.machines[ident],
            watch,
            [failure for failure in failures if failure.place.machine == ident],
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
    return [entry for entry in ledger.telling if entry.finding and entry.failed]


def _machine(
    ledger: Ledger,
    machine: Machine,
    watch: Watch,
    failures: Sequence[Failure],
    repeats: tuple[Sisters, ...],
) -> MachineReliability:
    times = [failure.hours for failure in failures]
    here = [e for e in ledger.standing_at(machine.ident) if e.places[0].machine == machine.ident]
    repairs = _stops(failure.entry for failure in failures)
    mean_down = sum(repairs) / len(repairs) if repairs else None
    trend = laplace_test(times, end_h=watch.hours)
    mtbf = _mtbf(watch.hours, len(failures), trend)
    life = life_between_failures(times, end_h=watch.hours)
    return MachineReliability(
        machine=machine,
        watch=watch,
        failures=tuple(failures),
        down_minutes=sum(_stops(here)),
        mean_down_minutes=mean_down,
        trend=trend,
        mtbf=mtbf,
        available=_available(mtbf, mean_down),
        life=life,
        replacement=_replacement(machine, life, len({failure.place for failure in failures})),
        repeats=repeats,
    )


def _stops(entries: Iterable[Entry]) -> list[float]:
    return [entry.stopped_minutes for entry in entries if entry.stopped_minutes is not None]


def _mtbf(
    hours: float, failures: int, trend: TrendTest | NotEnoughData
) -> MeanTimeBetweenFailures | NotEnoughData | None:
    if isinstance(trend, TrendTest) and trend.trend is not FailureTrend.NONE_SHOWN:
        return None
    return mean_time_between_failures(hours, failures, level=LEVEL)


def _available(
    mtbf: MeanTimeBetweenFailures | NotEnoughData | None, mean_down_minutes: float | None
) -> Availability | None:
    if mean_down_minutes is None or not isinstance(mtbf, MeanTimeBetweenFailures):
        return None
    if mtbf.estimate_h is None:
        return None
    down_h = mean_down_minutes / 60
    return Availability(
        estimate=availability(mtbf_h=mtbf.estimate_h, mttr_h=down_h),
        lower=availability(mtbf_h=mtbf.lower_h, mttr_h=down_h),
        upper=availability(mtbf_h=mtbf.upper_h, mttr_h=down_h),
    )


def _replacement(
    machine: Machine, life: weibull.WeibullFit | GrowthModel | NotEnoughData, places: int
) -> Replacement | None:
    planned, failed = machine.planned_cost, machine.failure_cost
    if not isinstance(life, weibull.WeibullFit) or planned is None or failed is None:
        return None
    if places > 1:
        return NoAge(reason=f"the failures lie at {places} different points")
    if life.shape_lower <= 1 < life.shape_upper:
        lower, upper = significant(life.shape_lower, 2), significant(life.shape_upper, 2)
        return NoAge(
            reason="the record does not show that the part wears out (shape from "
            f"{lower} to {upper}, and only above 1 does it)"
        )
    best_age = partial(weibull.best_replacement_age, planned_cost=planned, failure_cost=failed)
    best = best_age(shape=life.shape, scale_h=life.scale_h)
    if isinstance(best, weibull.RunToFailure):
        return best
    corners = [
        best_age(shape=shape, scale_h=scale_h)
        for shape in (life.shape_lower, life.shape_upper)
        for scale_h in (life.scale_lower_h, life.scale_upper_h)
    ]
    ages = [
        best.age_h,
        *(corner.age_h for corner in corners if isinstance(corner, weibull.ReplaceAtAge)),
    ]
    return BestAge(best=best, lower_h=min(ages), upper_h=max(ages))


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
    trend = laplace_test(shares, end_h=1.0)
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
    it as new would make parts look shorter-lived than they are. It ends with a failure, or, as a
    survivor, with a renewal before one or with the watch. Of a part that failed and whose renewal
    nobody noted, no further life is counted.
    """
    point = ledger.point(place)
    began = None
    if point is not None and point.in_service > watch.first:
        began = watch.hours_at(point.in_service)
    lives = []
    for entry in ledger.telling_at(place.machine):
        if place not in entry.places or not watch.holds(entry.day):
            continue
        now = watch.hours_at(entry.day)
        if entry.finding and entry.failed:
            if began is not None:
                lives.append((began, now, True))
            began = None
        if entry.changed:
            if began is not None:
                lives.append((began, now, False))
            began = now
    if began is not None:
        lives.append((began, watch.hours, False))
    return tuple(
        weibull.Life(hours=end - begin, failed=failed)
        for begin, end, failed in lives
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


def _looks(signs: Sequence[Sign]) -> InspectionPlan | NotEnoughData:
    if len(signs) < MIN_SIGNS:
        return NotEnoughData(
            what="failures that a finding announced",
            have=len(signs),
            need=MIN_SIGNS,
            why="the shortest warning of fewer says little of the next",
        )
    return inspection_plan(
        pf_interval_days=min(sign.days for sign in signs),
        detection=DETECTION,
        acceptable_miss=ACCEPTED_MISS,
    )


def failure_costs(ledger: Ledger, found: MachineReliability) -> FailureCosts | None:
    """None where nothing that has a rate was filed of the failures.

    The work is that of the failures' own entries and of those that close them.
    """
    costs = ledger.site.costs
    if costs is None:
        return None
    failed = {failure.entry.ref for failure in found.failures}
    told = FailureCosts(
        failures=len(failed),
        stopped_minutes=sum(_stops(failure.entry for failure in found.failures)),
        work_minutes=sum(
            entry.minutes or 0.0
            for entry in ledger.telling
            if entry.ref in failed or entry.closes in failed
        ),
        down_per_h=costs.down_per_h,
        labour_per_h=costs.labour_per_h,
    )
    return told if told.total > 0 else None
