"""The formats that the schemas name, checked for real and by both validators alike."""

import re
from collections.abc import Callable
from datetime import date, datetime, time
from types import MappingProxyType

_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIME = re.compile(r"[0-9]{2}:[0-9]{2}(?::[0-9]{2})?")
_INSTANT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(?::[0-9]{2})?(?:Z|[+-][0-9]{2}:[0-9]{2})?"
)

# No record of a wash lies outside, and a day's or a year's arithmetic on what lies inside cannot
# leave the calendar of the years 1 to 9999.
FIRST_YEAR, LAST_YEAR = 1900, 2199


def is_date(text: str) -> bool:
    """Whether `text` is a day of the calendar, YYYY-MM-DD (ISO 8601; RFC 3339 full-date).

    Of the years 1900 to 2199.
    """
    return (
        _DATE.fullmatch(text) is not None
        and _parses(date.fromisoformat, text)
        and _in_our_time(text)
    )


def is_local_time(text: str) -> bool:
    """Whether `text` is a time of day, HH:MM or HH:MM:SS, without an offset."""
    return _TIME.fullmatch(text) is not None and _parses(time.fromisoformat, text)


def is_site_instant(text: str) -> bool:
    """Whether `text` is a date and time with an offset or without one.

    2026-11-23T06:40 or 2026-11-23T06:40:10, then nothing (the site's zone), Z or +HH:MM.
    Of the years 1900 to 2199.
    """
    return (
        _INSTANT.fullmatch(text) is not None
        and _parses(datetime.fromisoformat, text)
        and _in_our_time(text)
    )


def is_date_time(text: str) -> bool:
    """Whether `text` is a date and time with seconds and an offset (RFC 3339 date-time)."""
    has_offset = text.endswith("Z") or text[-6:-5] in {"+", "-"}
    return is_site_instant(text) and has_offset and text[16:17] == ":"


FORMATS: MappingProxyType[str, Callable[[str], bool]] = MappingProxyType(
    {
        "date": is_date,
        "date-time": is_date_time,
        "local-time": is_local_time,
        "site-instant": is_site_instant,
    }
)


def _in_our_time(text: str) -> bool:
    return FIRST_YEAR <= int(text[:4]) <= LAST_YEAR


def _parses(parse: Callable[[str], object], text: str) -> bool:
    try:
        parse(text)
    except ValueError:
        return False
    return True
