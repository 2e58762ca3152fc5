"""How often an EWMA chart alarms: run lengths for known centre and spread.

The run length is the number of readings up to and with the first signal. These are the figures
a count of false alarms is held against.
"""

import math
from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import pairwise

from ledger.compute.distributions import normal_cdf

_CELLS = 101
# The cells' transition matrix has settled once the limits move by less than this share.
_SETTLED = 1e-9

_Matrix = tuple[tuple[float, ...], ...]


def ewma_variance(*, weight: float, after: int | None = None) -> float:
    """The variance of the EWMA over that of a reading, `after` that many readings or settled.

    λ/(2-λ) · (1 - (1-λ)^(2·after)); the settled one leaves the last bracket out (NIST/SEMATECH
    e-Handbook 6.3.2.4).

    Raises:
        ValueError: the weight is not in (0, 1], or `after` is below 1.
    """
    if not 0 < weight <= 1:
        raise ValueError(f"expected a weight above 0 and up to 1, not {weight!r}")
    settled = weight / (2 - weight)
    if after is None:
        return settled
    if after < 1:
        raise ValueError(f"expected 1 reading or more, not {after!r}")
    return settled * (1 - (1 - weight) ** (2 * after))


@lru_cache(maxsize=64)
def ewma_run_length(
    *, weight: float, width: float, shift: float = 0.0, settled: bool = False
) -> float:
    """Mean readings to a signal of an EWMA chart begun at its centre.

    `settled` takes the final limits from the first reading on, as the published tables do;
    otherwise each reading has its own limit. Method: D. Brook and D. A. Evans, "An approach to
    the probability distribution of CUSUM run length", Biometrika 59(3), 1972, as used by
    J. M. Lucas and M. S. Saccucci, Technometrics 32(1), 1990.

    Raises:
        ValueError: the weight is not in (0, 1] or the width is not above 0.
    """
    chances = [0.0] * _CELLS
    chances[_CELLS // 2] = 1.0
    mean = 0.0
    matrix: _Matrix = ()
    for matrix in _ewma_steps(weight, width, shift, settled=settled):
        mean += math.fsum(chances)
        chances = _moved(chances, matrix)
    to_come = _mean_steps_to_leave(matrix)
    return mean + math.fsum(p * m for p, m in zip(chances, to_come, strict=True))


@lru_cache(maxsize=64)
def ewma_signal_chance(
    points: int, *, weight: float, width: float, shift: float = 0.0, settled: bool = False
) -> float:
    """The chance of at least one EWMA signal within `points` readings; see `ewma_run_length`.

    Raises:
        ValueError: the weight is not in (0, 1], the width not above 0 or `points` negative.
    """
    _check_points(points)
    chances = [0.0] * _CELLS
    chances[_CELLS // 2] = 1.0
    steps = _ewma_steps(weight, width, shift, settled=settled)
    matrix: _Matrix = ()
    for _ in range(points):
        matrix = next(steps, matrix)
        chances = _moved(chances, matrix)
    return 1 - math.fsum(chances)


def _check_points(points: int) -> None:
    if points < 0:
        raise ValueError(f"expected 0 readings or more, not {points!r}")


def _ewma_steps(weight: float, width: float, shift: float, *, settled: bool) -> Iterator[_Matrix]:
    """The transition matrix of each reading in turn, the last one good for all that follow.

    Cells divide the space between the limits of the day, so moving limits need no rounding.
    """
    if not width > 0:
        raise ValueError(f"expected limits wider than 0, not {width!r}")
    final = width * math.sqrt(ewma_variance(weight=weight))
    before, after = final, 0
    while True:
        after += 1
        half = final
        if not settled:
            half = width * math.sqrt(ewma_variance(weight=weight, after=after))
        is_last = settled or (after > 1 and abs(half - before) <= _SETTLED * final)
        yield _ewma_matrix(weight, shift, before=before, half=half)
        if is_last:
            return
        before = half


def _ewma_matrix(weight: float, shift: float, *, before: float, half: float) -> _Matrix:
    edges = [half * (2 * j / _CELLS - 1) for j in range(_CELLS + 1)]
    rows = []
    for i in range(_CELLS):
        held = (1 - weight) * before * ((2 * i + 1) / _CELLS - 1)
        cumulated = [normal_cdf((edge - held) / weight - shift) for edge in edges]
        rows.append(tuple(b - a for a, b in pairwise(cumulated)))
    return tuple(rows)


def _moved(chances: Sequence[float], matrix: _Matrix) -> list[float]:
    moved = [0.0] * _CELLS
    for chance, row in zip(chances, matrix, strict=True):
        if chance > 0:
            moved = [m + chance * p for m, p in zip(moved, row, strict=True)]
    return moved


def _mean_steps_to_leave(matrix: _Matrix) -> list[float]:
    """Solve (I - Q) m = 1 by elimination; the matrix is diagonally dominant, so no pivoting."""
    size = len(matrix)
    rows = [
        [(1.0 if i == j else 0.0) - p for j, p in enumerate(row)] + [1.0]
        for i, row in enumerate(matrix)
    ]
    for k in range(size):
        pivot = rows[k]
        for i in range(k + 1, size):
            factor = rows[i][k] / pivot[k]
            tail = zip(rows[i][k:], pivot[k:], strict=True)
            rows[i][k:] = [a - factor * b for a, b in tail]
    answer = [0.0] * size
    for i in reversed(range(size)):
        known = math.fsum(rows[i][j] * answer[j] for j in range(i + 1, size))
        answer[i] = (rows[i][size] - known) / rows[i][i]
    return answer
