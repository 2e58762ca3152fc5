"""What an unquoted word means: null, true, false, a number or text.

The core schema of YAML 1.2.2 (10.3.2) with two narrowings that both reading paths share:
a number that starts with a spare zero (`0123`), an octal (`0o17`) and a hexadecimal (`0x1F`)
stay text, because in a ledger they are part numbers and serials; and a number that a 64-bit
float cannot hold exactly enough (infinite, not a number, an integer beyond 2**53) is refused.
"""

import math
import re
from functools import lru_cache

_WORDS: dict[str, bool | None] = {
    "": None,
    "~": None,
    "null": None,
    "Null": None,
    "NULL": None,
    "true": True,
    "True": True,
    "TRUE": True,
    "false": False,
    "False": False,
    "FALSE": False,
}
_NUMBER_STARTS = frozenset("0123456789+-.")
_INTEGER = re.compile(r"[-+]?(?:0|[1-9][0-9]*)")
_FLOAT = re.compile(
    r"[-+]?(?:\.[0-9]+|(?:0|[1-9][0-9]*)(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?",
)
_NOT_FINITE = re.compile(r"[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)")
#: The largest size of integer that JSON readers agree on (RFC 8259 section 6).
MAX_INTEGER = 2**53

Scalar = str | int | float | bool | None


def number_without_commas(number: str) -> str:
    """A number typed with commas, as it was most likely meant: `42,5` is 42.5, `193,000` is 193000.

    "" where nothing is likely. Of comma and point the last one stands before the decimals.
    """
    if "." in number and "," in number and number.rfind(".") < number.rfind(","):
        number = number.translate(str.maketrans(",.", ".,"))
    whole, *parts = number.split(",")
    if not parts:
        return number
    first = whole.lstrip("-")
    is_grouped = all(re.match(r"[0-9]{3}(?![0-9])", part) for part in parts)
    if is_grouped and first != "0" and 0 < len(first) <= 3:
        return whole + "".join(parts)
    return f"{whole}.{parts[0]}" if len(parts) == 1 and "." not in number else ""


class NumberRefusedError(ValueError):
    """An unquoted word that is a number no ledger can use; the text says why."""


# The words of a site repeat without end; the cache also keeps one copy of each.
@lru_cache(maxsize=65_536)
def plain_value(word: str) -> Scalar:
    """The value of an unquoted word. Raises NumberRefusedError."""
    if word in _WORDS:
        return _WORDS[word]
    if word[0] not in _NUMBER_STARTS:
        return word
    if _INTEGER.fullmatch(word):
        # Counted in characters first: turning a very long numeral into an integer is slow.
        if len(word) > 20 or abs(int(word)) > MAX_INTEGER:
            raise NumberRefusedError("the number is too large to be kept exactly")
        return int(word)
    if _FLOAT.fullmatch(word):
        number = float(word)
        if not math.isfinite(number):
            raise NumberRefusedError("the number is too large")
        return number
    if _NOT_FINITE.fullmatch(word):
        raise NumberRefusedError("the number is not finite")
    return word
