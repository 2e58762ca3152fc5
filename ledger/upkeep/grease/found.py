"""Grease of every bearing: how much, how often by the handbook and by practice, and what it got."""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from enum import StrEnum

from ledger.compute import grease
from ledger.compute.grease import Bounds, GreaseInterval
from ledger.compute.numbers import NoAnswer, NotEnoughData
from ledger.model.ledger import Ledger
from ledger.model.machines import Bearing, ElectricDrive, Machine, Point
from ledger.model.meters import Pace, Watch, Watches
from ledger.model.references import Place
from ledger.model.visits import Entry
from ledger.upkeep.grease.given import GreaseGiven, GreaseTask, grease_given, grease_tasks
from ledger.upkeep.speeds.found import target_of
from ledger.values import dataclass


class SpeedBasis(StrEnum):
    """Where the speed comes from that a bearing is reckoned at."""

    BAND = "the band's target at the site's line rate"
    NAMEPLATE = "nameplate speed over the reduction"


@dataclass(frozen=True, slots=True)
class Factor:
    """One factor of the handbook's formula, and the condition that sets it."""

    symbol: str
    condition: str
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RatingLife:
    """L10h in running hours; `fretting` where a swing is so small that fretting rules instead.

    `overloaded` where the load is above the dynamic rating: the life equation was made for less
    than half of it (ISO 281:2007), and such a life is a figure without a meaning.
    """

    hours: float
    fretting: bool
    overloaded: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class GreasePoint:
    """One bearing.

    `charge_g` is the grease of one greasing by the bearing's size, None where the size is not
    stated. `handbook_h` are running hours. `interval` is None where no task greases the point in
    days that can be said; `given` where no task greases it. `hours_per_day` is its machine's
    running time by the calendar day.
    """

    place: Place
    bearing: Bearing
    swings: bool
    tasks: tuple[GreaseTask, ...]
    charge_g: float | None
    charge_strokes: Bounds | None
    speed_rpm: float | None
    speed_basis: SpeedBasis | None
    factors: tuple[Factor, ...]
    handbook_h: float | NoAnswer
    hours_per_day: float | None
    interval: GreaseInterval | None
    given: GreaseGiven | NotEnoughData | None
    life: RatingLife | None

    @property
    def factor(self) -> float:
        """K, the product of the factors."""
        return math.prod(factor.value for factor in self.factors)


def lubrication(
    ledger: Ledger, done_at: Callable[[str], Iterable[Entry]] | None = None
) -> tuple[GreasePoint, ...]:
    """Every bearing of the machines in use, in walking order; from the sources alone.

    `done_at` gives what used parts at a machine in the last two years, where that is at hand.
    """
    done_at = done_at or ledger.standing_at
    last = ledger.overall.last_day
    watches = Watches(ledger)
    tasks_of = grease_tasks(ledger, Pace(ledger))
    found: list[GreasePoint] = []
    for machine in ledger.machines.values():
        if last is not None and not machine.in_use(last):
            continue
        hours_per_day = _hours_per_day(machine, watches.of(machine))
        found.extend(
            _grease_point(ledger, machine, point, point.rating, hours_per_day, tasks_of, done_at)
            for point in machine.points.values()
            if isinstance(point.rating, Bearing)
            and (last is None or point.absence_on(last) is None)
        )
    return tuple(found)


def _hours_per_day(machine: Machine, watch: Watch | None) -> float | None:
    """Running hours of a mean day; None where the meter was misread: no day has more than 24."""
    if watch is None:
        return None
    hours = watch.hours / machine.days_in_use(watch.first, watch.last)
    return hours if hours <= 24 else None


def swings_per_min(ledger: Ledger) -> float:
    """One swing there and back for each vehicle (common practice, no source)."""
    return ledger.site.line.line_rate_per_h / 60


def _grease_point(
    ledger: Ledger,
    machine: Machine,
    point: Point,
    bearing: Bearing,
    hours_per_day: float | None,
    tasks_of: Mapping[Place, Sequence[GreaseTask]],
    done_at: Callable[[str], Iterable[Entry]],
) -> GreasePoint:
    place = Place(machine.ident, point.ident)
    swings = point.kind == "pivot-bearing"
    tasks = tuple(tasks_of.get(place, ()))
    charge_g = charge_strokes = interval = None
    if bearing.outer_mm is not None and bearing.width_mm is not None:
        charge_g = grease.grease_mass_g(outer_mm=bearing.outer_mm, width_mm=bearing.width_mm)
        charge_strokes = grease.strokes_for(
            charge_g, grams_per_stroke=tasks[0].part.grams_per_stroke if tasks else None
        )
    rpm, basis = (None, None) if swings else _speed(ledger, machine)
    factors = _factors(bearing)
    handbook_h = _handbook(bearing, factors, swings=swings, rpm=rpm)
    if hours_per_day is None and not isinstance(handbook_h, NoAnswer):
        handbook_h = NoAnswer("no running hours are on record")
    # The most frequent comes first; those that cannot be said in days come last.
    if tasks and (practice := tasks[0].interval_days) is not None:
        interval = grease.grease_interval(
            practice_days=practice,
            handbook=handbook_h,
            running_hours_per_day=hours_per_day or 24.0,
        )
    return GreasePoint(
        place=place,
        bearing=bearing,
        swings=swings,
        tasks=tasks,
        charge_g=charge_g,
        charge_strokes=charge_strokes,
        speed_rpm=rpm,
        speed_basis=basis,
        factors=factors,
        handbook_h=handbook_h,
        hours_per_day=hours_per_day,
        interval=interval,
        given=grease_given(
            ledger, point, place, tasks, charge_g, interval, done_at(machine.ident) if tasks else ()
        ),
        life=_life(ledger, bearing, swings=swings, rpm=rpm),
    )


def _speed(ledger: Ledger, machine: Machine) -> tuple[float | None, SpeedBasis | None]:
    """The speed of the machine's shaft, in r/min, at the site's line rate."""
    target = target_of(machine, ledger.site.line.line_rate_per_h)
    if target is not None:
        return target, SpeedBasis.BAND
    match machine.drive:
        case ElectricDrive(rated_rpm=float(rated), reduction=float(reduction)):
            return rated / reduction, SpeedBasis.NAMEPLATE
    return None, None


def _factors(bearing: Bearing) -> tuple[Factor, ...]:
    def by_word(symbol: str, word: str, of: str = "") -> Factor:
        return Factor(symbol, f"{of}{word}", grease.FACTORS[symbol][word])

    heat = grease.temperature_factor(bearing.surface_c)
    return (
        Factor("Ft", f"{bearing.surface_c:g} °C", heat),
        by_word("Fc", bearing.dirt, "dirt "),
        by_word("Fm", bearing.water, "water "),
        by_word("Fv", bearing.vibration, "shakes "),
        by_word("Fp", bearing.mounting),
        by_word("Fd", bearing.rolling),
    )


def _handbook(
    bearing: Bearing, factors: Sequence[Factor], *, swings: bool, rpm: float | None
) -> float | NoAnswer:
    if swings:
        return NoAnswer("it swings, and the formula is for turning bearings")
    if bearing.bore_mm is None:
        return NoAnswer("the bore is not stated")
    if rpm is None:
        return NoAnswer("its speed is not stated")
    return grease.handbook_hours(
        speed_rpm=rpm, bore_mm=bearing.bore_mm, factor=math.prod(one.value for one in factors)
    )


def _life(
    ledger: Ledger, bearing: Bearing, *, swings: bool, rpm: float | None
) -> RatingLife | None:
    sweep = bearing.sweep_deg if swings else None
    if sweep is not None:
        rpm = grease.equivalent_speed_rpm(swings_per_min=swings_per_min(ledger), sweep_deg=sweep)
    if bearing.dynamic_load_kn is None or bearing.load_kn is None or rpm is None:
        return None
    life_mrev = grease.rating_life_mrev(
        dynamic_rating_kn=bearing.dynamic_load_kn,
        load_kn=bearing.load_kn,
        is_ball=bearing.rolling == "ball",
    )
    return RatingLife(
        hours=grease.rating_life_hours(life_mrev=life_mrev, speed_rpm=rpm),
        fretting=sweep is not None and sweep < grease.FRETTING_SWEEP_DEG,
        overloaded=bearing.load_kn > bearing.dynamic_load_kn,
    )
