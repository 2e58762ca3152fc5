"""The nearest right spelling of a key, a word, an id or a date."""

import difflib
import re
from collections.abc import Callable, Iterable

# Unit endings people put on a key, against words a key may carry instead.
_UNIT_WORDS = {
    "s": "seconds",
    "sec": "seconds",
    "min": "minutes",
    "h": "hours",
    "hr": "hours",
    "pct": "percent",
}
_CUTOFF = 0.6


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
    snake = re.sub(r"[\s-]+", "_", key.strip()).casefold()
    if snake in free:
        return snake
    stem, _, unit = snake.rpartition("_")
    if stem in used and _UNIT_WORDS.get(unit) in free:
        return _UNIT_WORDS[unit]
    return (
        nearest_word(snake, free)
        # A key without its unit, or with another one.
        or next((name for name in sorted(free) if name.startswith(f"{snake}_")), "")
        or (_UNIT_WORDS[unit] if _UNIT_WORDS.get(unit) in free else "")
    )


def nearest_id(word: str, fits: Callable[[str], bool]) -> str:
    """`word` in small letters with hyphens, where that `fits`, or ""."""
    guess = re.sub(r"[^a-z0-9/#~]+", "-", word.casefold()).strip("-")
    return guess if guess != word and fits(guess) else ""


def nearest_moment(text: str, fits: Callable[[str], bool]) -> str:
    """A date, or a date and time, that `text` writes in another way, where it `fits`, or "".

    Only year-first dates are read: 11/12/2026 is one day here and another one there.
    """
    numbers = re.fullmatch(
        r"\s*([0-9]{4})\D([0-9]{1,2})\D([0-9]{1,2})(?:\D+([0-9]{1,2})\D([0-9]{2}))?\s*", text
    )
    if numbers is None:
        return ""
    year, month, day, hour, minute = numbers.groups()
    on = f"{year}-{month:0>2}-{day:0>2}"
    guess = on if hour is None else f"{on}T{hour:0>2}:{minute}"
    return guess if fits(guess) else ""
