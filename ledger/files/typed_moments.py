"""Days and times as people write them."""

import re
import unicodedata
from collections.abc import Callable, Iterator
from datetime import date, timedelta

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")

_MONTH = re.compile(rf"\b({'|'.join(_MONTHS)})[a-z]*\.?")

_WEEKDAY = re.compile(r"\b(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*\b[.,]?")

# A letter that looks like a digit, beside a digit.
_LETTER_O = re.compile(r"(?<=[0-9])o|o(?=[0-9])")

_LETTER_L = re.compile(r"(?<=[0-9])[li|](?=[0-9:.\-t]|$)|(?<![a-z])[li|](?=[0-9])")


_YEAR_FIRST = re.compile(
    r"(?<![-/.])\b([0-9]{4})[-/. ]\s*([0-9]{1,2})[-/. ]\s*([0-9]{1,2})(?![0-9])"
)

_COMPACT = re.compile(r"\b([0-9]{4})([0-9]{2})([0-9]{2})(?![0-9])")

_YEAR_LAST = re.compile(
    r"(?<![0-9:])([0-9]{1,2})[-/. ]\s*([0-9]{1,2})[-/., ]\s*'?([0-9]{4}|[0-9]{2})(?![0-9:])"
)

# A year, or its last two digits where no time can be meant: `Nov 3 10.30`.
_YEAR = r"'?([0-9]{4}|[0-9]{2}(?![0-9:hap]|\.[0-9]))"

_DAY_NAMED = re.compile(rf"\b([0-9]{{1,2}})(?:st|nd|rd|th)?[\s.\-/]*<([0-9]+)>[\s,.\-/]*{_YEAR}")

_MONTH_NAMED = re.compile(rf"<([0-9]+)>[\s.\-/]*([0-9]{{1,2}})(?:st|nd|rd|th)?[\s,.\-/]+{_YEAR}")

_CLOCK = re.compile(
    r"(?P<hour>[0-9]{1,2})(?:\s?[:.h]?\s?(?P<minute>[0-9]{2}))?(?:[:.](?P<second>[0-9]{2}))?"
    r"\s*(?P<half>[ap])?[.]?(?:m[.]?)?\s*(?P<zone>z|[+-][0-9]{2}:[0-9]{2})?"
)

_FILLERS = re.compile(r"^[\s,;t@\-_]+|\b(?:at|um|uhr|hrs?|o'clock)\b|[\s,;]+$")

# Years of two digits are of this century.
_CENTURY = 2000


ORDERS = {"mdy": "month-first", "dmy": "day-first"}
"""Which comes first in a date that ends with the year."""

SIGNS = {"slash": "/", "dot": ".", "dash": "-"}
"""The signs in such a date, by their names."""


def plain_signs(text: str) -> str:
    """The text without wide or joined characters, each dash a hyphen."""
    return re.sub("[\u2010-\u2014\u2212]", "-", unicodedata.normalize("NFKC", text))


def moment_readings(text: str, fits: Callable[[str], bool]) -> list[str]:
    """The days, or days and times, that `text` may stand for and that `fits` takes.

    Two where day and month may be either: 11/12/2026. A day's 24:00 is the next day's 00:00.
    """
    readings: list[str] = []
    for _, day, rest in _days(_plain(text)):
        # Where a day alone is wanted, its time goes.
        for reading in (_with_clock(day, rest), day.isoformat()):
            if reading != text and fits(reading) and reading not in readings:
                readings.append(reading)
    return readings


def moments(text: str, fits: Callable[[str], bool]) -> dict[str, str]:
    """The days, or days and times, that the whole of `text` may stand for, by the order of a date.

    The order is the first letters of year, month and day, such as `mdy`.
    """
    readings = {order: _with_clock(day, rest) for order, day, rest in _days(_plain(text))}
    return {order: reading for order, reading in readings.items() if fits(reading)}


def sign_of_date(text: str) -> str:
    """The name of the sign in a date that ends with the year: slash, dot or dash; "" without."""
    found = _YEAR_LAST.search(_plain(text))
    written = found[0] if found else ""
    return next((name for name, sign in SIGNS.items() if sign in written), "")


def _plain(text: str) -> str:
    plain = plain_signs(text).casefold().strip()
    plain = _LETTER_L.sub("1", _LETTER_O.sub("0", plain))
    plain = _WEEKDAY.sub(" ", plain).strip(" '\"`,;\u201c\u201d")
    return _MONTH.sub(lambda match: f"<{_MONTHS.index(match[1]) + 1}>", plain)


def _days(plain: str) -> Iterator[tuple[str, date, str]]:
    """Each day that the text may name, by the order of its parts, and what is left of the text."""
    for pattern, order in (
        (_YEAR_FIRST, ("ymd",)),
        (_COMPACT, ("ymd",)),
        (_DAY_NAMED, ("dmy",)),
        (_MONTH_NAMED, ("mdy",)),
        # Where a day and a month may be either, strokes are mostly read the American way.
        (_YEAR_LAST, ("mdy", "dmy") if "/" in plain else ("dmy", "mdy")),
    ):
        found = pattern.search(plain)
        if found is None:
            continue
        for letters in order:
            parts = dict(zip(letters, map(int, found.groups()), strict=True))
            year = parts["y"] + (_CENTURY if parts["y"] < 100 else 0)
            try:
                day = date(year, parts["m"], parts["d"])
            except ValueError:
                continue
            yield letters, day, plain[: found.start()] + " " + plain[found.end() :]
        return


def _with_clock(day: date, rest: str) -> str:
    rest = _FILLERS.sub("", _FILLERS.sub("", rest)).strip()
    if not rest:
        return day.isoformat()
    clock = _CLOCK.fullmatch(rest)
    if clock is None or not (clock["minute"] or clock["half"]):
        return ""
    hour = int(clock["hour"])
    if clock["half"] and not 1 <= hour <= 12:
        return ""
    if clock["half"]:
        hour = hour % 12 + (12 if clock["half"] == "p" else 0)
    minute = clock["minute"] or "00"
    if (hour, minute) == (24, "00") and day < date.max:
        day, hour = day + timedelta(days=1), 0
    second = f":{clock['second']}" if clock["second"] else ""
    return f"{day.isoformat()}T{hour:02}:{minute}{second}{(clock['zone'] or '').upper()}"
