"""Grease given against grease wanted, and how far the cartridges reach."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from ledger.compute.lubrication import Bounds
from ledger.compute.quantities import check_above_zero, check_not_negative
from ledger.compute.units import convert

# Common practice, no source: half as much or twice as much as wanted calls for a look.
LEAST_SHARE, MOST_SHARE = 0.5, 2.0

CARTRIDGE_G = convert(14, "oz", "g")


class GreaseVerdict(StrEnum):
    """What the record says of a point's grease over a period."""

    WITHIN = "as wanted"
    UNDER = "under-greased"
    OVER = "over-greased"
    CANNOT_TELL = "cannot tell: weigh a stroke of the gun"


@dataclass(frozen=True, slots=True, kw_only=True)
class GreaseBalance:
    """Grams given and wanted over a period, the share of the two, and the verdict."""

    given_g: Bounds
    wanted_g: float
    share: Bounds
    verdict: GreaseVerdict


def total_g(masses_g: Iterable[Bounds]) -> Bounds:
    """The sum of masses, each known within bounds."""
    listed = list(masses_g)
    return Bounds(low=math.fsum(m.low for m in listed), high=math.fsum(m.high for m in listed))


def grease_balance(
    *, given_g: Bounds, each_g: float, period_days: float, interval_days: float
) -> GreaseBalance:
    """Whether a point got the grease it wanted over a period.

    Wanted is `each_g` once an interval. Under-greased is a share certainly below one half,
    over-greased one certainly above two (common practice, no source); where an unweighed gun
    leaves both possible, the verdict is that it cannot be told. Raises ValueError for a mass,
    period or interval not above zero.
    """
    check_above_zero("each_g", each_g)
    check_above_zero("period_days", period_days)
    check_above_zero("interval_days", interval_days)
    wanted_g = each_g * period_days / interval_days
    share = Bounds(low=given_g.low / wanted_g, high=given_g.high / wanted_g)
    if share.high < LEAST_SHARE:
        verdict = GreaseVerdict.UNDER
    elif share.low > MOST_SHARE:
        verdict = GreaseVerdict.OVER
    elif share.low >= LEAST_SHARE and share.high <= MOST_SHARE:
        verdict = GreaseVerdict.WITHIN
    else:
        verdict = GreaseVerdict.CANNOT_TELL
    return GreaseBalance(given_g=given_g, wanted_g=wanted_g, share=share, verdict=verdict)


def cartridges_left(*, on_hand: float, used_g: Bounds, cartridge_g: float = CARTRIDGE_G) -> Bounds:
    """Cartridges left of those counted, after grease used since; never below zero.

    A cartridge holds 14 oz unless said otherwise. Raises ValueError for a negative count or a
    cartridge that holds nothing.
    """
    check_not_negative("on_hand", on_hand)
    check_above_zero("cartridge_g", cartridge_g)
    return Bounds(
        low=max(0.0, on_hand - used_g.high / cartridge_g),
        high=max(0.0, on_hand - used_g.low / cartridge_g),
    )
