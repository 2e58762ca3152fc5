"""The nearest right spelling of a key, a word, a number or a text of a fixed form."""

import difflib
import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator

from ledger.schema.trade_words import key_meant
from ledger.source.scalars import number_without_commas

# Units as people write them, against the word for each in the keys.
_UNITS = {
    alias: unit
    for unit, aliases in {
        "seconds": "s sec secs second seconds",
        "minutes": "min mins minute minutes",
        "hours": "h hr hrs hour hours",
        "percent": "% pct percent",
        "hz": "hz hertz herz",
        "rpm": "rpm r/min /min 1/min",
        "psi": "psi",
        "kpa": "kpa",
        "bar": "bar",
        "mm": "mm",
        "cm": "cm",
        "in": "in inch inches \" '' \u2033",
        "ft": "ft foot feet '",
        "gpm": "gpm gal/min",
        "lpm": "lpm l/min",
        "ml": "ml",
        "oz": "oz",
        "hp": "hp",
        "kw": "kw",
        "a": "a amp amps",
        "c": "c \u00b0c",
        "f": "f \u00b0f",
        "n": "n",
        "lbf": "lbf lb lbs",
        "mohm": "mohm m\u03c9",
    }.items()
    for alias in aliases.split()
}
_CUTOFF = 0.6
_YES, _NO = (
    frozenset({"yes", "y", "on", "1", "x", "true", "t"}),
    frozenset({"no", "n", "off", "0", "false", "f", "-"}),
)
_DASHES = "\u2010\u2011\u2012\u2013\u2014\u2212"
_NUMBER = re.compile(
    r"(?:[~\u2248<>=+]+|ca[.]?|about|approx[.]?)?\s*"
    r"(?P<number>-?[0-9OolI](?:[0-9OolI.,'\u2019 _]*[0-9OolI])?|-?[.,][0-9]+)\s*(?P<unit>[^0-9]*)"
)
_SPANS = {
    "daily": "1 day",
    "weekly": "1 week",
    "fortnightly": "2 weeks",
    "biweekly": "2 weeks",
    "monthly": "1 month",
    "quarterly": "3 months",
    "yearly": "1 year",
    "annually": "1 year",
    "annual": "1 year",
}
_SPAN_UNITS = {"d": "day", "w": "week", "m": "month", "y": "year"}
_SPAN = re.compile(
    r"(?:every )?(?P<count>[0-9]+)?[ -]*"
    r"(?P<unit>d|days?|w|wks?|weeks?|mo|mos|mths?|months?|y|yrs?|years?)"
)
_COUNT_WORDS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def nearest_word(word: str, known: Iterable[str], cutoff: float = _CUTOFF) -> str:
    """The known word that is spelt most like `word`, whatever its case, or ""."""
    by_fold: dict[str, str] = {}
    for candidate in sorted(known):
        by_fold.setdefault(candidate.casefold(), candidate)
    close = difflib.get_close_matches(word.casefold(), by_fold, n=1, cutoff=cutoff)
    return by_fold[close[0]] if close else ""


def nearest_key(key: str, allowed: Iterable[str], used: Iterable[str]) -> str:
    """The allowed key that `key` was most likely meant to be, or "".

    Keys already in `used` are not offered again. A unit at the end counts where the whole key
    is like none: `counted_s` beside `counted` can only mean `seconds`.
    """
    free = set(allowed) - set(used)
    snake = re.sub(r"[\s-]+", "_", key.strip(" :\"'\u201c\u201d")).casefold()
    if snake in free:
        return snake
    stem, _, unit = snake.rpartition("_")
    if stem in used and _UNITS.get(unit) in free:
        return _UNITS[unit]
    return (
        nearest_word(snake, free, cutoff=0.85)
        or key_meant(snake, free)
        or nearest_word(snake, free, cutoff=0.75)
        # A key without its unit, or with another one.
        or next((name for name in sorted(free) if name.startswith(f"{snake}_")), "")
        or (_UNITS[unit] if _UNITS.get(unit) in free else "")
        or _only_one(name for name in free if name.endswith(f"_{snake}"))
    )


def _only_one(names: Iterable[str]) -> str:
    found = list(names)
    return found[0] if len(found) == 1 else ""


def nearest_text(text: str, fits: Callable[[str], bool]) -> str:
    """A text of the form that `fits` takes and that `text` writes in another way, or ""."""
    return next((guess for guess in _guesses(text) if guess != text and fits(guess)), "")


def nearest_number(text: str, key: str = "") -> tuple[str, str]:
    """The number that `text` writes in another way, or "", and the unit that speaks against it.

    Of `1 min` under the key `seconds` nothing is known but that minutes are not meant there.
    """
    clock = re.fullmatch(r"([0-9]{1,2}):([0-5][0-9])(?:[.,][0-9]+)?", text.strip())
    if clock and key == "seconds":
        return str(int(clock[1]) * 60 + int(clock[2])), ""
    plain = unicodedata.normalize("NFKC", text).strip(" '\u201c\u201d`")
    for dash in _DASHES:
        plain = plain.replace(dash, "-")
    if plain.casefold() in _COUNT_WORDS:
        return str(_COUNT_WORDS.index(plain.casefold()) + 1), ""
    found = _NUMBER.fullmatch(plain)
    if found is None or not re.search(r"[0-9]", found["number"]):
        return "", ""
    unit, wanted = _UNITS.get(found["unit"].strip(" .").casefold()), key.rpartition("_")[2]
    if unit and wanted in _UNITS.values() and unit != wanted:
        return "", unit
    number = found["number"]
    if re.search(r"[ '\u2019_]", number):
        if not re.fullmatch(r"-?[0-9]{1,3}(?:[ '\u2019_][0-9]{3})+(?:[.,][0-9]+)?", number):
            return "", ""
        number = re.sub(r"[ '\u2019_]", "", number)
    return _number_as_typed(number), ""


def nearest_list(value: object, *, of_numbers: bool) -> str:
    """One value, or two with a dash between, as the list that was meant; "" where none can be."""
    if of_numbers:
        ends = re.split(r"\s*(?:-|to|\.\.|[,;/\u2013\u2014])\s*", str(value).strip("()[] "))
        return f"[{', '.join(ends)}]" if len(ends) == 2 and all(map(_is_number, ends)) else ""
    if not isinstance(value, str):
        return ""
    return f"[{', '.join(part.strip() for part in value.split(','))}]"


def nearest_boolean(value: object) -> str:
    """true or false where `value` is another word for it, or ""."""
    word = str(value).strip().casefold()
    return "true" if word in _YES else "false" if word in _NO else ""


def _number_as_typed(text: str) -> str:
    digits = text.translate(str.maketrans("OolI", "0011"))
    whole = number_without_commas(digits)
    if not whole:
        return ""
    if re.fullmatch(r"-?[0-9]{1,3}(?:\.[0-9]{3}){2,}", whole):
        whole = whole.replace(".", "")
    sign, _, size = whole.rpartition("-")
    size = size.lstrip("0") or "0"
    guess = ("-" if sign or whole.startswith("-") else "") + (
        f"0{size}" if size.startswith(".") else size
    )
    return guess if _is_number(guess) else ""


def _is_number(text: str) -> bool:
    return re.fullmatch(r"-?[0-9]+(?:\.[0-9]+)?", text) is not None


def _guesses(text: str) -> Iterator[str]:
    plain = unicodedata.normalize("NFKC", text)
    for dash in _DASHES:
        plain = plain.replace(dash, "-")
    # What was typed or pasted around the word.
    plain = re.sub(r"\s*#(?:\s.*)?$", "", plain).strip(" '\"`,;.\u201c\u201d\u2018\u2019")
    yield plain
    yield plain.upper()
    folded = "".join(
        sign
        for sign in unicodedata.normalize("NFKD", plain.casefold())
        if not unicodedata.combining(sign)
    )
    bare = re.sub(r"\.ya?ml$", "", re.sub(r"^.*(?:equipment|tasks|parts|setpoints)/", "", folded))
    place = re.sub(r"\s*[/\\>:]+\s*", "/", bare)
    for form in (place, bare):
        yield re.sub(r"-?/-?", "/", re.sub(r"[^a-z0-9/#~]+", "-", form)).strip("-")
    yield re.sub(r"[^a-z0-9]+", "_", folded).strip("_")
    # A visit's entry as the visit's own time is written.
    yield re.sub(r"[t ]([0-9]{2})[:.]?([0-9]{2})[-_ ]", r"T\1\2-", folded)
    yield _SPANS.get(folded, "")
    first, _, rest = folded.replace("'", "").partition(" ")
    counted = f"{_COUNT_WORDS.index(first) + 1} {rest}" if first in _COUNT_WORDS else ""
    span = _SPAN.fullmatch(counted or folded.replace("'", ""))
    if span:
        count, unit = int(span["count"] or 1), _SPAN_UNITS[span["unit"][0]]
        yield f"{count} {unit}{'' if count == 1 else 's'}"
    amount = re.fullmatch(r"([0-9]+(?:[.,][0-9]+)?)\s*([A-Za-z][A-Za-z ]*)", plain)
    if amount:
        yield f"{amount[1].replace(',', '.')} {amount[2]}"
    yield _opening_hours(folded)
    if "." in folded and " " not in folded and ":" not in folded:
        yield f"https://{folded}"


def _opening_hours(text: str) -> str:
    ends = re.findall(r"([0-9]{1,2})(?:[:.h]?([0-9]{2}))?\s*([ap]m)?", text)
    if len(ends) != 2:
        return ""
    shown = []
    for hour, minute, half in ends:
        value = int(hour) % 12 + (12 if half == "pm" else 0) if half else int(hour)
        shown.append(f"{value:02}:{minute or '00'}")
    return "-".join(shown)
