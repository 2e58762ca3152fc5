"""Machines, their drives, brushes, points and energies; every quantity in SI units of the trade."""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import TypeAlias

from ledger.model.references import Place
from ledger.values import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class ElectricDrive:
    """An electric motor; with `hz_limits` it has a frequency drive and a setpoint.

    `input_a` is the rated input current of that drive.
    """

    motor_kw: float | None = None
    poles: int | None = None
    rated_rpm: float | None = None
    base_hz: float | None = None
    reduction: float | None = None
    hz_limits: tuple[float, float] | None = None
    hz_step: float = 0.5
    self_cooled: bool = True
    full_load_a: float | None = None
    input_a: float | None = None

    @property
    def nameplate_fault(self) -> str:
        """Why its rated speed cannot be right; "" where it can, or too little is stated."""
        # Who reads people and policy alone needs no formula.
        from ledger.compute.ratio import synchronous_rpm  # noqa: PLC0415

        if self.rated_rpm is None or self.base_hz is None or self.poles is None:
            return ""
        synchronous = synchronous_rpm(self.base_hz, self.poles)
        if self.rated_rpm <= synchronous:
            return ""
        return (
            f"{self.rated_rpm:.10g} r/min is above {synchronous:.10g} r/min, the synchronous speed "
            f"of {self.poles} poles at {self.base_hz:.10g} Hz: an induction motor runs below"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class HydraulicDrive:
    """A hydraulic motor; with `flow_limits_lpm` it has a flow setpoint."""

    motor_cm3: float
    reduction: float = 1.0
    flow_limits_lpm: tuple[float, float] | None = None
    flow_step_lpm: float = 0.1
    volumetric_efficiency: float = 0.95
    pressure_kpa: float | None = None


Drive: TypeAlias = ElectricDrive | HydraulicDrive


@dataclass(frozen=True, slots=True, kw_only=True)
class Brush:
    diameter_m: float | None = None
    strips_around: int | None = None
    material: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RateBand:
    """Limits of the shaft speed at one line rate; `target_rpm` is the middle unless given."""

    line_rate_per_h: float
    low_rpm: float
    high_rpm: float
    target_rpm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Bearing:
    """Size and surroundings of a grease-lubricated bearing, for amount and interval."""

    bore_mm: float | None = None
    outer_mm: float | None = None
    width_mm: float | None = None
    rolling: str = "ball"
    mounting: str = "vertical"
    water: str = "spray"
    dirt: str = "light"
    vibration: str = "little"
    surface_c: float = 40.0
    sweep_deg: float | None = None
    dynamic_load_kn: float | None = None
    load_kn: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NozzleRating:
    """Flow of the nozzle when new, at a pressure."""

    flow_lpm: float
    at_kpa: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainRating:
    """`worn_percent` is the limit of its maker, where the file states one."""

    pitch_mm: float
    adjustable: bool
    links: str = "roller"
    worn_percent: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BeltRating:
    span_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ClothRating:
    new_length_mm: float
    worn_length_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MembraneRating:
    """Flow of the membrane when new at 25 °C, and the net pressure it was stated at."""

    flow_lpm: float
    at_kpa: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpRating:
    """Flow that a pump gives, and the pressure it was stated at."""

    flow_lpm: float
    at_kpa: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ResinRating:
    """Hardness that it takes up between two regenerations, as calcium carbonate."""

    capacity_g: float
    reserve_percent: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TankRating:
    """What a full tank holds, or how wide an upright drum is inside."""

    holds_l: float | None = None
    inside_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class InjectorRating:
    """Parts of water wanted to one of the product, and the tank it draws from."""

    parts_water: float | None = None
    drum: Place | None = None


Rating: TypeAlias = (
    Bearing
    | NozzleRating
    | ChainRating
    | BeltRating
    | ClothRating
    | MembraneRating
    | PumpRating
    | ResinRating
    | TankRating
    | InjectorRating
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Isolation:
    """How something is kept from moving or pressing: `device` is what takes the lock."""

    isolate_at: str
    device: str
    prove: str
    release: str = ""
    wait_minutes: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Energy(Isolation):
    """One energy of a machine; `magnitude` in words, such as `460 V`.

    With `only_here` it harms nobody but who works at the machine itself.
    """

    kind: str
    magnitude: str
    only_here: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Absence:
    """Days on which a machine is out of service, the last among them; without one it is gone."""

    first: date = field(metadata={"key": "from"})
    last: date | None = field(default=None, metadata={"key": "to"})

    def holds(self, day: date) -> bool:
        return self.first <= day and (self.last is None or day <= self.last)


@dataclass(frozen=True, slots=True, kw_only=True)
class InService:
    """Something that is there from a day on, but for its absences, in the order of the file."""

    in_service: date
    absences: tuple[Absence, ...] = ()

    @property
    def out_of_service(self) -> date | None:
        """The day from which it is gone; None where it is there, or comes back."""
        return min((a.first for a in self.absences if a.last is None), default=None)

    def absence_on(self, day: date) -> Absence | None:
        return next((absence for absence in self.absences if absence.holds(day)), None)

    def in_use(self, day: date) -> bool:
        return self.in_service <= day and self.absence_on(day) is None

    def back_in_use(self, day: date) -> date | None:
        """The first day from that one on which it is not away; None where it never is again."""
        while (absence := self.absence_on(day)) is not None:
            if absence.last is None:
                return None
            day = absence.last + timedelta(days=1)
        return day

    def days_in_use(self, first: date, last: date) -> int:
        """Days in use among those from the first to the last."""
        count, day = 0, max(first, self.in_service)
        while day <= last:
            away = self.absence_on(day)
            if away is not None:
                if away.last is None:
                    break
                day = away.last + timedelta(days=1)
                continue
            after = last + timedelta(days=1)
            until = min((a.first for a in self.absences if day < a.first < after), default=after)
            count += (until - day).days
            day = until
        return count


@dataclass(frozen=True, slots=True, kw_only=True)
class Point(InService):
    """A part of a machine that gets service; `rating` where its kind has numbers of its own.

    `bands` are the lowest and the highest good value of a reading there, by the word of its kind
    and in the unit it is kept in; `stream` is what water is read there.
    """

    ident: str
    kind: str
    name: str
    note: str = ""
    formerly: tuple[str, ...] = ()
    photos: tuple[str, ...] = ()
    rating: Rating | None = None
    bands: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    stream: str = ""


_WITH_CLOTH = frozenset("curtain wrap side-brush low-brush top-brush buffer tyre-dresser".split())


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine(InService):
    """`formerly` are the ids it had before; by `like` it is matched with machines of other sites.

    Who works at it stands in its `zone`; `reaches` are the other zones where it can hit or spray.
    `fed_by` is the pump stand that feeds its nozzles; on the way there it loses `line_loss_kpa`.
    """

    ident: str
    name: str
    kind: str
    station: float
    like: str = ""
    area: str = "tunnel"
    side: str = ""
    turns: str = ""
    formerly: tuple[str, ...] = ()
    zone: str = ""
    reaches: tuple[str, ...] = ()
    energy: tuple[Energy, ...] = ()
    panel: str = ""
    fed_by: str = ""
    line_loss_kpa: float = 0.0
    maker_manual: str = ""
    serial: str = ""
    maker: str = ""
    model: str = ""
    warranty_until: date | None = None
    photos: tuple[str, ...] = ()
    notes: str = ""
    cautions: tuple[str, ...] = ()
    drive: Drive | None = None
    brush: Brush | None = None
    speed_band: tuple[RateBand, ...] = ()
    planned_cost: float | None = field(default=None, metadata={"key": "costs.planned"})
    failure_cost: float | None = field(default=None, metadata={"key": "costs.failure"})
    points: Mapping[str, Point] = field(default_factory=dict)

    @property
    def has_setpoint(self) -> bool:
        """Whether the drive can be set: a frequency drive, or a flow control."""
        return limits_of(self) is not None

    @property
    def plausible_rpm(self) -> tuple[float, float] | None:
        """Least and greatest speed its shaft can have in r/min; None where nothing is known.

        Speeds of machines with cloth or foam lie well inside; common practice, no source.
        """
        return (5.0, 400.0) if self.kind in _WITH_CLOTH else None

    def service(self, point: str) -> InService:
        """When a point, or with "" the machine, is there: a point is away with its machine."""
        own = self.points[point] if point else self
        if own is self or (own.in_service <= self.in_service and not own.absences):
            return self
        return InService(
            in_service=max(self.in_service, own.in_service),
            absences=(*self.absences, *own.absences),
        )


def limits_of(machine: Machine | None) -> tuple[float, float] | None:
    """The limits of a machine's setting, in the unit of its drive."""
    match machine.drive if machine else None:
        case ElectricDrive(hz_limits=limits) | HydraulicDrive(flow_limits_lpm=limits):
            return limits
        case _:
            return None
