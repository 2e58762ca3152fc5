"""The edge where US and SI keys of a file become one quantity.

Calendar days as the files write them.
"""

from collections.abc import Mapping
from datetime import date
from typing import Any

from ledger.compute.numbers import convert


def optional_day(text: str | None) -> date | None:
    """The day of an ISO 8601 date, or None where the file has none."""
    return None if text is None else date.fromisoformat(text)


# The ending of a key in a file, and the unit that it names.
UNIT_OF_ENDING = {
    "mm": "mm",
    "in": "in",
    "m": "m",
    "ft": "ft",
    "cm3": "cm3",
    "in3": "in3",
    "gpm": "gpm",
    "lpm": "l_min",
    "psi": "psi",
    "kpa": "kpa",
    "hp": "hp",
    "kw": "kw",
    "ml": "ml",
    "oz": "floz",
    "n": "n",
    "lbf": "lbf",
    "c": "c",
    "f": "f",
    "ft_per_min": "ft_min",
    "m_per_min": "m_min",
}


def quantity(fields: Mapping[str, Any], stem: str, endings: str, unit: str) -> float | None:
    """The value of `stem_<ending>` for the first of the space-separated endings, in `unit`.

    None where the file has none of them. `oz` is the US fluid ounce.
    """
    for ending in endings.split():
        value = fields.get(f"{stem}_{ending}")
        if value is not None:
            number = float(value)
            return number if ending == unit else convert(number, UNIT_OF_ENDING[ending], unit)
    return None


def quantity_range(
    fields: Mapping[str, Any], stem: str, endings: str, unit: str
) -> tuple[float, float] | None:
    """Like `quantity`, for a lower and an upper limit."""
    for ending in endings.split():
        pair = fields.get(f"{stem}_{ending}")
        if pair is not None:
            low, high = (convert(float(value), UNIT_OF_ENDING[ending], unit) for value in pair)
            return low, high
    return None


def optional_float(value: Any) -> float | None:
    return None if value is None else float(value)
