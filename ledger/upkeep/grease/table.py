"""Lubrication as rows for JSON: grams, strokes, running hours and days."""

from ledger.book.flat import JsonRow, fields_of
from ledger.compute.grease import Bounds
from ledger.compute.numbers import NoAnswer, NotEnoughData, answer_or_none
from ledger.upkeep.grease.found import GreasePoint
from ledger.upkeep.grease.given import GreaseGiven, GreaseSupply


def point_row(point: GreasePoint) -> JsonRow:
    """One bearing; a reason in words stands where a number cannot be said."""
    interval, handbook_h = point.interval, point.handbook_h
    return {
        **fields_of(point, "place", "charge_g"),
        "charge_strokes": _bounds(point.charge_strokes),
        "tasks": [
            {
                "task": one.task.ident,
                "part": one.part.ident,
                "amount": one.amount.quantity,
                "unit": one.amount.unit,
                "each_g": _bounds(one.each_g),
                "interval_days": one.interval_days,
            }
            for one in point.tasks
        ],
        "speed_rpm": point.speed_rpm,
        "speed_from": None if point.speed_basis is None else point.speed_basis.value,
        "factors": {factor.symbol: factor.value for factor in point.factors},
        "factor": point.factor,
        "handbook_hours": answer_or_none(handbook_h),
        "handbook_says": handbook_h.text if isinstance(handbook_h, NoAnswer) else None,
        "handbook_days": None if interval is None else interval.handbook_days,
        "running_hours_per_day": point.hours_per_day,
        "interval_days": None if interval is None else interval.days,
        "interval_from": None if interval is None else interval.source.value,
        "reason": None if interval is None else interval.reason,
        "given": _given(point.given),
        "rating_life_hours": None
        if point.life is None or point.life.overloaded
        else point.life.hours,
    }


def supply_row(supply: GreaseSupply) -> JsonRow:
    """One grease of the shelf."""
    return {
        "part": supply.part.ident,
        "grams_per_stroke": supply.part.grams_per_stroke,
        "used_a_week_g": _bounds(supply.used_a_week_g),
        "cartridges_left": _bounds(supply.cartridges),
        **fields_of(supply, "counted_on"),
        "weeks_left": _bounds(supply.weeks_left),
        "used_by_month_g": {
            f"{month:%Y-%m}": _bounds(mass) for month, mass in supply.used_by_month_g.items()
        },
    }


def _given(given: GreaseGiven | NotEnoughData | None) -> JsonRow | None:
    if given is None:
        return None
    if isinstance(given, NotEnoughData):
        return {"verdict": given.text}
    return {
        **fields_of(given, "first", "last", "greasings"),
        "given_g": _bounds(given.given_g),
        "share_of_plan": given.of_plan.share.low,
        "least_g": None if given.of_least is None else given.of_least.wanted_g,
        "most_g": None if given.of_most is None else given.of_most.wanted_g,
        "verdict": given.verdict.value,
    }


def _bounds(amount: Bounds | None) -> list[float] | None:
    return None if amount is None else [amount.low, amount.high]
