"""How often to look, so that a failing part is seen before it fails."""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class InspectionPlan:
    """How many looks a P-F interval needs, and the days between them.

    `missed` is the chance that all looks in one P-F interval miss the failing part.
    """

    looks: int
    interval_days: float
    missed: float


def looks_needed(*, detection: float, acceptable_miss: float) -> float:
    """Looks within the P-F interval that bring the chance of missing all down: ln P/ln(1-θ).

    `detection` θ is the chance that one look finds a failing part, `acceptable_miss` P the
    chance one is ready to accept. Not rounded; 0 where every look may miss, and never below.
    Source: NAVAIR 00-25-403 (recalled, not read).

    Raises:
        ValueError: θ is not in (0, 1], or P not in (0, 1].
    """
    if not 0 < detection <= 1:
        raise ValueError(f"expected a detection chance above 0 and up to 1, not {detection!r}")
    if not 0 < acceptable_miss <= 1:
        raise ValueError(f"expected an acceptable chance above 0 and up to 1: {acceptable_miss!r}")
    if detection == 1:
        return 0.0 if acceptable_miss == 1 else 1.0
    return abs(math.log(acceptable_miss) / math.log1p(-detection))


def inspection_plan(
    *, pf_interval_days: float, detection: float, acceptable_miss: float
) -> InspectionPlan:
    """Days between looks so that a part on its way from P to F is missed seldom enough.

    The P-F interval is the time from the first detectable sign to the failure. The number of
    looks is rounded up, and one at least.

    Raises:
        ValueError: the P-F interval is not above 0, or as `looks_needed`.
    """
    if not 0 < pf_interval_days < math.inf:
        raise ValueError(f"expected a P-F interval above 0 days, not {pf_interval_days!r}")
    needed = looks_needed(detection=detection, acceptable_miss=acceptable_miss)
    # A chance given in decimals makes 2.0000000000000004 of two.
    looks = max(1, math.ceil(needed - 1e-9))
    return InspectionPlan(
        looks=looks,
        interval_days=pf_interval_days / looks,
        missed=(1 - detection) ** looks,
    )
