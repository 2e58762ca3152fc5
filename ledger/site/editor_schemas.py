"""The schemas as an editor takes them for one site: with its own names in place of any name.

They lie in `.schemas/site/`, out of git, and are made anew with the book. `check` never reads them:
an editor may propose less than the program takes, and what it underlines is a hint. Two things that
`check` refuses no schema can: `counted: 038`, by YAML 1.2, 10.3.2, the integer 38 before a schema
sees it; and an anchor that is used.
"""

import json
from collections.abc import Iterable, Mapping
from typing import Any

from ledger.files.names import SCHEMAS
from ledger.files.schemas import BASE_URI, shipped_schemas
from ledger.model.ledger import Ledger
from ledger.model.readings import KEYS_OF_READING
from ledger.upkeep.findings.found import findings

FOLDER = f"{SCHEMAS}/site"

_YEAR, _DAY = "(19|2[01])[0-9]{2}", "(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])"
_TIME = "([01][0-9]|2[0-3]):[0-5][0-9](:[0-5][0-9])?"
_PATTERNS = {
    "date": f"^{_YEAR}-{_DAY}$",
    "local-time": f"^{_TIME}$",
    "site-instant": f"^{_YEAR}-{_DAY}T{_TIME}(Z|[+-][0-9]{{2}}:[0-9]{{2}})?$",
    "date-time": f"^{_YEAR}-{_DAY}T{_TIME}(Z|[+-][0-9]{{2}}:[0-9]{{2}})$",
}
"""Of the formats of ours that an editor does not know, as near as a pattern comes."""

_BESIDE = {
    "speed": "seconds start passes_per_turn accuracy_rpm accuracy_percent frames fps keypad",
    "catch": "seconds",
    "chain": "pitches force_n force_lbf",
    "belt": "force_n force_lbf",
}
"""Keys that go with a kind of reading beside its own."""

_WITH_ANY_TASK = (
    "task at except outcome reason minutes note strokes part used changed instrument "
    "line_rate_per_h"
)


def editor_schemas(ledger: Ledger) -> dict[str, str]:
    """Text of each schema for the editor by its path below the site's root."""
    names = {key: sorted(words) for key, words in _names(ledger).items() if words}
    made = {
        uri.removeprefix(BASE_URI): _with_names(schema, names)
        for uri, schema in shipped_schemas().by_uri.items()
    }
    visit = made["visit.schema.json"]["properties"]
    visit["entries"]["items"] = _entry(visit["entries"]["items"], ledger)
    visit["meters"] = {
        **visit["meters"],
        "properties": dict.fromkeys(ledger.site.meters, visit["meters"]["additionalProperties"]),
        "additionalProperties": False,
    }
    for name, pointer, snippets in _snippets(names):
        part = made[f"{name}.schema.json"]
        for key in pointer:
            part = part[key]
        part["defaultSnippets"] = snippets
    texts = {
        f"{FOLDER}/{name}": json.dumps(schema, indent=1, ensure_ascii=False) + "\n"
        for name, schema in made.items()
    }
    return {f"{FOLDER}/.gitignore": "*\n", **texts}


def _names(ledger: Ledger) -> dict[str, Iterable[str]]:
    """What a key may name on this site, by the key."""
    machines = ledger.machines.values()
    points = (f"{one.ident}/{point}" for one in machines for point in one.points)
    places = [*ledger.machines, *points]
    people, site = ledger.site.people, ledger.site
    return {
        **dict.fromkeys(("by", "with", "filed_by", "returned_by", "supervised_by"), people),
        **dict.fromkeys(("proposed_by", "approved_by"), people),
        **dict.fromkeys(("task", "tasks", "covers"), ledger.tasks),
        **dict.fromkeys(("at", "except", "ids", "drawn", "drum"), places),
        **dict.fromkeys(("fed_by", "fits"), ledger.machines),
        **dict.fromkeys(("part", "uses"), ledger.parts),
        "instrument": ledger.instruments,
        "closes": [str(one.entry.ref) for one in findings(ledger) if one.is_open],
        "panel": site.panels,
        **dict.fromkeys(("zone", "reaches"), site.zones),
    }


_NAMED = ("/id", "/place", "/entry")


def _with_names(part: Any, names: Mapping[str, list[str]], allowed: list[str] | None = None) -> Any:
    """A schema with the site's names where a key takes a name, and a pattern beside a format."""
    if isinstance(part, list):
        return [_with_names(one, names, allowed) for one in part]
    if not isinstance(part, dict):
        return part
    if allowed is not None and "else" in part:
        # An editor offers nothing where the form of the value decides by which schema it goes.
        rest = {key: value for key, value in part.items() if key not in ("if", "then", "else")}
        part = {**rest, "anyOf": [part["else"], part["then"]]}
    made: dict[str, Any] = {}
    for key, value in part.items():
        if key == "properties":
            made[key] = {
                name: _with_names(one, names, names.get(name, allowed))
                for name, one in value.items()
            }
        elif key == "$ref" and allowed is not None and value.endswith(_NAMED):
            made |= {"type": "string", "enum": allowed}
            if value.endswith("/entry"):
                # What was closed long ago is not offered, and right where it stands.
                made = {"anyOf": [made, {"$ref": value}]}
        elif key == "format" and value in _PATTERNS:
            made |= {key: value, "pattern": _PATTERNS[value]}
        elif key != "examples":
            made[key] = _with_names(value, names, allowed)
        elif allowed is None and not any(isinstance(one, str | dict | list) for one in value):
            made[key] = value
    return made


def _entry(schema: dict[str, Any], ledger: Ledger) -> dict[str, Any]:
    """An entry that is offered the keys that fit its task; without one, all there are."""
    every = schema["properties"]
    always = set(_WITH_ANY_TASK.split())
    rules: list[dict[str, Any]] = []
    for reads in sorted({task.reads for task in ledger.tasks.values()}):
        of = sorted(task.ident for task in ledger.tasks.values() if task.reads == reads)
        fitting = always.union(
            *(KEYS_OF_READING[kind] for kind in reads),
            *(_BESIDE.get(kind, "").split() for kind in reads),
        )
        rules.append(
            {
                "if": {"properties": {"task": {"enum": of}}, "required": ["task"]},
                "then": {"properties": {key: every[key] for key in every if key in fitting}},
            }
        )
    rules.append({"if": {"not": {"required": ["task"]}}, "then": {"properties": every}})
    return {
        **{key: value for key, value in schema.items() if key != "additionalProperties"},
        "properties": {key: every[key] for key in ("task", "at", "finding", "closes", "corrects")},
        # By a pattern, since of an enumeration all would be offered.
        "propertyNames": {"pattern": f"^({'|'.join(every)})$"},
        "allOf": [*schema["allOf"], *rules],
    }


def _snippets(names: Mapping[str, list[str]]) -> list[tuple[str, tuple[str, ...], list[Any]]]:
    """What is put in whole, by schema and the part of it."""

    def first(key: str) -> str:
        return names.get(key, ["name"])[0]

    task, place, person = first("task"), first("at"), first("by")
    entries = {
        "work done": {"task": f"${{1:{task}}}", "at": f"${{2:{place}}}"},
        "work not done": {
            "task": f"${{1:{task}}}",
            "at": f"${{2:{place}}}",
            "outcome": "not-done",
            "reason": "${3:why}",
        },
        "a count of turns": {"at": f"${{1:{place}}}", "counted": "${2:43}", "seconds": "${3:30}"},
        "a finding": {
            "finding": "${1:what is wrong}",
            "at": f"${{2:{place}}}",
            "urgency": "${3:soon}",
        },
        "a finding put right": {"closes": f"${{1:{first('closes')}}}", "note": "${2:how}"},
        "a part used": {"part": f"${{1:{first('part')}}}", "used": "${2:1}"},
    }
    visit = {
        "at": "${1:2026-11-25T07:00}",
        "by": f"${{2:{person}}}",
        "entries": [{"task": f"${{3:{task}}}", "at": f"${{4:{place}}}"}],
    }
    change = {
        "from": "${1:2026-11-26}",
        "hz": "${2:44}",
        "line_rate_per_h": "${3:110}",
        "why": "${4:reason}",
        "proposed_by": f"${{5:{person}}}",
    }
    return [
        ("visit", (), [{"label": "a visit", "body": visit}]),
        (
            "visit",
            ("properties", "entries", "items"),
            [{"label": label, "body": body} for label, body in entries.items()],
        ),
        ("setpoints", ("items",), [{"label": "a change of setting", "body": change}]),
    ]
