"""What to do about a fault, where its schema says nothing more particular."""

from collections.abc import Collection

_OF_RULE = {
    "bad-format": "write it in the form that is expected",
    "bad-key": "give the key one of the names that are expected",
    "impossible-date": "correct the day or the month",
    "impossible-time": "correct the hour or the minute",
    "impossible-year": "correct the year",
    "missing-key": "add the key",
    "not-allowed-value": "write one of the values that are expected",
    "out-of-range": "look at the number again, and at the unit that the key names",
    "wrong-length": "make it as long as is expected",
    "wrong-type": "write what is expected in its place",
}
_NOTHING_THERE = "write a value after the colon, or take the key away"
_OF_KIND = {
    "array": "write a list: [one, two], or a line with `- ` before each item",
    "object": "write keys with values: {key: value}, or a line `key: value` for each",
    "boolean": "write true or false",
}


_MEANT = {
    "bad-format": "write it in that form",
    "bad-key": "correct the key",
    "impossible-time": "write it as the next day's 00:00",
    "not-allowed-value": "correct the spelling",
}


def of_rule(rule: str, nearest: str = "") -> str:
    """The remedy for any fault of a rule, or for one where what was meant can be told.

    KeyError for a rule that always says its own.
    """
    return (nearest and _MEANT.get(rule)) or _OF_RULE[rule]


def of_wrong_type(value: object, kinds: Collection[str], *, is_free_text: bool) -> str:
    """For a value that is none of `kinds`, the types of JSON Schema that may stand there."""
    if value is None:
        return _NOTHING_THERE
    if is_free_text and not isinstance(value, dict | list):
        return "put it in quotes"
    if isinstance(value, str) and {"number", "integer"} & set(kinds):
        return "write the number alone, without a unit, quotes or leading zeros"
    return next((_OF_KIND[kind] for kind in kinds if kind in _OF_KIND), of_rule("wrong-type"))


def of_size(kind: str, *, is_too_much: bool, is_empty: bool = False) -> str:
    """For a text, list or mapping of the wrong length; `kind` names what there is too much of."""
    if is_too_much:
        return "shorten it" if kind == "character" else f"take {kind}s out"
    if is_empty:
        return "write something, or take it away"
    return f"add the {kind}s that are missing"
