"""The part of an uncertainty that readings have in common, and what it does to a sum of them."""

import math
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """An error that every reading of one `key` has: one draw for an instrument or a person.

    `u` is its standard uncertainty in the reading's own unit.
    """

    key: str
    u: float


def shared_covariance(
    parts: Iterable[tuple[float, Shared]], others: Iterable[tuple[float, Shared]]
) -> float:
    """The covariance that shared errors give to Σ aᵢ yᵢ and Σ bᵢ yᵢ; of one sum its variance.

    The sums are given as each factor with an error of its reading. Readings of one key err
    together: Σ over keys of (Σ aᵢ uᵢ)(Σ bᵢ uᵢ) (JCGM 100:2008, F.1.2.3, recalled, not read).
    """
    second = _by_key(others)
    return math.fsum(total * second.get(key, 0.0) for key, total in _by_key(parts).items())


def _by_key(parts: Iterable[tuple[float, Shared]]) -> dict[str, float]:
    totals: dict[str, float] = {}
    for factor, shared in parts:
        totals[shared.key] = totals.get(shared.key, 0.0) + factor * shared.u
    return totals
