"""The mean of readings that share errors: one hand's presses, one instrument's scale, one dial.

Readings are averaged within a group by what each errs by alone, then the shared part is added
once; groups are averaged by their whole variance. The variance is a'Va with every shared part
(GUM, JCGM 100:2008, 5.2.2), so that it is honest also where a reading lies in two groups.
"""

import math
from collections.abc import Iterable, Mapping, Sequence

from ledger.compute.distributions import chi2_quantile
from ledger.values import dataclass

CONSISTENT = 0.95
"""Readings are called inconsistent when chi-square exceeds this quantile."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """An error that every reading of one `key` has: one draw for an instrument or a person.

    `u` is its standard uncertainty in the reading's own unit. Keys of one `kin` may err alike, as
    two instruments set by one another do; how far is not known.
    """

    key: str
    u: float
    kin: str = ""


def shared_covariance(
    parts: Iterable[tuple[float, Shared]], others: Iterable[tuple[float, Shared]]
) -> float:
    """The covariance that shared errors give to Σ aᵢ yᵢ and Σ bᵢ yᵢ; of one sum its variance.

    The sums are given as each factor with an error of its reading. Readings of one key err
    together: Σ over keys of (Σ aᵢ uᵢ)(Σ bᵢ uᵢ) (JCGM 100:2008, F.1.2.3, recalled, not read).
    """
    second = by_key(others)
    return math.fsum(total * second.get(key, 0.0) for key, total in by_key(parts).items())


def by_key(parts: Iterable[tuple[float, Shared]]) -> dict[str, float]:
    """The sum of factor times error for each key, of the parts in their order."""
    totals: dict[str, float] = {}
    for factor, shared in parts:
        totals[shared.key] = totals.get(shared.key, 0.0) + factor * shared.u
    return totals


@dataclass(frozen=True, slots=True, kw_only=True)
class SharingReading:
    """A value with the standard uncertainty of its own, and the errors it shares.

    `u_apart` is what it may lie apart from others of its group by, where that is more than its
    own: a count that is rounded to whole passes jumps by one, or stays the same.
    """

    value: float
    u_own: float
    shared: tuple[Shared, ...] = ()
    u_apart: float = 0.0

    @property
    def u_of_scatter(self) -> float:
        return max(self.u_own, self.u_apart)

    @property
    def group(self) -> str:
        """The key of the largest shared error; "" without any."""
        return max(((one.u, one.key) for one in self.shared), default=(0.0, ""))[1]


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupMean:
    """The mean of the readings with these numbers in the row, which share `key` most."""

    key: str
    members: tuple[int, ...]
    value: float
    u: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedMean:
    """A mean, its standard uncertainty and how much of that more of the same would not help.

    `u_own` is what averages out. With `inflated` the readings scatter more than they should: the
    own part has then been multiplied by `birge_ratio`, and `dof` are the effective degrees of
    freedom (Welch-Satterthwaite, GUM G.4.1). `weights` add up to one.
    """

    value: float
    u: float
    u_own: float
    dof: float
    chi2: float
    chi2_dof: int
    birge_ratio: float
    inflated: bool
    weights: tuple[float, ...]
    groups: tuple[GroupMean, ...]

    @property
    def u_shared(self) -> float:
        return math.sqrt(max(self.u**2 - self.u_own**2, 0.0))


def shared_mean(readings: Sequence[SharingReading]) -> SharedMean:
    """The mean of one quantity from readings that share errors.

    Shared parts are to be those at the mean and not at each measured value, which would draw the
    mean below all readings (Peelle's puzzle; T. Burr et al., Algorithms 4, 2011, 28). Where more
    than chance parts the readings, the own errors alone grow by the Birge ratio √(χ²/ν)
    (R. T. Birge, Phys. Rev. 40, 1932, 207), never the shared. Parts of one kin are added up, the
    most they can come to (JCGM 100:2008, 5.2.2 note 1, recalled). A group that would only make
    the mean less sure is left out of it.

    Raises:
        ValueError: no reading, or one whose own uncertainty is not above 0.
    """
    if not readings:
        raise ValueError("expected at least one reading")
    if any(not reading.u_own > 0 for reading in readings):
        raise ValueError("expected readings with an uncertainty of their own above 0")
    members: dict[str, list[int]] = {}
    for number, reading in enumerate(readings):
        members.setdefault(reading.group, []).append(number)
    within = {key: _within(readings, numbers) for key, numbers in members.items()}
    groups = [
        GroupMean(
            key=key,
            members=tuple(numbers),
            value=math.fsum(w * readings[n].value for n, w in within[key].items()),
            u=math.sqrt(sum(_variances(readings, within[key], 1.0))),
        )
        for key, numbers in members.items()
    ]
    precision = math.fsum(1 / group.u**2 for group in groups)
    value = math.fsum(group.value / group.u**2 for group in groups) / precision
    # Within groups by what each reading errs by alone, between them by the whole.
    chi2 = math.fsum(
        ((readings[number].value - group.value) / readings[number].u_of_scatter) ** 2
        for group in groups
        for number in group.members
    ) + math.fsum(((group.value - value) / group.u) ** 2 for group in groups)
    chi2_dof = len(readings) - 1
    birge = math.sqrt(chi2 / chi2_dof) if chi2_dof else 1.0
    inflated = chi2_dof > 0 and chi2 > chi2_quantile(CONSISTENT, chi2_dof)
    grown = birge if inflated else 1.0
    weights: Mapping[int, float] = {
        number: weight / group.u**2 / precision
        for group in groups
        for number, weight in within[group.key].items()
    }
    best = min(groups, key=lambda group: group.u)
    if sum(_variances(readings, weights, 1.0)) > best.u**2 * (1 + 1e-12):
        weights, value = within[best.key], best.value
    own, shared = _variances(readings, weights, grown)
    return SharedMean(
        value=value,
        u=math.sqrt(own + shared),
        u_own=math.sqrt(own),
        dof=chi2_dof * ((own + shared) / own) ** 2 if inflated else math.inf,
        chi2=chi2,
        chi2_dof=chi2_dof,
        birge_ratio=birge,
        inflated=inflated,
        weights=tuple(weights.get(number, 0.0) for number in range(len(readings))),
        groups=tuple(groups),
    )


def _within(readings: Sequence[SharingReading], numbers: Sequence[int]) -> Mapping[int, float]:
    total = math.fsum(1 / readings[number].u_own ** 2 for number in numbers)
    return {number: 1 / readings[number].u_own ** 2 / total for number in numbers}


def _variances(
    readings: Sequence[SharingReading], weights: Mapping[int, float], grown: float
) -> tuple[float, float]:
    """Of a weighted mean: what is each reading's own, and what they share, by key and kin."""
    own = math.fsum((w * grown * readings[n].u_own) ** 2 for n, w in weights.items())
    parts = [(w, one) for n, w in weights.items() for one in readings[n].shared]
    kin = {one.key: one.kin for _, one in parts}
    alike: dict[str, float] = {}
    for key, total in by_key(parts).items():
        of = kin[key] or key
        alike[of] = alike.get(of, 0.0) + abs(total)
    return own, math.fsum(total * total for total in alike.values())
