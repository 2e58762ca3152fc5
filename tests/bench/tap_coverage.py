"""How often the stated interval of taps holds the true speed, by how their errors go together."""

import itertools
import math
from collections.abc import Iterator, Sequence
from random import Random

from sitegen import draws

from ledger.compute.speed import from_taps

TITLE = "taps whose errors go together"

SITES = 1000
TAPS = (10, 20, 30, 40, 60)
PERIOD_S = 0.75
WAYS: Sequence[tuple[str, float | None]] = (
    ("independent", 0.0),
    ("correlation 0.3", 0.3),
    ("correlation 0.5", 0.5),
    ("correlation 0.8", 0.8),
    ("own rhythm, a random walk", None),
)


def errors_s(rng: Random, taps: int, correlation: float | None) -> list[float]:
    """How late each tap is; without a correlation every tap is timed from the one before."""
    if correlation is None:
        return list(itertools.accumulate(rng.gauss(0, draws.PRESS_S / 2) for _ in range(taps)))
    return draws.wander(rng, taps, share=draws.PRESS_S, correlation=correlation)


def coverage(correlation: float | None, taps: int, sites: int = SITES) -> float:
    """The share of rows of taps whose interval holds the truth, of those that give a speed."""
    rng = Random(f"taps/{correlation}/{taps}")
    held = given = 0
    for _ in range(sites):
        late = errors_s(rng, taps, correlation)
        times = [PERIOD_S * n + error for n, error in enumerate(late)]
        try:
            speed = from_taps([time - times[0] for time in times]).speed
        except ValueError:
            continue
        given += 1
        held += abs(speed.rpm - 60 / PERIOD_S) <= speed.expanded()
    return held / given if given else math.nan


def figures() -> Iterator[str]:
    yield f"{SITES} rows each: share of intervals that hold the truth, for {TAPS} taps"
    for name, correlation in WAYS:
        told = ", ".join(f"{coverage(correlation, taps):.3f}" for taps in TAPS)
        yield f"  {name}: {told}"
