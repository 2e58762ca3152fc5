"""Which way a brush should be seen to turn.

Convention: the vehicle faces along its travel, and where the driver sits on its left the driver
side is the left. A side brush touches the vehicle with the face that looks inward, a top brush
with its lower face, a brush under the vehicle with its upper face. *Against* means that the
touching face moves opposite to the vehicle's travel.
"""

import enum
from dataclasses import dataclass
from typing import Literal

Side = Literal["driver", "passenger", "over", "under"]
Turns = Literal["against", "with"]


class Sense(enum.StrEnum):
    """A sense of turning, as seen from a stated place."""

    CLOCKWISE = "clockwise"
    COUNTERCLOCKWISE = "counterclockwise"

    @property
    def opposite(self) -> "Sense":
        """The other sense."""
        return Sense.COUNTERCLOCKWISE if self is Sense.CLOCKWISE else Sense.CLOCKWISE


class SeenFrom(enum.StrEnum):
    """Where a person looks from to judge a sense of turning."""

    ABOVE = "above"
    DRIVER_SIDE = "the driver side"


@dataclass(frozen=True, slots=True, kw_only=True)
class Turning:
    """A sense of turning and the place it is seen from."""

    sense: Sense
    seen_from: SeenFrom


def expected_turning(side: Side, turns: Turns, *, driver_on_left: bool = True) -> Turning:
    """The sense in which a brush must be seen to turn.

    With the driver on the left and turning against the travel, seen from above: counterclockwise
    on the passenger side and clockwise on the driver side. Shafts that lie across the line, over
    or under the vehicle, are judged by a person on the driver side who looks across the line.
    With the driver on the right, or turning with the travel, each sense is the opposite.

    Raises:
        ValueError: an unknown side, or turns that are neither against nor with.
    """
    if turns not in ("against", "with"):
        raise ValueError(f"expected turns to be 'against' or 'with', not {turns!r}")
    by_side = {
        "passenger": (Sense.COUNTERCLOCKWISE, SeenFrom.ABOVE),
        "driver": (Sense.CLOCKWISE, SeenFrom.ABOVE),
        "over": (Sense.COUNTERCLOCKWISE, SeenFrom.DRIVER_SIDE),
        "under": (Sense.CLOCKWISE, SeenFrom.DRIVER_SIDE),
    }
    if side not in by_side:
        raise ValueError(f"expected a side among {', '.join(sorted(by_side))}, not {side!r}")
    sense, seen_from = by_side[side]
    if (turns == "with") == driver_on_left:
        sense = sense.opposite
    return Turning(sense=sense, seen_from=seen_from)
