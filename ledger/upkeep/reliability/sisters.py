"""A place that fails again and again, beside its sisters on other machines of the kind."""

from collections.abc import Mapping, Sequence

from ledger.compute.reliability import chance_of_so_many
from ledger.model.ledger import Ledger
from ledger.model.meters import Watch
from ledger.model.references import Place
from ledger.values import dataclass

REPEATED = 3
"""Failures of one place from which its cause is worth asking for."""

UNLIKELY = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Sisters:
    """Failures of a place, and those and the hours of the same point on its sister machines.

    `chance` is that of so many failures falling on this one if all were alike; None without
    sisters.
    """

    place: Place
    failures: int
    sisters: tuple[Place, ...]
    sister_failures: int
    sister_hours: float
    chance: float | None

    @property
    def stands_out(self) -> bool:
        """Whether the place fails more than its sisters: then it has a cause of its own."""
        return self.chance is not None and self.chance < UNLIKELY


def sisters_of(
    ledger: Ledger, watch_of: Mapping[str, Watch], failed: Sequence[Place], machine: str
) -> tuple[Sisters, ...]:
    """Every place of the machine that failed again and again, the worst first.

    `failed` has the place of each failure of the site.
    """
    places = sorted(
        {place for place in failed if place.machine == machine},
        key=lambda place: (-failed.count(place), place),
    )
    return tuple(
        _beside_sisters(ledger, watch_of, failed, place)
        for place in places
        if failed.count(place) >= REPEATED
    )


def _beside_sisters(
    ledger: Ledger, watch_of: Mapping[str, Watch], failed: Sequence[Place], place: Place
) -> Sisters:
    point, kind = ledger.point(place), ledger.machines[place.machine].kind
    sisters = tuple(
        Place(machine.ident, place.point)
        for machine in ledger.machines.values()
        if machine.ident != place.machine
        and machine.kind == kind
        and machine.ident in watch_of
        and point is not None
        and (other := machine.points.get(place.point)) is not None
        and other.kind == point.kind
    )
    hours = watch_of[place.machine].hours
    sister_failures = sum(failed.count(sister) for sister in sisters)
    sister_hours = sum(watch_of[sister.machine].hours for sister in sisters)
    chance = None
    if sister_hours > 0:
        chance = chance_of_so_many(
            failed.count(place), sister_failures, share=hours / (hours + sister_hours)
        )
    return Sisters(
        place=place,
        failures=failed.count(place),
        sisters=sisters,
        sister_failures=sister_failures,
        sister_hours=sister_hours,
        chance=chance,
    )
