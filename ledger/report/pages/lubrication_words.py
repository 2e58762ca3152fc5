"""How the lubrication page words amounts, spans of time, shares and reasons."""

from ledger.assess.lubrication import GreasePoint
from ledger.assess.lubrication_given import GreaseGiven
from ledger.compute.grease_record import LEAST_SHARE, MOST_SHARE, GreaseVerdict
from ledger.compute.lubrication import Bounds, IntervalSource, OutOfRange
from ledger.compute.rounding import fixed, significant
from ledger.report import words

_DAYS_A_YEAR = 365.2425
_DAYS_A_MONTH = _DAYS_A_YEAR / 12
_LONG_YEARS = 100
_NO_BREAK = "\N{NO-BREAK SPACE}"


def span_words(days: float) -> str:
    """`9.6 days`, `11 months`, `7.9 years`: two digits, as a handbook's factors deserve."""
    if days < 2 * _DAYS_A_MONTH:
        return _counted(days, "day")
    if days < 2 * _DAYS_A_YEAR:
        return _counted(days / _DAYS_A_MONTH, "month")
    years = days / _DAYS_A_YEAR
    return f"over {_LONG_YEARS} years" if years > _LONG_YEARS else _counted(years, "year")


def hours_words(hours: float) -> str:
    """`21 000 h`, to two digits; the spaces do not break."""
    return f"{float(significant(hours, 2)):,.0f} h".replace(",", _NO_BREAK).replace(
        " h", f"{_NO_BREAK}h"
    )


def bounds_words(amount: Bounds, *, places: int = 0) -> str:
    """`12`, or `6 to 18` where it is only known between bounds."""
    low, high = fixed(amount.low, places), fixed(amount.high, places)
    return low if low == high else f"{low} to {high}"


def share_words(share: Bounds) -> str:
    """A share in percent."""
    return f"{bounds_words(Bounds(low=100 * share.low, high=100 * share.high))} %"


def handbook_words(point: GreasePoint) -> str:
    """The handbook's interval by the calendar, or why it has none."""
    if isinstance(point.handbook_h, OutOfRange) or not point.hours_per_day:
        text = "" if not isinstance(point.handbook_h, OutOfRange) else f": {point.handbook_h.text}"
        return f"none{text}"
    return span_words(point.handbook_h / point.hours_per_day)


def in_force_words(point: GreasePoint) -> str:
    """The interval in force and whose it is."""
    interval = point.interval
    if interval is None:
        return "none" if not point.tasks else "cannot be said in days"
    whose = "practice: pushes water out"
    if interval.source is IntervalSource.HANDBOOK:
        whose = "handbook: the grease ages before the practice renews it"
    elif interval.handbook_days is None:
        whose = "practice alone"
    return f"{span_words(interval.days)} ({whose})"


def given_reason(given: GreaseGiven) -> str:
    """Why a point counts as under- or over-greased."""
    got = f"{bounds_words(given.given_g)} g in {(given.last - given.first).days + 1} days"
    of_plan, of_least, of_most = given.of_plan, given.of_least, given.of_most
    if of_plan.verdict in {GreaseVerdict.UNDER, GreaseVerdict.OVER}:
        return f"{got}, {share_words(of_plan.share)} of plan"
    if of_least is not None and of_least.share.high < LEAST_SHARE:
        return f"{got}; by the handbook the bearing needs at least {fixed(of_least.wanted_g, 0)} g"
    if of_most is not None and of_most.share.low > MOST_SHARE:
        return f"{got}; a full charge each time would be {fixed(of_most.wanted_g, 0)} g"
    return got


def _counted(amount: float, noun: str) -> str:
    shown = words.number_words(float(significant(amount, 2)))
    return f"{shown} {noun}" if shown == "1" else f"{shown} {noun}s"
