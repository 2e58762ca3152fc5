"""What a plot shows, in the units of its axes; the writer turns it into a picture."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum


class Mark(StrEnum):
    """The shape of a point; shapes differ so that colour is never needed to tell them apart."""

    DISC = "disc"
    RING = "ring"
    SQUARE = "square"
    DIAMOND = "diamond"
    CROSS = "cross"


class Stroke(StrEnum):
    SOLID = "solid"
    DASHED = "dashed"
    DOTTED = "dotted"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """One point; `half_width` is the half length of its uncertainty bar, 0 for none."""

    x: float
    y: float
    half_width: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Samples:
    """Points of one meaning, named in the key below the plot."""

    name: str
    mark: Mark
    points: Sequence[Sample]


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A line through its corners, named in the key below the plot."""

    name: str
    stroke: Stroke
    corners: Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """A shaded range of y, from `x_from` to `x_to`; None reaches the edge of the plot."""

    name: str
    low: float
    high: float
    x_from: float | None = None
    x_to: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """A dated line from top to bottom, with a short label."""

    x: float
    label: str


class AxisKind(StrEnum):
    """Plain numbers, or days as ordinals of the proleptic Gregorian calendar."""

    NUMBER = "number"
    DAY = "day"


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """`label` says the quantity and its unit, such as `shaft speed, r/min`."""

    label: str
    kind: AxisKind = AxisKind.NUMBER


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """`title` and `summary` are read out where the picture cannot be seen."""

    title: str
    summary: str
    x: Axis
    y: Axis
    samples: Sequence[Samples] = ()
    curves: Sequence[Curve] = ()
    zones: Sequence[Zone] = ()
    events: Sequence[Event] = ()
