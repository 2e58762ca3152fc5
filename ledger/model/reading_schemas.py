"""What the schemas repeat of the table of readings, written into them from the table.

`python -m ledger.model.reading_schemas` does it in the folder of schemas. The keys of a reading,
with title and limits, stand in `visit.schema.json` alone and are written by hand.
"""

import json
from collections.abc import Mapping
from itertools import combinations
from typing import Any

from ledger.files.resources import schema_folder
from ledger.files.save import replace_file
from ledger.model.readings import (
    BANDED,
    KEYS_OF_READING,
    READINGS,
    SETTING_ENDINGS,
    STEPS,
)

_NO_READING = (
    "task",
    "in_order",
    "finding",
    "stop",
    "tied_back",
    "closes",
    "changed",
    "part",
    "void",
)
_PAIRS_BESIDE = (
    ("found_flow_gpm", "found_flow_lpm"),
    ("left_flow_gpm", "left_flow_lpm"),
    ("accuracy_rpm", "accuracy_percent"),
)
_OF_A_STEP = (
    "counted", "seconds", "start", "turns", "taps_s", "passes_per_turn",
    "tachometer_rpm", "accuracy_rpm", "accuracy_percent", "frames", "fps", "instrument",
)  # fmt: skip
"""The keys of an entry that say how a speed was read, and that a step of a session has too."""

_ONE_PLACE = "at, the one place that was read"
_ONE_SETTING = "the setting of each count: hz, flow_gpm or flow_lpm"
_ONE_UNIT = "one of the two units, not both"


def with_readings(name: str, schema: dict[str, Any]) -> dict[str, Any]:
    """The schema of machines, tasks or visits with its lists of readings as the table has them.

    It is altered.
    """
    if name == "machine":
        point = schema["properties"]["points"]["additionalProperties"]
        point["properties"]["bands"]["propertyNames"]["enum"] = list(BANDED)
        return schema
    if name == "task":
        schema["properties"]["reads"]["items"]["enum"] = list(KEYS_OF_READING)
        return schema
    entry = schema["properties"]["entries"]["items"]
    keys = dict.fromkeys(key for keys in KEYS_OF_READING.values() for key in keys)
    readings = [{"required": [key]} for key in keys]
    entry["anyOf"] = [*({"required": [key]} for key in _NO_READING), *readings]
    amounts = dict.fromkeys(one for kind in READINGS for one in (*kind.amounts, *kind.optional))
    pairs = (*(one.keys for one in amounts if one.us), *_PAIRS_BESIDE)
    entry["allOf"] = [
        *(
            _of_one_place(rule, readings)
            for rule in entry["allOf"]
            if _expectation(rule) != _ONE_UNIT
        ),
        *({"not": {"required": list(pair)}, "x-expected": _ONE_UNIT} for pair in pairs),
    ]
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


def _of_one_place(rule: dict[str, Any], readings: list[dict[str, Any]]) -> dict[str, Any]:
    return rule | {"if": {"anyOf": readings}} if _expectation(rule) == _ONE_PLACE else rule


def _expectation(rule: Mapping[str, Any]) -> str:
    return str({**rule, **rule.get("then", {})}.get("x-expected"))


if __name__ == "__main__":
    for name in ("machine", "task", "visit"):
        path = schema_folder() / f"{name}.schema.json"
        schema = with_readings(name, json.loads(path.read_text(encoding="utf-8")))
        text = json.dumps(schema, indent=2, ensure_ascii=False)
        replace_file(path, f"{text}\n".encode())
