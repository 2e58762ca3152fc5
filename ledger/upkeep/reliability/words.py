"""How the reliability page words hours, limits, lives and ages: two digits, as they deserve."""

from typing import assert_never

from ledger.book import words
from ledger.compute import reliability as formulas
from ledger.compute import weibull
from ledger.compute.numbers import (
    NoAnswer,
    NotEnoughData,
    shown_bounds,
    shown_probability,
    shown_value,
    significant,
    significant_bounds,
)
from ledger.model.ledger import Ledger
from ledger.upkeep.reliability.found import FailureCosts, Replacement
from ledger.upkeep.reliability.sisters import Sisters
from ledger.upkeep.reliability.tasks import TaskValue

_WIDE = 20
"""Ends of a range that lie further apart than this many times say only where it begins."""


def format_hours(hours: float) -> str:
    return f"{significant(hours, 2)} h"


def format_mtbf(mtbf: formulas.MeanTimeBetweenFailures | None) -> str:
    """`610 h (310 to 1400)`, or why there is none; of a very wide range the lower end alone."""
    if mtbf is None:
        return "none: the failures come at a changing rate"
    if mtbf.estimate_h is None or mtbf.upper_h > _WIDE * mtbf.lower_h:
        return f"at least {format_hours(mtbf.lower_h)}"
    return f"{format_hours(mtbf.estimate_h)} {_bounds(mtbf.lower_h, mtbf.upper_h)}"


def format_availability(available: formulas.Availability | NotEnoughData | None) -> str:
    """`99.3 % (97.7 to 99.8)`, to the digits that its limits support."""
    if available is None:
        return words.NONE
    if isinstance(available, NotEnoughData):
        return format_too_few(available)
    if available.estimate is None or available.lower is None or available.upper is None:
        return f"no stop in {format_hours(available.up_h)}"
    low, estimate, high = (
        100 * share for share in (available.lower, available.estimate, available.upper)
    )
    return f"{shown_value(estimate, (high - low) / 2)} % ({shown_bounds(low, high)})"


def format_trend(trend: formulas.TrendTest | NotEnoughData) -> str:
    if isinstance(trend, NotEnoughData):
        return format_too_few(trend)
    if trend.trend is formulas.FailureTrend.NONE_SHOWN:
        return trend.trend.value
    percent = 100 * trend.p_value
    chance = "under 0.1" if percent < 0.1 else significant(percent, 1)
    return f"{trend.trend.value} (unlikely to be chance: {chance} %)"


def format_too_few(lacking: NotEnoughData) -> str:
    """`too few to tell: 1 of 4 failures`; the reason stands on the page once."""
    return f"too few to tell: {lacking.have} of {lacking.need} {lacking.what}"


def format_life(life: weibull.WeibullFit | formulas.GrowthModel | NotEnoughData) -> str:
    if isinstance(life, NotEnoughData):
        return format_too_few(life)
    shape = f"{significant(life.shape, 2)} {_bounds(life.shape_lower, life.shape_upper)}"
    if isinstance(life, formulas.GrowthModel):
        return (
            f"at the end of the record about {format_hours(life.current_mtbf_h)} between "
            f"failures, by the growth model with shape {shape}"
        )
    return (
        f"{_shape_says(life)}, by {words.format_count(life.lives, 'life', 'lives')}, "
        f"{life.failures} of them ended by a failure; 63 of 100 fail within "
        f"{format_hours(life.scale_h)} {_bounds(life.scale_lower_h, life.scale_upper_h)}, and "
        f"the shape is {shape}"
    )


def format_cost(costs: FailureCosts, currency: str, stated: float | None) -> str:
    """What the failures cost by what was filed, beside what the machine's file says of one."""
    labour = costs.labour_per_h or 0.0
    parts = [
        f"{words.format_minutes(minutes)} {of} at {_money(rate, 10)} {currency} an hour"
        for minutes, of, rate in (
            (costs.stopped_minutes, "stopped", costs.down_per_h or (0.0, 0.0)),
            (costs.work_minutes, "of work", (labour, labour)),
        )
        if minutes and rate[1]
    ]
    if costs.parts:
        parts.append(f"parts for {significant(costs.parts, 3)} {currency}")
    beside = "" if stated is None else f"; its file says {stated:.10g} {currency}"
    low, high = costs.total
    each = _money((low / costs.failures, high / costs.failures), 2)
    return (
        f"By the record a failure cost about {each} {currency}: "
        f"in all {words.in_words(parts)}{beside}."
    )


def _money(between: tuple[float, float], digits: int) -> str:
    """`480`, or `0 to 480` for what is known within limits only."""
    low, high = (f"{float(significant(one, digits)):.10g}" for one in between)
    return high if low == high else f"{low} to {high}"


def format_sisters(ledger: Ledger, found: Sisters) -> str:
    """A place that fails again and again beside the others like it, before any age is named."""
    here = f"{ledger.place_name(found.place)} failed {found.failures} times. "
    if found.chance is None:
        return f"{here}No other machine here has this point to compare with: look for the cause."
    others = words.in_words([ledger.place_name(place) for place in found.sisters])
    failed = f"failed {found.sister_failures} times" if found.sister_failures else "never failed"
    here += f"In {format_hours(found.sister_hours)}, {others} {failed}"
    if not found.stands_out:
        return f"{here}: too little to say that this one has a cause of its own."
    return (
        f"{here}: look for the cause at this one first, such as fit, alignment, seal, spray or "
        f"grease, before any age for a renewal (unlikely to be chance: "
        f"{significant(100 * found.chance, 1)} %)."
    )


def format_replacement(replacement: Replacement, currency: str, part: str = "the part") -> str:
    match replacement:
        case weibull.AgeAdvice(age=best):
            low, high = (100 * s for s in (replacement.saving_lower, replacement.saving_upper))
            return (
                f"Renewing {part} at {format_hours(best.age_h)} saves about "
                f"{significant(100 * replacement.saving, 2)} % ({shown_bounds(low, high)}) of what "
                f"running to failure costs: about {_rate(best.cost_per_h, currency)}, against "
                f"{_rate(best.run_to_failure_cost_per_h, currency)}. The chance that it saves is "
                f"{shown_probability(replacement.saves)}."
            )
        case NoAnswer(text=reason):
            return f"No age for a renewal is advised: {reason}."
        case weibull.RunToFailure():
            return (
                f"Run to failure: {replacement.reason}; {_rate(replacement.cost_per_h, currency)}."
            )
        case _:
            assert_never(replacement)


def format_look(looks: formulas.InspectionPlan | NotEnoughData) -> str:
    if isinstance(looks, NotEnoughData):
        return format_too_few(looks)
    days = significant(looks.interval_days, 2)
    return f"every {days} days, so that {looks.looks} looks fall in the shortest warning"


def format_interval(value: TaskValue) -> str:
    """What the failures between services say of an interval, and who else has a say."""
    found = value.value
    if isinstance(found, NotEnoughData):
        text = f"{format_too_few(found)}, which proves nothing"
    else:
        text = f"{found.effect.value}; {_ratio(found)} as often late as soon after"
    if value.is_bound:
        return f"{text}; law, safety or the maker sets this interval: keep it, or shorten it"
    return text


def _ratio(value: formulas.IntervalValue) -> str:
    if value.early_failures == 0:
        return f"more than {significant(value.ratio_lower, 2)} times"
    # Far apart as they are, a second figure would only move with each day on record.
    lower, upper = significant(value.ratio_lower, 1), significant(value.ratio_upper, 1)
    return f"{significant(value.rate_ratio, 2)} times ({lower} to {upper})"


def _shape_says(life: weibull.WeibullFit) -> str:
    if life.shape_lower > 1:
        return "the part wears out"
    if life.shape_upper < 1:
        return "new parts fail soon: look at part and fitting"
    return "no sign of wearing out or of failing when new"


def _bounds(lower: float, upper: float) -> str:
    return f"({significant_bounds(lower, upper, 2)})"


def _rate(cost_per_h: float, currency: str) -> str:
    return f"{significant(1000 * cost_per_h, 2)} {currency} per 1000 h".replace("  ", " ")
