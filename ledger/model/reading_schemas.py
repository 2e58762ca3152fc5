"""What the schemas repeat, written into them from the one place where it stands.

Of the table of readings the lists of their keys, of the causes of stops their words, and of two
keys that differ in the unit alone that a file has one of them.
`python -m ledger.model.reading_schemas` does it in the folder of schemas. The keys themselves, with
title and limits, are written by hand.
"""

import json
from collections.abc import Iterable, Mapping
from itertools import combinations
from typing import Any

from ledger.compute.numbers import quantity_of
from ledger.files.save import replace_file
from ledger.files.schemas import schema_folder
from ledger.model.quantities import UNIT_OF_ENDING
from ledger.model.readings import BANDED, KEYS_OF_READING, SETTING_ENDINGS, STEPS
from ledger.model.visits import STOP_CAUSES

_NO_READING = tuple("task in_order finding stop tied_back closes changed part void".split())
_PAIR_BESIDE = ("accuracy_rpm", "accuracy_percent")
_OF_A_STEP = (
    "counted", "seconds", "start", "turns", "taps_s", "passes_per_turn",
    "tachometer_rpm", "accuracy_rpm", "accuracy_percent", "frames", "fps", "instrument",
)  # fmt: skip
"""The keys of an entry that say how a speed was read, and that a step of a session has too."""

_ONE_PLACE = "at, the one place that was read"
_ONE_SETTING = "the setting of each count: hz, flow_gpm or flow_lpm"
_ONE_UNIT = "one of the two units, not both"


WRITTEN = ("machine", "site", "task", "visit")
"""The schemas that repeat something."""


def with_readings(name: str, schema: dict[str, Any]) -> dict[str, Any]:
    """One of the schemas `WRITTEN` with what it repeats; it is altered."""
    if name == "machine":
        point = schema["properties"]["points"]["additionalProperties"]
        point["properties"]["bands"]["propertyNames"]["enum"] = list(BANDED)
    if name == "task":
        schema["properties"]["reads"]["items"]["enum"] = list(KEYS_OF_READING)
    if name == "visit":
        return _with_entries(schema)
    _state_pairs(schema)
    return schema


def _state_pairs(schema: Any) -> None:
    """In this schema and all below, of two keys that differ in the unit alone there is one."""
    if not isinstance(schema, dict):
        return
    for part in (*schema.get("properties", {}).values(), schema.get("additionalProperties")):
        _state_pairs(part)
    pairs = pairs_of_units(schema.get("properties", ()))
    if pairs:
        schema["allOf"] = _with_pairs(schema.get("allOf", ()), pairs)


def pairs_of_units(keys: Iterable[str]) -> list[tuple[str, str]]:
    """The keys of which two say the same in two units, such as `pitch_mm` and `pitch_in`."""
    alike: dict[tuple[str, str], list[str]] = {}
    for key in keys:
        endings = [one for one in UNIT_OF_ENDING if key.endswith(f"_{one}")]
        if endings:
            ending = max(endings, key=len)
            quantity = quantity_of(UNIT_OF_ENDING[ending])
            alike.setdefault((key.removesuffix(ending), quantity), []).append(key)
    return [pair for those in alike.values() for pair in combinations(those, 2)]


def _with_pairs(
    rules: Iterable[dict[str, Any]], pairs: Iterable[tuple[str, str]]
) -> list[dict[str, Any]]:
    return [
        *(rule for rule in rules if _expectation(rule) != _ONE_UNIT),
        *({"not": {"required": list(pair)}, "x-expected": _ONE_UNIT} for pair in pairs),
    ]


def _with_entries(schema: dict[str, Any]) -> dict[str, Any]:
    entry = schema["properties"]["entries"]["items"]
    entry["properties"]["stop"]["enum"] = list(STOP_CAUSES)
    keys = dict.fromkeys(key for keys in KEYS_OF_READING.values() for key in keys)
    readings = [{"required": [key]} for key in keys]
    entry["anyOf"] = [*({"required": [key]} for key in _NO_READING), *readings]
    rules = [
        {**rule, "if": {"anyOf": readings}} if _expectation(rule) == _ONE_PLACE else rule
        for rule in entry["allOf"]
    ]
    entry["allOf"] = _with_pairs(rules, (*pairs_of_units(entry["properties"]), _PAIR_BESIDE))
    step = entry["properties"][STEPS]["items"]
    step["properties"] |= {key: entry["properties"][key] for key in _OF_A_STEP}
    step["allOf"] = [
        *(rule for rule in entry["allOf"] if _keys_of(rule) <= {*_OF_A_STEP}),
        {"anyOf": [{"required": [key]} for key in SETTING_ENDINGS], "x-expected": _ONE_SETTING},
        *(
            {"not": {"required": list(pair)}, "x-expected": _ONE_SETTING}
            for pair in combinations(SETTING_ENDINGS, 2)
        ),
    ]
    return schema


def _keys_of(rule: Any) -> set[str]:
    """The keys of an entry that a rule speaks of."""
    if isinstance(rule, list):
        return {key for one in rule for key in _keys_of(one)}
    if not isinstance(rule, Mapping):
        return set()
    named = {*rule.get("required", ()), *rule.get("properties", ())}
    return named.union(*(_keys_of(value) for value in rule.values()))


def _expectation(rule: Mapping[str, Any]) -> str:
    return str({**rule, **rule.get("then", {})}.get("x-expected"))


if __name__ == "__main__":
    for name in WRITTEN:
        path = schema_folder() / f"{name}.schema.json"
        schema = with_readings(name, json.loads(path.read_text(encoding="utf-8")))
        text = json.dumps(schema, indent=2, ensure_ascii=False)
        replace_file(path, f"{text}\n".encode())
