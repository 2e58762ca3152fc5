"""Grease: how much a bearing wants, how often, what it got, and how long the bearing lasts.

The rating life (ISO 281) is the life against fatigue alone. In a wash, water ends bearings before
fatigue does, so it is an upper bound to what can be hoped for.
"""

import math
from collections.abc import Iterable, Sequence
from enum import StrEnum

from ledger.compute.numbers import NoAnswer, check_above_zero, check_not_negative
from ledger.values import dataclass

# https://www.machinerylubrication.com/Read/206/grease-gun: "from one to three grams per stroke".
UNWEIGHED_STROKE_G = (1.0, 3.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """A number known only to lie between two others, which are equal where it is known."""

    low: float
    high: float

    def __post_init__(self) -> None:
        if not self.low <= self.high:
            raise ValueError(f"the low bound {self.low} lies above the high bound {self.high}")


# The handbook's factors by the words of the equipment files for what surrounds a bearing. Dirt is
# light dust, severe dust, light and severe abrasive; inclined is 45 degrees; cylindrical stands for
# needles too, tapered for spherical rollers.
FACTORS = {
    "Fc": {"clean": 1.0, "light": 0.7, "heavy": 0.4, "severe": 0.2},
    "Fm": {"dry": 1.0, "damp": 0.7, "spray": 0.4, "wash-down": 0.1},
    "Fv": {"little": 1.0, "some": 0.6, "much": 0.3},
    "Fp": {"horizontal": 1.0, "inclined": 0.5, "vertical": 0.3},
    "Fd": {"ball": 10.0, "cylindrical": 5.0, "tapered": 1.0},
}


class IntervalSource(StrEnum):
    """Whose interval is in force."""

    PRACTICE = "practice"
    HANDBOOK = "handbook"


@dataclass(frozen=True, slots=True, kw_only=True)
class GreaseInterval:
    """The shorter of the site's practice and the handbook, and why, in words."""

    days: float
    source: IntervalSource
    handbook_days: float | None
    reason: str


def grease_mass_g(*, outer_mm: float, width_mm: float) -> float:
    """Grams for one greasing, G = 0.005 D B, from outer diameter and total width in mm.

    For an insert bearing, whose rings differ in width, the caller says which was used. Source:
    machinerylubrication.com 31524. Raises ValueError for sizes not above zero.
    """
    check_above_zero(outer_mm=outer_mm, width_mm=width_mm)
    return 0.005 * outer_mm * width_mm


def strokes_for(mass_g: float, *, grams_per_stroke: float | None) -> Bounds:
    """Strokes that give a mass; a range where the gun was not weighed (1 to 3 g a stroke)."""
    check_above_zero(mass_g=mass_g)
    stroke = _stroke(grams_per_stroke)
    return Bounds(low=mass_g / stroke.high, high=mass_g / stroke.low)


def mass_of_strokes_g(strokes: float, *, grams_per_stroke: float | None) -> Bounds:
    """Grams that so many strokes gave; a range where the gun was not weighed (1 to 3 g)."""
    check_not_negative(strokes=strokes)
    stroke = _stroke(grams_per_stroke)
    return Bounds(low=strokes * stroke.low, high=strokes * stroke.high)


def temperature_factor(temperature_c: float) -> float:
    """Ft by the housing's temperature: below 65 °C 1, to 80 0.5, to 93 0.2, above 0.1."""
    if temperature_c < 65:
        return 1.0
    if temperature_c < 80:
        return 0.5
    return 0.2 if temperature_c <= 93 else 0.1


def handbook_hours(*, speed_rpm: float, bore_mm: float, factor: float) -> float | NoAnswer:
    """Running hours between greasings, t = K [14·10⁶/(n √d) - 4 d], n in r/min and d in mm.

    `factor` is K = Ft Fc Fm Fv Fp Fd, the product of `temperature_factor` and one of each row of
    `FACTORS`; it multiplies the whole bracket. Where the bracket is not above zero (large and fast
    bearings) the formula does not hold and there is no answer, as at standstill. It is made for
    grease that ages in steady running: at brush speeds it answers in months or years, and says
    nothing on water. Source: the handbook table with machinerylubrication.com 31524. Raises
    ValueError for a bore not above zero or a negative speed.
    """
    check_above_zero(bore_mm=bore_mm)
    check_not_negative(speed_rpm=speed_rpm)
    if speed_rpm == 0:
        return NoAnswer("the shaft does not turn, and the formula is for turning bearings")
    bracket = 14e6 / (speed_rpm * math.sqrt(bore_mm)) - 4 * bore_mm
    if bracket <= 0:
        return NoAnswer(
            f"{speed_rpm:g} r/min in a {bore_mm:g} mm bore is too fast for the formula: "
            "ask the bearing's maker"
        )
    return factor * bracket


def grease_interval(
    *, practice_days: float, handbook: float | NoAnswer, running_hours_per_day: float
) -> GreaseInterval:
    """The interval in force: the shorter of practice and handbook, both shown, with the reason.

    `handbook` is the answer of `handbook_hours`. Raises ValueError for a practice or a day's
    running hours not above zero, or more than 24 of them.
    """
    check_above_zero(practice_days=practice_days, running_hours_per_day=running_hours_per_day)
    if running_hours_per_day > 24:
        raise ValueError(f"a day has 24 hours, not {running_hours_per_day}")
    source, handbook_days = IntervalSource.PRACTICE, None
    if isinstance(handbook, NoAnswer):
        reason = f"practice alone: {handbook.text}"
    elif (handbook_days := handbook / running_hours_per_day) < practice_days:
        source = IntervalSource.HANDBOOK
        reason = (
            "the handbook's grease life is the shorter: the practice would let the grease wear out"
        )
    else:
        reason = (
            "practice is the shorter: it drives water out of the bearing, which the handbook's "
            "grease life does not take in"
        )
    return GreaseInterval(
        days=min(practice_days, handbook_days or practice_days),
        source=source,
        handbook_days=handbook_days,
        reason=reason,
    )


def _stroke(grams_per_stroke: float | None) -> Bounds:
    low, high = UNWEIGHED_STROKE_G if grams_per_stroke is None else (grams_per_stroke,) * 2
    check_above_zero(grams_per_stroke=low)
    return Bounds(low=low, high=high)


# Common practice, no source: half as much or twice as much as wanted calls for a look.
LEAST_SHARE, MOST_SHARE = 0.5, 2.0


class GreaseVerdict(StrEnum):
    """What the record says of a point's grease over a period."""

    WITHIN = "as wanted"
    UNDER = "under-greased"
    OVER = "over-greased"
    CANNOT_TELL = "cannot tell: weigh a stroke of the gun"


@dataclass(frozen=True, slots=True, kw_only=True)
class GreaseBalance:
    """Grams wanted over a period, and the share of that which was given."""

    wanted_g: float
    share: Bounds

    @property
    def verdict(self) -> GreaseVerdict:
        """Where the wanted grease is the least and the most."""
        return grease_verdict([self], [self])


def total_g(masses_g: Iterable[Bounds]) -> Bounds:
    """The sum of masses, each known within bounds."""
    listed = list(masses_g)
    return Bounds(low=math.fsum(m.low for m in listed), high=math.fsum(m.high for m in listed))


def grease_balance(
    given_g: Bounds, each_g: float, period_days: float, interval_days: float
) -> GreaseBalance:
    """Whether a point got the grease it wanted over a period.

    Wanted is `each_g` once an interval. Raises ValueError for a mass, period or interval not
    above zero.
    """
    check_above_zero(each_g=each_g, period_days=period_days, interval_days=interval_days)
    wanted_g = each_g * period_days / interval_days
    share = Bounds(low=given_g.low / wanted_g, high=given_g.high / wanted_g)
    return GreaseBalance(wanted_g=wanted_g, share=share)


def grease_verdict(
    at_least: Sequence[GreaseBalance], at_most: Sequence[GreaseBalance]
) -> GreaseVerdict:
    """The verdict on what was given, held against what was wanted at least and at most.

    Under-greased where a share of the first is certainly below one half, over-greased where one
    of the second is certainly above two (common practice, no source); it cannot be told where an
    unweighed gun leaves one of them possible.
    """
    if any(balance.share.high < LEAST_SHARE for balance in at_least):
        return GreaseVerdict.UNDER
    if any(balance.share.low > MOST_SHARE for balance in at_most):
        return GreaseVerdict.OVER
    if any(balance.share.low < LEAST_SHARE for balance in at_least) or any(
        balance.share.high > MOST_SHARE for balance in at_most
    ):
        return GreaseVerdict.CANNOT_TELL
    return GreaseVerdict.WITHIN


def cartridges_left(*, on_hand: float, used_g: Bounds, cartridge_g: float) -> Bounds:
    """Cartridges left of those counted, after grease used since; never below zero.

    Raises ValueError for a negative count or a cartridge that holds nothing.
    """
    check_not_negative(on_hand=on_hand)
    check_above_zero(cartridge_g=cartridge_g)
    return Bounds(
        low=max(0.0, on_hand - used_g.high / cartridge_g),
        high=max(0.0, on_hand - used_g.low / cartridge_g),
    )


FRETTING_SWEEP_DEG = 5.0
"""Below this swing the maker's manual cited at `equivalent_speed_rpm` warns of fretting."""


def rating_life_mrev(*, dynamic_rating_kn: float, load_kn: float, is_ball: bool) -> float:
    """Millions of turns that 90 of 100 like bearings reach, (C/P)^p (ISO 281:2007).

    p is 3 for balls and 10/3 for rollers. `load_kn` is the equivalent dynamic load. ValueError for
    ratings and loads not above zero.
    """
    check_above_zero(dynamic_rating_kn=dynamic_rating_kn, load_kn=load_kn)
    return math.pow(dynamic_rating_kn / load_kn, 3.0 if is_ball else 10 / 3)


def rating_life_hours(*, life_mrev: float, speed_rpm: float) -> float:
    """Hours of a life in millions of turns at a steady speed, 10⁶ L/(60 n) (ISO 281)."""
    check_above_zero(speed_rpm=speed_rpm)
    return 1e6 * life_mrev / (60 * speed_rpm)


def equivalent_speed_rpm(*, swings_per_min: float, sweep_deg: float) -> float:
    """The turning speed that covers as many degrees as swinging does, n φ/180.

    φ is the whole sweep from end to end, and a swing goes there and back, 2 φ. Catalogues that
    give the angle to one side of the middle, γ = φ/2, write the same as n γ/90. Source: life for
    oscillating motion, 10⁶/(60 n) (180/φ) L, in a drive maker's manual (1021387, 12/2018, equation
    44.1), where one oscillation means 2 φ. It counts degrees only: O. Menck and M. Stammler, Wind
    Energ. Sci. 9, 777 (2024), review what it leaves out.
    """
    check_above_zero(swings_per_min=swings_per_min)
    if not 0 < sweep_deg <= 360:
        raise ValueError(f"sweep_deg is the whole sweep, above 0 to 360, not {sweep_deg}")
    return swings_per_min * sweep_deg / 180
