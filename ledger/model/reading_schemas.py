"""What the schemas repeat of the table of readings, written into them from the table.

`python -m ledger.model.reading_schemas` does it in the folder of schemas. The keys of a reading,
with title and limits, stand in `visit.schema.json` alone and are written by hand.
"""

import json
from collections.abc import Mapping
from typing import Any

from ledger.files.resources import schema_folder
from ledger.files.save import replace_file
from ledger.model.readings import KEYS_OF_READING, READINGS

_NO_READING = ("task", "finding", "closes", "changed", "part", "void")
_PAIRS_BESIDE = (
    ("found_flow_gpm", "found_flow_lpm"),
    ("left_flow_gpm", "left_flow_lpm"),
    ("accuracy_rpm", "accuracy_percent"),
)
_ONE_PLACE = "at, the one place that was read"
_ONE_UNIT = "one of the two units, not both"


def with_readings(name: str, schema: dict[str, Any]) -> dict[str, Any]:
    """The schema of tasks or visits with its lists of readings as the table has them; altered."""
    if name == "task":
        schema["properties"]["reads"]["items"]["enum"] = list(KEYS_OF_READING)
        return schema
    entry = schema["properties"]["entries"]["items"]
    keys = [key for keys in KEYS_OF_READING.values() for key in keys]
    readings = [{"required": [key]} for key in keys]
    entry["anyOf"] = [*({"required": [key]} for key in _NO_READING), *readings]
    amounts = dict.fromkeys(one for kind in READINGS for one in (*kind.amounts, *kind.optional))
    pairs = (*(one.keys for one in amounts if one.us), *_PAIRS_BESIDE)
    entry["allOf"] = [
        *(_of_one_place(rule, readings) for rule in entry["allOf"] if _told(rule) != _ONE_UNIT),
        *({"not": {"required": list(pair)}, "x-expected": _ONE_UNIT} for pair in pairs),
    ]
    return schema


def _of_one_place(rule: dict[str, Any], readings: list[dict[str, Any]]) -> dict[str, Any]:
    return rule | {"if": {"anyOf": readings}} if _told(rule) == _ONE_PLACE else rule


def _told(rule: Mapping[str, Any]) -> str:
    return str({**rule, **rule.get("then", {})}.get("x-expected"))


if __name__ == "__main__":
    for name in ("task", "visit"):
        path = schema_folder() / f"{name}.schema.json"
        schema = with_readings(name, json.loads(path.read_text(encoding="utf-8")))
        text = json.dumps(schema, indent=2, ensure_ascii=False)
        replace_file(path, f"{text}\n".encode())
