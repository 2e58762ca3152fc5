"""Units as people write them behind a number, and as they stand at the end of a key."""

import re
from collections.abc import Iterable

from ledger.files.units import UNITS

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
