"""Series of readings of one quantity at one place: their limits, and the changes that re-base them.

A further quantity is one more entry in `KINDS`.
"""

import math
from collections.abc import Callable, Container, Mapping, Sequence
from datetime import date
from itertools import groupby, pairwise
from statistics import fmean
from typing import Any, TypeAlias

from ledger.compute import wear
from ledger.compute.shared import Shared
from ledger.compute.trend import STRIP_U_MM, TimedReading
from ledger.model import machines
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine, Point
from ledger.model.readings import (
    BANDED,
    BELT_DEFLECTION,
    CATCH,
    CHAIN_LENGTH,
    CURRENT,
    FLOW,
    NO_READINGS,
    PRESSURE,
    STRIP,
    TEMPERATURE,
    ChainLength,
    ReadingKind,
    Readings,
    written,
)
from ledger.model.references import EntryRef, Place
from ledger.model.visits import Entry
from ledger.upkeep.speeds.ratios import RATIO_RESETS
from ledger.values import dataclass, replace

MIN_READINGS = 8
"""Fewer readings make no baseline (`drift.MIN_BASELINE`), and the series is only named."""

# The force noted beside a belt is taken as the middle of the maker's range, which goes from the
# normal force to half as much again. Common practice, no source.
FORCE_PER_NORMAL = (1 + wear.MOST_FORCE_PER_NORMAL) / 2

# How finely a gauge and a rule are read; the others stand in the table of readings. Common
# practice, no source. Small on purpose: what scatters beyond it is found from the baseline, but an
# uncertainty stated too wide would hide a drift.
_FINENESS_SHARE = 0.01

_RULE_U_MM = 0.3

Limits: TypeAlias = tuple[float | None, float | None]
"""The lowest and the highest value, in the unit of the kind; None where none is stated."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A value and its standard uncertainty, in the unit of its kind.

    `u` is that of the value for itself; `shared` is what part of it other readings have too.
    `step` is what it was rounded to where nothing else scatters it (`TimedReading`).
    """

    value: float
    u: float
    step: float = 0.0
    shared: tuple[Shared, ...] = ()

    @property
    def own_u(self) -> float:
        """What is left of the uncertainty without the shared part."""
        return math.sqrt(self.u**2 - math.fsum(one.u**2 for one in self.shared))


Reader = Callable[[Readings, Point | None], Measured | None]

Limiter = Callable[[Machine, machines.Rating | None], Limits]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesKind:
    """A quantity that is followed over time.

    `read` finds it in an entry's readings, and `limits` says what it should keep. `rebased_by` are
    the changes after which earlier readings no longer compare, None for any. They count on the
    whole machine, or with `at_point` at the same point only. A quantity that wears by nature has
    no level to hold it to: it is forecast, not charted (`is_charted`). A band that the point has
    for a reading of the name `ident` goes before `limits`. Of a stream of water
    nothing is followed that `is_seasonal` there, unless its point has such a band. What
    `is_read_off` an instrument has the uncertainty with which that is read, which says nothing of
    its scatter from day to day.
    """

    ident: str
    name: str
    unit: str
    rebased_by: frozenset[str] | None
    at_point: bool = False
    is_charted: bool = True
    is_seasonal: bool = False
    is_read_off: bool = False
    read: Reader = lambda _readings, _point: None
    limits: Limiter = lambda _machine, _rating: (None, None)


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesReading:
    """One reading of a series with the entry it comes from.

    `common` is what the readings of its day have in common, in the unit of the kind; None where
    that is not known. `averaged` are earlier entries of the same visit that `measured` is the mean
    of together with `entry`.
    """

    entry: Entry
    measured: Measured
    common: Measured | None = None
    averaged: tuple[Entry, ...] = ()

    @property
    def entries(self) -> tuple[Entry, ...]:
        return (*self.averaged, self.entry)

    @property
    def timed(self) -> TimedReading:
        return TimedReading(
            day=self.entry.day.toordinal(),
            value=self.measured.value,
            standard_uncertainty=self.measured.own_u,
            shared=self.measured.shared,
            step=self.measured.step,
        )

    def charted(self, lasting: Mapping[str, float], *, is_read_off: bool = False) -> TimedReading:
        """The reading less what is common to its day, with what it may lie off its level by.

        A scale is read to its graduation, and so was the level: by at least step/√6 where
        `is_read_off`. Errors that the level has too, `lasting` by their key, move both alike and do
        not count; one that only the level has, or only the reading, does.
        """
        common = self.common or Measured(value=0.0, u=0.0)
        own = {one.key: one.u for one in self.measured.shared}
        apart = [{**lasting, **own}[key] for key in sorted(own.keys() ^ lasting.keys())]
        return TimedReading(
            day=self.entry.day.toordinal(),
            value=self.measured.value - common.value,
            standard_uncertainty=math.hypot(
                max(self.measured.own_u, self.measured.step / math.sqrt(6) if is_read_off else 0.0),
                common.u,
                *apart,
            ),
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


def lasting_errors(first: Sequence[SeriesReading]) -> Mapping[str, float]:
    """The errors that all the first readings share, as an instrument or a person has them."""
    each = [{one.key: one.u for one in reading.measured.shared} for reading in first]
    return {
        key: fmean(one[key] for one in each)
        for key in sorted(set.intersection(*map(set, each)) if each else ())
    }


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
        for entry in ledger.detailed_at(place.machine)
        if entry.changed
        and (kind.rebased_by is None or entry.changed in kind.rebased_by)
        and (not kind.at_point or place in entry.places)
    )


def measured_series(ledger: Ledger, at: Container[Place] | None = None) -> tuple[Series, ...]:
    """Every series of readings other than shaft speed, in walking order, then by point and kind.

    With `at` those of these places alone.
    """
    rank = {ident: number for number, ident in enumerate(ledger.machines)}
    found: dict[tuple[int, str, str], tuple[SeriesKind, Place, list[SeriesReading]]] = {}
    for entry in ledger.detailed:
        place = entry.place
        if place is None or entry.readings == NO_READINGS or (at is not None and place not in at):
            continue
        point = ledger.point(place)
        for kind in KINDS:
            measured = kind.read(entry.readings, point)
            is_banded = point is not None and kind.ident in point.bands
            is_seasonal = kind.is_seasonal and point is not None and bool(point.stream)
            if measured is not None and (is_banded or not is_seasonal):
                key = (rank[place.machine], place.point, kind.ident)
                reading = SeriesReading(entry=entry, measured=measured)
                found.setdefault(key, (kind, place, []))[2].append(reading)
    series = []
    for kind, place, readings in (found[key] for key in sorted(found)):
        point = ledger.point(place)
        limits = kind.limits(ledger.machines[place.machine], point.rating if point else None)
        lower, upper = point.bands.get(kind.ident, limits) if point else limits
        averaged = _of_visits(readings, point) if kind == NOZZLE else readings
        series.append(
            Series(
                kind=kind,
                place=place,
                readings=ordered(_with_step(averaged)),
                # Nothing that is read lies below 0, so that is no limit.
                lower=lower or None,
                upper=upper,
                rebases=rebases_of(ledger, kind, place),
            )
        )
    return tuple(series)


def _of_visits(readings: Sequence[SeriesReading], point: Point | None) -> list[SeriesReading]:
    """One reading for each visit, the mean of its catches."""
    means = []
    for _, caught in groupby(readings, lambda reading: reading.entry.ref.visit):
        *earlier, last = (reading.entry for reading in caught)
        measured = _nozzle([entry.readings for entry in (*earlier, last)], point)
        if measured is not None:
            means.append(SeriesReading(entry=last, measured=measured, averaged=tuple(earlier)))
    return means


def _with_step(readings: Sequence[SeriesReading]) -> list[SeriesReading]:
    """The readings, each with the smallest difference between two of them as its step.

    A scale is read to its graduation, and a steady quantity repeats itself on it.
    """
    steps = [b - a for a, b in pairwise(sorted({r.measured.value for r in readings}))]
    step = min(steps, default=0.0)
    return [replace(r, measured=replace(r.measured, step=step)) for r in readings]


def _read_to_u(value: float | None, u: float) -> Measured | None:
    return None if value is None else Measured(value=value, u=u)


def _as_read(kind: ReadingKind[float], readings: Readings) -> Measured | None:
    value = readings[kind]
    least, share = kind.read_to or (0.0, 0.0)
    return None if value is None else Measured(value=value, u=max(least, share * abs(value)))


def _of_reading(kind: ReadingKind[float], **rest: Any) -> SeriesKind:
    """A single number that is read, with the uncertainty that the table of readings says."""
    (amount,) = kind.amounts
    return SeriesKind(
        **{
            "ident": kind.word,
            "name": kind.title[:1].lower() + kind.title[1:],
            "unit": written(amount.unit),
            "rebased_by": None,
            "is_read_off": True,
            "read": lambda readings, _: _as_read(kind, readings),
            **rest,
        }
    )


def _full_load(machine: Machine, _rating: machines.Rating | None) -> Limits:
    """At most the full-load current of the motor's nameplate, in A."""
    drive = machine.drive
    return None, drive.full_load_a if isinstance(drive, machines.ElectricDrive) else None


def _worn_length(_machine: Machine, rating: machines.Rating | None) -> Limits:
    """At least the length at which strips are replaced, in mm."""
    return rating.worn_length_mm if isinstance(rating, machines.ClothRating) else None, None


def _chain(readings: Readings, point: Point | None) -> Measured | None:
    rating = point.rating if point else None
    chain = readings[CHAIN_LENGTH]
    if chain is None or not isinstance(rating, machines.ChainRating):
        return None
    found = chain_wear(chain, rating)
    return Measured(value=found.elongation_percent, u=found.u_percent)


def chain_wear(chain: ChainLength, rating: machines.ChainRating) -> wear.ChainWear:
    """A chain's elongation against the limit of its maker or kind."""
    return wear.chain_wear(
        measured_mm=chain.length_mm,
        pitches=chain.pitches,
        pitch_mm=rating.pitch_mm,
        limit_percent=_longest_percent(rating),
    )


def _chain_limit(_machine: Machine, rating: machines.Rating | None) -> Limits:
    """At most the elongation at which the chain is replaced, in %."""
    if not isinstance(rating, machines.ChainRating):
        return None, None
    return None, _longest_percent(rating)


def _longest_percent(rating: machines.ChainRating) -> float:
    if rating.worn_percent is not None:
        return rating.worn_percent
    if rating.links == "rivetless":
        return wear.RIVETLESS_LIMIT_PERCENT
    return wear.chain_limit_percent(adjustable=rating.adjustable)


def _belt_limits(_machine: Machine, rating: machines.Rating | None) -> Limits:
    return (
        belt_limits_mm(rating.span_mm) if isinstance(rating, machines.BeltRating) else (None, None)
    )


def belt_limits_mm(span_mm: float) -> tuple[float, float]:
    """The deflections between which a belt's tension is good, under the force noted, in mm."""
    due = wear.belt_deflection_mm(span_mm) * FORCE_PER_NORMAL
    return due / wear.MOST_FORCE_PER_NORMAL, due


def catch_state(caught: Sequence[Readings], point: Point | None) -> wear.NozzleState | None:
    """What catches of one visit say of a nozzle; None without one, a pressure and the rating."""
    rating = point.rating if point else None
    tests = [
        wear.CatchTest(
            volume_ml=1000 * catch.volume_l,
            seconds=catch.seconds,
            pressure_kpa=pressure_kpa,
            u_pressure_kpa=_FINENESS_SHARE * pressure_kpa,
        )
        for readings in caught
        if (catch := readings[CATCH]) and (pressure_kpa := readings[PRESSURE])
    ]
    if not tests or not isinstance(rating, machines.NozzleRating):
        return None
    return wear.nozzle_state(
        tests, new_flow_l_min=rating.flow_lpm, rated_pressure_kpa=rating.at_kpa
    )


def _nozzle(caught: Sequence[Readings], point: Point | None) -> Measured | None:
    state = catch_state(caught, point)
    return None if state is None else Measured(value=100 * state.share, u=100 * state.u_share)


SPEED = SeriesKind(
    ident="speed", name="shaft speed at the setting in force", unit="r/min", rebased_by=RATIO_RESETS
)

STRIP_LENGTH = SeriesKind(
    ident="strip-length",
    name="strip length",
    unit="mm",
    rebased_by=frozenset({"brush-set"}),
    is_charted=False,
    read=lambda readings, _: _read_to_u(readings[STRIP], STRIP_U_MM),
    limits=_worn_length,
)

CHAIN = SeriesKind(
    ident="chain",
    name="chain elongation",
    unit="%",
    rebased_by=frozenset({"chain"}),
    at_point=True,
    is_charted=False,
    read=_chain,
    limits=_chain_limit,
)

BELT = SeriesKind(
    ident="belt",
    name="belt deflection",
    unit="mm",
    rebased_by=frozenset({"belt"}),
    is_read_off=True,
    read=lambda readings, _: (
        _read_to_u(belt.deflection_mm, _RULE_U_MM) if (belt := readings[BELT_DEFLECTION]) else None
    ),
    limits=_belt_limits,
)

NOZZLE = SeriesKind(
    ident="nozzle",
    name="nozzle flow as a share of new",
    unit="%",
    rebased_by=frozenset({"nozzle"}),
    at_point=True,
    read=lambda readings, point: _nozzle([readings], point),
    limits=lambda _machine, _: (100 * wear.SOUND_SHARE.low, 100 * wear.SOUND_SHARE.high),
)

_OF_READINGS: Mapping[ReadingKind[Any], Mapping[str, Any]] = {
    CURRENT: {
        "name": "motor current",
        "rebased_by": RATIO_RESETS | {"bearing"},
        "limits": _full_load,
    },
    # The pressure of a catch test is noted beside it and says nothing of the pump.
    PRESSURE: {
        "is_seasonal": True,
        "read": lambda readings, _: None if readings[CATCH] else _as_read(PRESSURE, readings),
    },
    TEMPERATURE: {"is_seasonal": True},
    FLOW: {"is_seasonal": True},
}
"""What is special to a reading of the table."""

KINDS = (
    *(_of_reading(kind, **_OF_READINGS.get(kind, {})) for kind in dict.fromkeys(BANDED.values())),
    STRIP_LENGTH,
    CHAIN,
    BELT,
    NOZZLE,
)
