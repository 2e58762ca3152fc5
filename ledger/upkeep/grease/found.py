"""Grease of every bearing: how much, how often by the handbook and by practice, and what it got."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from enum import StrEnum

from ledger.compute import grease
from ledger.compute.grease import Bounds, GreaseInterval, OutOfRange, RatingLife
from ledger.compute.numbers import NotEnoughData
from ledger.model.ledger import Ledger
from ledger.model.machines import Bearing, ElectricDrive, Machine, Point
from ledger.model.meters import Pace, Watch, Watches
from ledger.model.references import Place
from ledger.model.visits import Entry
from ledger.upkeep.grease.given import GreaseGiven, GreaseTask, grease_given, grease_tasks
from ledger.upkeep.speeds.found import target_of
from ledger.values import dataclass, replace

# The words of the equipment files, in the order of the handbook's factors.
_DIRT = dict(zip(("clean", "light", "heavy", "severe"), grease.Contamination, strict=True))

_WATER = dict(zip(("dry", "damp", "spray", "wash-down"), grease.Moisture, strict=True))

_VIBRATION = dict(zip(("little", "some", "much"), grease.Vibration, strict=True))

_MOUNTING = dict(zip(("horizontal", "inclined", "vertical"), grease.ShaftPosition, strict=True))

_ROLLING = dict(zip(("ball", "cylindrical", "tapered"), grease.BearingDesign, strict=True))


class SpeedBasis(StrEnum):
    """Where the speed comes from that a bearing is reckoned at."""

    BAND = "the band's target at the site's line rate"
    NAMEPLATE = "nameplate speed over the reduction"


@dataclass(frozen=True, slots=True, kw_only=True)
class Factor:
    """One factor of the handbook's formula, and the condition that sets it."""

    symbol: str
    condition: str
    value: float


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
    handbook_h: float | OutOfRange
    hours_per_day: float | None
    interval: GreaseInterval | None
    given: GreaseGiven | NotEnoughData | None
    life: RatingLife | None

    @property
    def factor(self) -> float:
        """K, the product of the factors."""
        return grease.handbook_factor(conditions_of(self.bearing))


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


def conditions_of(bearing: Bearing) -> grease.GreaseConditions:
    """A bearing's surroundings in the handbook's terms."""
    return grease.GreaseConditions(
        temperature_c=bearing.surface_c,
        contamination=_DIRT[bearing.dirt],
        moisture=_WATER[bearing.water],
        vibration=_VIBRATION[bearing.vibration],
        position=_MOUNTING[bearing.mounting],
        design=_ROLLING[bearing.rolling],
    )


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
    charge_g = (
        None
        if bearing.outer_mm is None or bearing.width_mm is None
        else grease.grease_mass_g(outer_mm=bearing.outer_mm, width_mm=bearing.width_mm)
    )
    rpm, basis = (None, None) if swings else _speed(ledger, machine)
    handbook_h = _handbook(bearing, swings=swings, rpm=rpm)
    if hours_per_day is None and not isinstance(handbook_h, OutOfRange):
        handbook_h = OutOfRange(text="no running hours are on record")
    # The most frequent comes first; those that cannot be said in days come last.
    practice = tasks[0].interval_days if tasks else None
    interval = (
        None
        if practice is None
        else grease.grease_interval(
            practice_days=practice,
            handbook=handbook_h,
            running_hours_per_day=hours_per_day or 24.0,
        )
    )
    return GreasePoint(
        place=place,
        bearing=bearing,
        swings=swings,
        tasks=tasks,
        charge_g=charge_g,
        charge_strokes=None
        if charge_g is None
        else grease.strokes_for(
            charge_g, grams_per_stroke=tasks[0].part.grams_per_stroke if tasks else None
        ),
        speed_rpm=rpm,
        speed_basis=basis,
        factors=_factors(bearing),
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
        case _:
            return None, None


def _handbook(bearing: Bearing, *, swings: bool, rpm: float | None) -> float | OutOfRange:
    if swings:
        return OutOfRange(text="it swings, and the formula is for turning bearings")
    if bearing.bore_mm is None:
        return OutOfRange(text="the bore is not stated")
    if rpm is None:
        return OutOfRange(text="its speed is not stated")
    return grease.handbook_hours(
        speed_rpm=rpm, bore_mm=bearing.bore_mm, conditions=conditions_of(bearing)
    )


def _factors(bearing: Bearing) -> tuple[Factor, ...]:
    conditions = {
        "Ft": f"{bearing.surface_c:g} °C",
        "Fc": f"dirt {bearing.dirt}",
        "Fm": f"water {bearing.water}",
        "Fv": f"shakes {bearing.vibration}",
        "Fp": bearing.mounting,
        "Fd": bearing.rolling,
    }
    return tuple(
        Factor(symbol=symbol, condition=conditions[symbol], value=value)
        for symbol, value in grease.handbook_factors(conditions_of(bearing)).items()
    )


def _life(
    ledger: Ledger, bearing: Bearing, *, swings: bool, rpm: float | None
) -> RatingLife | None:
    if bearing.dynamic_load_kn is None or bearing.load_kn is None:
        return None
    element = (
        grease.RollingElement.BALL if bearing.rolling == "ball" else grease.RollingElement.ROLLER
    )
    life_mrev = grease.rating_life_mrev(
        dynamic_rating_kn=bearing.dynamic_load_kn, load_kn=bearing.load_kn, element=element
    )
    if swings and bearing.sweep_deg is not None:
        life = grease.swinging_life(
            life_mrev=life_mrev,
            swings_per_min=swings_per_min(ledger),
            sweep_deg=bearing.sweep_deg,
        )
    elif rpm is None:
        return None
    else:
        life = RatingLife(hours=grease.rating_life_hours(life_mrev=life_mrev, speed_rpm=rpm))
    return replace(life, overloaded=bearing.load_kn > bearing.dynamic_load_kn)
