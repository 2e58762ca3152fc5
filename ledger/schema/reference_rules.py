"""What a schema says of several keys at once, as sentences of the field reference."""

from collections.abc import Iterable, Mapping
from typing import Any


def rule_sentences(schema: Mapping[str, Any]) -> tuple[str, ...]:
    """Which keys of a mapping need, exclude or replace each other, pairs of units together."""
    rules = [rule for rule in schema.get("allOf", ()) if "not" not in rule]
    apart = [rule["not"]["required"] for rule in schema.get("allOf", ()) if "not" in rule]
    sentences = [*_alternatives(schema)]
    told: dict[str, list[str]] = {}
    for rule in rules:
        told.setdefault(_condition(rule["if"]), []).extend(_consequences(rule["then"]))
        if "else" in rule:
            told.setdefault("Otherwise", []).extend(_consequences(rule["else"]))
    sentences += [f"{where}: {'; '.join(what)}." for where, what in told.items()]
    if apart:
        pairs = "; ".join(" or ".join(_code(pair)) for pair in apart)
        sentences.append(f"Never both: {pairs}.")
    return tuple(sentences)


def _alternatives(schema: Mapping[str, Any]) -> list[str]:
    if "anyOf" not in schema:
        return []
    return [f"At least one of {_listed(_keys_of(schema['anyOf']), 'and')} is there."]


def _condition(condition: Mapping[str, Any]) -> str:
    if "anyOf" in condition:
        return f"With {_listed(_keys_of(condition['anyOf']), 'or')}"
    tests = condition.get("properties", {})
    for key, test in tests.items():
        if "not" in test:
            return f"Unless `{key}` is {_listed(test['not']['enum'], 'or')}"
        words = test["enum"] if "enum" in test else [test["const"]]
        return f"Where `{key}` is {_listed(words, 'or')}"
    return f"With {_listed(condition['required'], 'and')}"


def _consequences(then: Mapping[str, Any]) -> list[str]:
    found = []
    if "required" in then:
        found.append(f"{_listed(then['required'], 'and')} too")
    if "anyOf" in then:
        ways = [_listed(way["required"], "and") for way in then["anyOf"]]
        found.append(f"{' or '.join(ways)} too")
    never = [key for key, part in then.get("properties", {}).items() if part is False]
    if never:
        found.append(f"never {_listed(never, 'or')}")
    found += [
        f"`{key}` is {part['x-expected']}"
        for key, part in then.get("properties", {}).items()
        if isinstance(part, Mapping)
    ]
    return found


def _keys_of(alternatives: Iterable[Mapping[str, Any]]) -> list[str]:
    return [key for one in alternatives for key in one["required"]]


def _code(words: Iterable[Any]) -> list[str]:
    return [f"`{word}`" for word in words]


def _listed(words: Iterable[Any], joint: str) -> str:
    coded = _code(words)
    if len(coded) < 2:
        return "".join(coded)
    return f"{', '.join(coded[:-1])} {joint} {coded[-1]}"
