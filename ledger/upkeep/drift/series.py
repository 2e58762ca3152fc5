"""Series of readings of one quantity at one place, in one unit, with their limits and re-basings.

A further kind of reading is one more line in `KINDS`.

The limits that readings should keep: one place, so that every page holds them to the same.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TypeAlias

from ledger.compute.trend import STRIP_U_MM, TimedReading
from ledger.compute.wear import (
    MOST_FORCE_PER_NORMAL,
    SOUND_SHARE,
    TAPE_U_MM,
    CatchTest,
    NozzleState,
    belt_deflection_mm,
    chain_limit_percent,
    chain_wear,
    nozzle_state,
)
from ledger.model.ledger import Ledger
from ledger.model.machines import (
    BeltRating,
    ChainRating,
    ClothRating,
    ElectricDrive,
    Machine,
    NozzleRating,
    Point,
)
from ledger.model.readings import (
    BELT_DEFLECTION,
    CATCH,
    CHAIN_LENGTH,
    CURRENT,
    PRESSURE,
    STRIP,
    TEMPERATURE,
    Readings,
)
from ledger.model.references import EntryRef, Place
from ledger.model.visits import Entry
from ledger.upkeep.speeds.found import RATIO_RESETS

Limits: TypeAlias = tuple[float | None, float | None]
"""The lowest and the highest value, in the unit of the kind; None where none is stated."""


# The force noted beside a belt is taken as the middle of the maker's range, which goes from the
# normal force to half as much again. Common practice, no source.
FORCE_PER_NORMAL = (1 + MOST_FORCE_PER_NORMAL) / 2


def no_limits(_machine: Machine, _point: Point | None) -> Limits:
    """For quantities of which the files state no limit."""
    return None, None


def full_load(machine: Machine, _point: Point | None) -> Limits:
    """At most the full-load current of the motor's nameplate, in A."""
    drive = machine.drive
    return None, drive.full_load_a if isinstance(drive, ElectricDrive) else None


def worn_length(_machine: Machine, point: Point | None) -> Limits:
    """At least the length at which strips are replaced, in mm."""
    rating = point.rating if point else None
    return rating.worn_length_mm if isinstance(rating, ClothRating) else None, None


def chain_limit(_machine: Machine, point: Point | None) -> Limits:
    """At most the elongation of `compute.wear.chain_limit_percent`, in %."""
    rating = point.rating if point else None
    if not isinstance(rating, ChainRating):
        return None, None
    return None, chain_limit_percent(adjustable=rating.adjustable)


def sound_flow(_machine: Machine, _point: Point | None) -> Limits:
    """Between the shares of its new flow that a sound nozzle gives, in %."""
    return 100 * SOUND_SHARE.low, 100 * SOUND_SHARE.high


def belt_limits(_machine: Machine, point: Point | None) -> Limits:
    """The deflections between which a belt's tension is good, under the force noted, in mm."""
    rating = point.rating if point else None
    return belt_limits_mm(rating.span_mm) if isinstance(rating, BeltRating) else (None, None)


def belt_limits_mm(span_mm: float) -> tuple[float, float]:
    """The deflections between which a belt of this span has good tension, in mm."""
    due = belt_deflection_mm(span_mm) * FORCE_PER_NORMAL
    return due / MOST_FORCE_PER_NORMAL, due


MIN_READINGS = 8
"""Fewer readings make no baseline (`drift_baseline.MIN_BASELINE`), and the series is only named."""


# How finely a gauge, a clamp meter, a thermometer and a rule are read. Common practice, no source.
# Small on purpose: what scatters beyond it is found from the baseline, but an uncertainty stated
# too wide would hide a drift.
_FINENESS_SHARE = 0.01

_THERMOMETER_U_C = 0.5

_RULE_U_MM = 0.3

_LEAST_U = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A value and its standard uncertainty, in the unit of its kind."""

    value: float
    u: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesKind:
    """A quantity that is followed over time.

    `rebased_by` are the changes after which earlier readings no longer compare, None for any.
    They count on the whole machine, or with `at_point` at the same point only. A quantity that
    wears by nature has no level to hold it to: it is forecast, not charted (`is_charted`). A dial
    or a rule is read to its graduation and repeats itself, so that a run on one side of the
    baseline shows the graduation and not the machine (`is_graduated`): no rule on runs then.
    """

    ident: str
    name: str
    unit: str
    rebased_by: frozenset[str] | None
    at_point: bool = False
    is_charted: bool = True
    is_graduated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesReading:
    """One reading of a series with the entry it comes from."""

    entry: Entry
    measured: Measured

    @property
    def timed(self) -> TimedReading:
        return TimedReading(
            day=self.entry.day.toordinal(),
            value=self.measured.value,
            standard_uncertainty=self.measured.u,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rebase:
    """A recorded decision or repair from which a new baseline counts.

    `ends_trend` where it also makes the part as new, so that earlier wear is over; a changed
    setpoint does not.
    """

    day: date
    what: str
    ends_trend: bool
    evidence: tuple[EntryRef, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """Readings by day, with the limits that the true value should keep, in the kind's unit."""

    kind: SeriesKind
    place: Place
    readings: tuple[SeriesReading, ...]
    lower: float | None
    upper: float | None
    rebases: tuple[Rebase, ...]

    @property
    def ident(self) -> str:
        """A name for files and options: `speed-brush-p2`, `strip-length-brush-p2-cloth`."""
        return "-".join(filter(None, (self.kind.ident, self.place.machine, self.place.point)))


Reader = Callable[[Readings, Machine, Point | None], Measured | None]

Limiter = Callable[[Machine, Point | None], Limits]


def ordered(readings: Sequence[SeriesReading]) -> tuple[SeriesReading, ...]:
    """By day, and within a day as `compute.stretch` orders them."""
    return tuple(
        sorted(readings, key=lambda r: (r.entry.day, r.measured.value, r.measured.u, r.entry.ref))
    )


def rebases_of(ledger: Ledger, kind: SeriesKind, place: Place) -> tuple[Rebase, ...]:
    """The recorded changes of parts that re-base a series, by day."""
    return tuple(
        Rebase(
            day=entry.day,
            what=f"new {entry.changed.replace('-', ' ')}" if entry.changed != "other" else "repair",
            ends_trend=True,
            evidence=(entry.ref,),
        )
        for entry in ledger.standing_at(place.machine)
        if entry.changed
        and (kind.rebased_by is None or entry.changed in kind.rebased_by)
        and (not kind.at_point or place in entry.places)
    )


def measured_series(ledger: Ledger) -> tuple[Series, ...]:
    """Every series of readings other than shaft speed, in walking order, then by point and kind."""
    found: dict[tuple[str, str, str], list[SeriesReading]] = {}
    for entry in ledger.standing:
        place = entry.place
        if place is None:
            continue
        machine, point = ledger.machines[place.machine], ledger.point(place)
        for kind, read, _ in KINDS:
            measured = read(entry.readings, machine, point)
            if measured is not None:
                found.setdefault((place.machine, place.point, kind.ident), []).append(
                    SeriesReading(entry=entry, measured=measured)
                )
    of_ident = {kind.ident: (kind, limits) for kind, _, limits in KINDS}
    rank = {ident: number for number, ident in enumerate(ledger.machines)}
    series = []
    for key in sorted(found, key=lambda k: (rank[k[0]], k[1], k[2])):
        kind, limits = of_ident[key[2]]
        place = Place(key[0], key[1])
        lower, upper = limits(ledger.machines[place.machine], ledger.point(place))
        series.append(
            Series(
                kind=kind,
                place=place,
                readings=ordered(found[key]),
                lower=lower,
                upper=upper,
                rebases=rebases_of(ledger, kind, place),
            )
        )
    return tuple(series)


def _share_of(value: float) -> Measured:
    return Measured(value=value, u=max(abs(value) * _FINENESS_SHARE, _LEAST_U))


def _current(readings: Readings, _machine: Machine, _point: Point | None) -> Measured | None:
    current = readings[CURRENT]
    return None if current is None else _share_of(current)


def _pressure(readings: Readings, _machine: Machine, _point: Point | None) -> Measured | None:
    # The pressure of a catch test is noted beside it and says nothing of the pump.
    pressure = readings[PRESSURE]
    return None if pressure is None or readings[CATCH] is not None else _share_of(pressure)


def _temperature(readings: Readings, _machine: Machine, _point: Point | None) -> Measured | None:
    surface_c = readings[TEMPERATURE]
    return None if surface_c is None else Measured(value=surface_c, u=_THERMOMETER_U_C)


def _strip(readings: Readings, _machine: Machine, _point: Point | None) -> Measured | None:
    length_mm = readings[STRIP]
    return None if length_mm is None else Measured(value=length_mm, u=STRIP_U_MM)


def _chain(readings: Readings, _machine: Machine, point: Point | None) -> Measured | None:
    rating = point.rating if point else None
    chain = readings[CHAIN_LENGTH]
    if chain is None or not isinstance(rating, ChainRating):
        return None
    wear = chain_wear(
        measured_mm=chain.length_mm,
        pitches=chain.pitches,
        pitch_mm=rating.pitch_mm,
        limit_percent=chain_limit_percent(adjustable=rating.adjustable),
        u_measured_mm=TAPE_U_MM,
    )
    return Measured(value=wear.elongation_percent, u=wear.u_percent)


def _belt(readings: Readings, _machine: Machine, _point: Point | None) -> Measured | None:
    belt = readings[BELT_DEFLECTION]
    return None if belt is None else Measured(value=belt.deflection_mm, u=_RULE_U_MM)


def catch_state(readings: Readings, point: Point | None) -> NozzleState | None:
    """What a catch says of its nozzle; None without a catch, a pressure and the rating."""
    rating = point.rating if point else None
    catch, pressure_kpa = readings[CATCH], readings[PRESSURE]
    if catch is None or not pressure_kpa or not isinstance(rating, NozzleRating):
        return None
    test = CatchTest(
        volume_ml=1000 * catch.volume_l,
        seconds=catch.seconds,
        pressure_kpa=pressure_kpa,
        u_pressure_kpa=_FINENESS_SHARE * pressure_kpa,
    )
    return nozzle_state(test, new_flow_l_min=rating.flow_lpm, rated_pressure_kpa=rating.at_kpa)


def _nozzle(readings: Readings, _machine: Machine, point: Point | None) -> Measured | None:
    state = catch_state(readings, point)
    return None if state is None else Measured(value=100 * state.share, u=100 * state.u_share)


SPEED = SeriesKind(
    ident="speed",
    name="shaft speed at the setting in force",
    unit="r/min",
    rebased_by=RATIO_RESETS,
)

STRIP_LENGTH = SeriesKind(
    ident="strip-length",
    name="strip length",
    unit="mm",
    rebased_by=frozenset({"brush-set"}),
    is_charted=False,
)


CHAIN = SeriesKind(
    ident="chain",
    name="chain elongation",
    unit="%",
    rebased_by=frozenset({"chain"}),
    at_point=True,
    is_charted=False,
)

BELT = SeriesKind(
    ident="belt",
    name="belt deflection",
    unit="mm",
    rebased_by=frozenset({"belt"}),
    is_graduated=True,
)

NOZZLE = SeriesKind(
    ident="nozzle",
    name="nozzle flow as a share of new",
    unit="%",
    rebased_by=frozenset({"nozzle"}),
    at_point=True,
)


KINDS: tuple[tuple[SeriesKind, Reader, Limiter], ...] = (
    (
        SeriesKind(
            ident="current",
            name="motor current",
            unit="A",
            rebased_by=RATIO_RESETS | {"bearing"},
            is_graduated=True,
        ),
        _current,
        full_load,
    ),
    (
        SeriesKind(
            ident="pressure", name="pressure", unit="kPa", rebased_by=None, is_graduated=True
        ),
        _pressure,
        no_limits,
    ),
    (
        SeriesKind(
            ident="temperature", name="temperature", unit="°C", rebased_by=None, is_graduated=True
        ),
        _temperature,
        no_limits,
    ),
    (STRIP_LENGTH, _strip, worn_length),
    (
        CHAIN,
        _chain,
        chain_limit,
    ),
    (
        BELT,
        _belt,
        belt_limits,
    ),
    (
        NOZZLE,
        _nozzle,
        sound_flow,
    ),
)
