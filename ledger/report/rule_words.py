"""A recurrence rule as people say it: `second Monday of February`, `Friday`."""

import calendar

from ledger.compute.recurrence import Rule

_DAYS = {"MO": 0, "TU": 1, "WE": 2, "TH": 3, "FR": 4, "SA": 5, "SU": 6}
_ORDINALS = {1: "first", 2: "second", 3: "third", 4: "fourth", 5: "fifth", -1: "last"}


def rule_words(rule: Rule) -> str:
    """What comes after `every`; a rule of a rarer shape is told by its own text.

    Covers what plans are made of: a weekday of the week, a numbered weekday or day of the month,
    a month of the year, each with an interval (RFC 5545, 3.3.10).
    """
    parts = dict(part.split("=") for part in rule.text.split(";"))
    step = int(parts.pop("INTERVAL", "1"))
    parts.pop("WKST", None)
    shape = (parts.pop("FREQ"), tuple(sorted(parts)))
    match shape:
        case ("WEEKLY", ("BYDAY",)) if all(day in _DAYS for day in parts["BYDAY"].split(",")):
            days = " and ".join(calendar.day_name[_DAYS[d]] for d in parts["BYDAY"].split(","))
            return days if step == 1 else f"{step} weeks on {days}"
        case ("MONTHLY", ("BYDAY",)) if said := _numbered(parts["BYDAY"]):
            return f"{said} of the month" if step == 1 else f"{step} months on the {said}"
        case ("MONTHLY", ("BYMONTHDAY",)) if parts["BYMONTHDAY"].isdigit():
            said = f"day {parts['BYMONTHDAY']}"
            return f"{said} of the month" if step == 1 else f"{step} months on {said}"
        case ("YEARLY", ("BYDAY", "BYMONTH")) if (
            (said := _numbered(parts["BYDAY"])) and parts["BYMONTH"].isdigit() and step == 1
        ):
            return f"{said} of {calendar.month_name[int(parts['BYMONTH'])]}"
        case _:
            return str(rule)


def _numbered(by_day: str) -> str:
    """`2MO` as `second Monday`; nothing for other shapes."""
    number, day = by_day[:-2], by_day[-2:]
    try:
        ordinal = _ORDINALS.get(int(number), "")
    except ValueError:
        return ""
    return f"{ordinal} {calendar.day_name[_DAYS[day]]}" if ordinal and day in _DAYS else ""
