"""Work against the time of those who may do it, and weeks made level."""

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

from ledger.compute.numbers import check_not_negative
from ledger.values import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """Minutes of work that stay together, the week they are planned in and all that would do."""

    minutes: float
    planned: int
    weeks: Sequence[int]


def levelled(fixed: Sequence[float], days: Sequence[int], pieces: Sequence[Piece]) -> list[int]:
    """The week of each piece, in their order, beside the `fixed` minutes of each week.

    The longest comes first, each into the week that has the fewest minutes a day with it; then
    whatever may stay where it is planned without making the fullest week fuller goes back there.
    Where that makes no week emptier than the fullest planned, all stays. The first rule leaves the
    fullest at most 4/3 of what it could be, where any week would do: R. L. Graham, "Bounds on
    multiprocessing timing anomalies", SIAM J. Appl. Math. 17(2), 1969 (recalled).

    Raises:
        ValueError: minutes are negative.
    """
    planned = [piece.planned for piece in pieces]
    longest_first = sorted(range(len(pieces)), key=lambda n: (-pieces[n].minutes, n))
    load, found = list(fixed), list(planned)
    for n in longest_first:
        minutes = pieces[n].minutes
        check_not_negative(minutes=minutes)
        a_day = {
            week: (load[week] + minutes) / days[week] for week in pieces[n].weeks if days[week]
        }
        found[n] = min(a_day, key=lambda w: (a_day[w], w != planned[n], w), default=planned[n])
        load[found[n]] += minutes
    fullest = _fullest(load, days)
    for n in longest_first:
        minutes, week = pieces[n].minutes, planned[n]
        if days[week] and found[n] != week and (load[week] + minutes) / days[week] <= fullest:
            load[found[n]] -= minutes
            load[week] += minutes
            found[n] = week
    for n, week in enumerate(found):
        load[week] -= pieces[n].minutes
        load[planned[n]] += pieces[n].minutes
    return found if fullest < _fullest(load, days) else planned


def _fullest(load: Sequence[float], days: Sequence[int]) -> float:
    """The most minutes a day; endless where there is work and no day."""
    return max(
        minutes / there if there else math.inf if minutes else 0.0
        for minutes, there in zip(load, days, strict=True)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Shortfall:
    """Work for which the time is too short: what it asks for, and what those present have."""

    kinds: tuple[frozenset[str], ...]
    minutes: float
    present: float


def shortfall(
    work: Mapping[frozenset[str], float], people: Sequence[tuple[frozenset[str], float]]
) -> Shortfall | None:
    """The kinds of work that lack the most minutes; None where the time is enough for all.

    `work` are minutes by the qualifications needed, `people` those that each has and their
    minutes. Any kinds together can be done only if all who may do one of them have the minutes;
    if that holds for every choice of kinds, the work can be shared out. Source: P. Hall, "On
    representatives of subsets", J. London Math. Soc. 10, 1935 (recalled).
    """
    short = [found for found in _choices(work, people) if found.minutes > found.present]
    return max(
        short, key=lambda found: (found.minutes - found.present, -len(found.kinds)), default=None
    )


def _choices(
    work: Mapping[frozenset[str], float], people: Sequence[tuple[frozenset[str], float]]
) -> Iterator[Shortfall]:
    kinds = sorted((kind for kind, minutes in work.items() if minutes > 0), key=sorted)
    for size in range(1, len(kinds) + 1):
        for chosen in combinations(kinds, size):
            able = (minutes for has, minutes in people if any(kind <= has for kind in chosen))
            yield Shortfall(
                kinds=chosen, minutes=sum(work[kind] for kind in chosen), present=sum(able)
            )
