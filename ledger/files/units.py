"""Units of the keys in files: one row each, by the ending of a key; and as people write them.

What a unit is in others stands in `compute.numbers`.
"""

import re
from collections.abc import Iterable

from ledger.values import dataclass


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as keys end with it.

    `converts` is its name in `compute.numbers`, "" for what no other unit measures. `written` is
    how people write it behind a number, `in_full` where a page has room to tell it from others,
    and `typed` each word that they type for it. History shows `decimals` of it, else as many as a
    number needs.
    """

    ending: str
    converts: str = ""
    written: str = ""
    in_full: str = ""
    typed: str = ""
    decimals: int | None = None


UNITS = (
    Unit("mm", "mm", "mm", typed="mm", decimals=1),
    Unit("in", "in", "in", "inches", "in inch inches \" '' \u2033", decimals=2),
    Unit("m", "m", in_full="m", typed="m meter meters metre metres"),
    Unit("ft", "ft", in_full="feet", typed="ft foot feet '"),
    Unit("cm3", "cm3", in_full="cm³", typed="cm3"),
    Unit("in3", "in3", in_full="cubic inches", typed="in3"),
    Unit("gpm", "gpm", "gpm", "US gal/min", "gpm gal/min", decimals=2),
    Unit("lpm", "l_min", "L/min", typed="lpm l/min", decimals=1),
    Unit("l_min", written="L/min"),
    Unit("psi", "psi", "psi", typed="psi", decimals=0),
    Unit("kpa", "kpa", "kPa", typed="kpa", decimals=0),
    Unit("hp", "hp", in_full="hp", typed="hp"),
    Unit("kw", "kw", in_full="kW", typed="kw"),
    Unit("ml", "ml", "mL", typed="ml", decimals=0),
    Unit("l", "l", "L", typed="l", decimals=0),
    Unit("gal", "gal", in_full="US gal", typed="gal", decimals=0),
    Unit("oz", "floz", "fl oz", "US fl oz", "oz", decimals=1),
    Unit("mg_l", "mg_l", "mg/L", decimals=0),
    Unit("gpg", "gpg", in_full="grains a US gal", typed="gpg", decimals=1),
    Unit("grains", "grains", in_full="grains"),
    Unit("g", "g"),
    Unit("n", "n", "N", typed="n"),
    Unit("kn", in_full="kN", typed="kn"),
    Unit("lbf", "lbf", "lbf", typed="lbf lb lbs"),
    Unit("c", "c", "°C", typed="c °c", decimals=0),
    Unit("f", "f", "°F", typed="f °f", decimals=0),
    Unit("ft_per_min", "ft_min", in_full="feet/min"),
    Unit("m_per_min", "m_min", in_full="m/min"),
    Unit("m_per_s", "m_s"),
    Unit("hz", written="Hz", typed="hz hertz herz"),
    Unit("rpm", written="r/min", typed="rpm r/min /min 1/min"),
    Unit("h", written="vehicles an hour"),
    Unit("per_h", in_full="vehicles/h"),
    Unit("a", written="A", typed="a amp amps"),
    Unit("mohm", written="MΩ", typed="mohm mω"),
    Unit("us_cm", written="µS/cm"),
    Unit("ppm", in_full="ppm", typed="ppm"),
    Unit("percent", written="%", typed="% pct percent"),
    Unit("deg", in_full="°"),
    Unit("s", in_full="s"),
    Unit("seconds", written="s", typed="s sec secs second seconds"),
    Unit("minutes", written="min", typed="min mins minute minutes"),
    Unit("hours", typed="h hr hrs hour hours"),
    *(Unit(word, typed=word) for word in ("bar", "cm", "mg", "us")),
)

UNIT_OF_WORD = {word: unit.ending for unit in UNITS for word in unit.typed.split()}
"""The word for a unit in the keys, by each way in which people write it."""

_OF_TIME = frozenset({"seconds", "minutes", "hours"})

_AMOUNT = re.compile(r"(.*?[0-9])\s*([^0-9]+[23]?)")


def split_amount(text: str) -> tuple[str, str]:
    """`2.8 mm/s` as `2.8` and `mm/s`; the text as it is, and "", where it ends with no unit."""
    found = _AMOUNT.fullmatch(text.strip())
    if found is None or not _parts(found[2]):
        return text, ""
    return found[1], found[2].strip()


def unit_of_key(key: str) -> str:
    """The unit that a key ends with, such as `in/s` or `hz`, or ""."""
    return "/".join(_words_of_unit(key))


def is_in(unit: str, key: str) -> bool:
    """Whether a key ends with a unit that people write as `unit`."""
    parts, wanted = _parts(unit), _parts(unit_of_key(key))
    # People write `5 m` for minutes, too.
    return parts == wanted or (parts, wanted) == (["m"], ["minutes"])


def unit_typed(text: str) -> str:
    """The word of the keys for a unit that people write so, such as `lpm` for `L/min`, or ""."""
    return "/".join(_parts(text))


def key_in(unit: str, key: str, keys: Iterable[str]) -> str:
    """The one of `keys` that differs from `key` in its unit alone, and is in `unit`, or ""."""
    stem = stem_of(key)
    # `seconds` and `minutes` are two quantities.
    return next((one for one in keys if stem and stem_of(one) == stem and is_in(unit, one)), "")


def stem_of(key: str) -> str:
    """A key without the unit that it ends with."""
    words = _words(key)
    return "_".join(words[: len(words) - len(_words_of_unit(key))])


def _words(key: str) -> list[str]:
    return [word for word in key.split("_") if word != "per"]


def _words_of_unit(key: str) -> list[str]:
    """Its last word, or two where it is so much in a time."""
    words = _words(key)
    units = [UNIT_OF_WORD.get(word) for word in words]
    is_rate = len(words) > 1 and units[-1] in _OF_TIME and units[-2]
    return words[-2:] if is_rate else words[-1:] if units[-1] else []


def _parts(unit: str) -> list[str]:
    """The words of keys for a unit as people write it: two for `mm/s`; [] for what is no unit."""
    text = unit.strip(" .").casefold()
    if text in UNIT_OF_WORD:
        return [UNIT_OF_WORD[text]]
    parts = [UNIT_OF_WORD.get(word.strip(), "") for word in re.split(r"/| per ", text)]
    return parts if len(parts) == 2 and all(parts) else []
