"""How often the stated interval of a recommended setting holds the setting that truth implies.

Every site is a brush of a seeded true ratio, read by count, watch, taps, tachometer or film as a
person would, in a ledger built from files; the answer is that of `tunnelbook tune`.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from random import Random
from typing import Any

from sitegen import draws
from small_site import ELECTRIC, ledger_of, visit

from ledger.upkeep.speeds.found import speed_results
from ledger.upkeep.tuning.found import Tuning, tune

TITLE = "tuning"

SITES = 1000
WANTED = 0.93  # asked of a nominal 95 % interval
NAMEPLATE_RPM_PER_HZ = 1740 / 60 / 16
TARGET_RPM = 80.0
ONE, FEW, MANY = (1, 1), (2, 5), (2, 40)


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """Of so many sites, how many intervals held the truth, and how wide they were on average.

    A site whose few readings disagree is asked to count again and gets no interval.
    """

    sites: int
    asked_again: int
    held: int
    mean_half_width_hz: float
    called_moved: int

    @property
    def held_share(self) -> float:
        return self.held / (self.sites - self.asked_again)


def reading(rng: Random, rpm: float) -> dict[str, Any]:
    """One reading by a way drawn at random."""
    match rng.randrange(5):
        case 0:
            seconds = rng.choice((15, 30, 60))
            return draws.pass_count(rng, rpm, seconds, on_pass=rng.random() < 0.3)
        case 1:
            return draws.timed_turns(rng, rpm, rng.choice((10, 20, 40)))
        case 2:
            return draws.taps(rng, rpm, rng.choice((10, 15, 20)))
        case 3:
            return draws.tachometer(rng, rpm, accuracy_percent=rng.choice((0.5, 1.0)))
        case _:
            return draws.video(rng, rpm, rng.choice((10, 20)))


def tuned(rng: Random, ratio: float, readings: int) -> Tuning:
    """The tuning of a brush that turns `ratio` r/min per Hz, read at settings near its target."""
    visits = []
    for week in range(readings):
        hz = round(2 * (TARGET_RPM / ratio + rng.uniform(-4, 4))) / 2
        visits.append(visit(7 * week, {"at": "brush", **reading(rng, ratio * hz), "found_hz": hz}))
    ledger = ledger_of(visits, machines={"brush": ELECTRIC})
    return tune(ledger, ledger.machines["brush"], speed_results(ledger), line_rates_per_h=(110,))


def coverage(few: int, many: int, sites: int = SITES) -> Share:
    """Over seeded sites with from `few` to `many` readings each."""
    rng = Random(f"tune/{few}/{many}")
    asked_again = held = moved = 0
    widths = []
    for _ in range(sites):
        # The true ratio scatters about the nameplate as a reduction of "about 16" does.
        ratio = NAMEPLATE_RPM_PER_HZ * (1 + rng.gauss(0, 0.04))
        tuning = tuned(rng, ratio, rng.randint(few, many))
        moved += bool(tuning.ratio.outgrown)
        if tuning.count_first is not None:
            asked_again += 1
            continue
        (at,) = tuning.rates
        held += at.range.low <= TARGET_RPM / ratio <= at.range.high
        if math.isfinite(at.range.high):
            widths.append((at.range.high - at.range.low) / 2)
    return Share(
        sites=sites,
        asked_again=asked_again,
        held=held,
        mean_half_width_hz=math.fsum(widths) / len(widths),
        called_moved=moved,
    )


def figures() -> Iterator[str]:
    for few, many in (ONE, FEW, MANY):
        share = coverage(few, many)
        spread = 2 * math.sqrt(share.held_share * (1 - share.held_share) / share.sites)
        readings = f"{few}" if few == many else f"{few} to {many}"
        yield (
            f"{share.sites} brushes with {readings} readings: the interval holds the setting that "
            f"the true ratio implies for {100 * share.held_share:.1f} % +- {100 * spread:.1f} % "
            f"(asked {100 * WANTED:.0f} %), half width {share.mean_half_width_hz:.2f} Hz on "
            f"average; {share.called_moved} steady shafts taken to have moved; "
            f"{share.asked_again} asked to count again first"
        )
