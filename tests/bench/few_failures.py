"""What few failures prove: coverage of lives and availability, and ages advised wrongly."""

import itertools
import math
from collections.abc import Iterator
from random import Random

from ledger.compute.reliability import availability
from ledger.compute.weibull import AgeAdvice, Life, WeibullFit, age_advice, weibull_fit

TITLE = "lives and stops"

SITES = 300
FAILURES = (3, 4, 5, 6, 8, 10)
SHAPES = (1.0, 1.3, 2.0, 3.0, 5.0)
COST_RATIO = 5.0
SPREADS = (0.3, 0.6, 1.0, 1.3)
UP_SHAPES = (1.0, 2.0, 0.7)  # of the times between stops; at a constant rate 1
OPEN_H = 3000.0


def fitted(lives: list[Life]) -> WeibullFit:
    fit = weibull_fit(lives)
    if not isinstance(fit, WeibullFit):
        raise TypeError(fit.text)
    return fit


def complete(rng: Random, shape: float, failures: int) -> list[Life]:
    return [Life(hours=rng.weibullvariate(1, shape), failed=True) for _ in range(failures)]


def renewals(rng: Random, shape: float) -> list[Life]:
    """Four places renewed on failure for so long that each fails about twice, ended by a date."""
    lives = []
    for _ in range(4):
        left = 2.5
        while left > 0:
            hours = rng.weibullvariate(1, shape)
            lives.append(Life(hours=min(hours, left), failed=hours <= left))
            left -= hours
    return lives


def life_coverage(failures: int | None, shape: float, sites: int = SITES) -> tuple[float, float]:
    """How often the 95 % limits hold shape and scale; without a number, of records of renewals."""
    rng = Random(f"lives/{failures}/{shape}")
    held_shape = held_scale = done = 0
    while done < sites:
        lives = renewals(rng, shape) if failures is None else complete(rng, shape, failures)
        if sum(life.failed for life in lives) < 3:
            continue
        done += 1
        fit = fitted(lives)
        held_shape += fit.shape_lower <= shape <= fit.shape_upper
        held_scale += fit.scale_lower_h <= 1 <= fit.scale_upper_h
    return held_shape / sites, held_scale / sites


def advised(failures: int, shape: float, sites: int = 200) -> float:
    """How often an age is advised where a failure costs five planned renewals."""
    rng = Random(f"advice/{failures}/{shape}")
    given = 0
    for _ in range(sites):
        fit = fitted(complete(rng, shape, failures))
        advice = age_advice(fit, planned_cost=1, failure_cost=COST_RATIO)
        given += isinstance(advice, AgeAdvice) and advice.is_advised
    return given / sites


def availability_coverage(
    expected: float, spread: float, sites: int = 1000, *, up_shape: float = 1.0
) -> float:
    """How often the 90 % limits hold the steady state, repairs lognormal about 2 h, up times
    Weibull, of the records that have a stop."""
    rng = Random(f"available/{expected}/{spread}/{up_shape}")
    mean_up, mean_down = OPEN_H / expected, 2.0

    def up_h() -> float:
        return rng.weibullvariate(mean_up / math.gamma(1 + 1 / up_shape), up_shape)

    truth = mean_up / (mean_up + mean_down)
    held = done = 0
    while done < sites:
        left, stops = OPEN_H - up_h(), []
        while left > 0:
            down = rng.lognormvariate(math.log(mean_down) - spread**2 / 2, spread)
            stops.append(min(down, left))
            left -= down + up_h()
        if not stops or sum(stops) >= OPEN_H:
            continue
        done += 1
        found = availability(OPEN_H, stops)
        held += (found.lower or 0.0) <= truth <= (found.upper or 1.0)
    return held / sites


def figures() -> Iterator[str]:
    yield f"95 % limits of shape and scale hold the truth ({SITES} each), shape 2:"
    for failures in FAILURES:
        shape, scale = life_coverage(failures, 2.0)
        yield f"  {failures} complete lives: {shape:.3f}, {scale:.3f}"
    for true_shape in SHAPES:
        shape, scale = life_coverage(None, true_shape)
        yield f"  records of renewals with survivors, shape {true_shape:g}: {shape:.3f}, {scale:.3f}"
    yield f"an age is advised, a failure costing {COST_RATIO:g} planned renewals:"
    for true_shape in SHAPES:
        told = ", ".join(f"{advised(failures, true_shape):.3f}" for failures in FAILURES)
        yield f"  shape {true_shape:g}, by {FAILURES} failures: {told}"
    yield (
        "90 % limits of availability hold the truth, repairs that scatter (ln sd) by "
        + ", ".join(f"{spread:g}" for spread in SPREADS)
    )
    for up_shape, expected in itertools.product(UP_SHAPES, (2, 5, 10)):
        told = ", ".join(
            f"{availability_coverage(expected, spread, up_shape=up_shape):.3f}"
            for spread in SPREADS
        )
        yield f"  {expected} stops expected, up times of shape {up_shape:g}: {told}"
