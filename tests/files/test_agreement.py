"""The validator is held to the verdict of the reference implementation, and explains each refusal.

On the schemas in use, with documents made of the schemas' own examples and then broken.
"""

import json
from copy import deepcopy
from functools import cache

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st
from referencing import Registry
from referencing.jsonschema import DRAFT202012

from ledger.files.paths import Kind, Source
from ledger.files.reading import parse_document
from ledger.files.schema_explain import explain
from ledger.files.schemas import BASE_URI, FORMATS, shipped_schemas, uri_of

SCHEMAS = shipped_schemas()
COMMON = SCHEMAS.by_uri[f"{BASE_URI}common.schema.json"]["$defs"]

odd_values = st.sampled_from(
    [
        None, True, False, 0, 1, -1, 1.0, 2.5, 4.0, 1e300, 2**53, "", " ", "a", "a\n", "brush-p2\n", "Brush P2", "x" * 600,
        "2024-02-29", "2024-02-30", "2026-11-23T06:40", "2026-11-23T06:40+01:00", "2026-11-23T24:00", "1 week", "done",
        [], {}, [1, 1], [1, True], [1, 1.0], ["a", "a"], [70, 80], [1, 2, 3], {"a": 1}, {"vehicles": 1, "hours": 1}, "é", "\u0300",
    ]
)  # fmt: skip


def of_examples(schema):
    """Values that `schema` shows as examples or is made of, each of them perhaps not valid."""
    if not isinstance(schema, dict):
        return odd_values
    reference = schema.get("$ref", "")
    if reference and not schema.get("examples"):
        return of_examples(COMMON[reference.rpartition("/")[2]])
    choices = [st.sampled_from(schema["examples"])] if schema.get("examples") else []
    if "properties" in schema:
        required = schema.get("required", [])
        parts = {key: of_examples(part) for key, part in schema["properties"].items()}
        choices.append(
            st.fixed_dictionaries(
                {key: part for key, part in parts.items() if key in required},
                optional={key: part for key, part in parts.items() if key not in required},
            )
            if len(parts) <= 12
            else _few_of(parts, required)
        )
    elif schema.get("type") == "array" and isinstance(schema.get("items"), dict):
        choices.append(st.lists(of_examples(schema["items"]), min_size=1, max_size=3))
    elif isinstance(schema.get("additionalProperties"), dict):
        part = of_examples(schema["additionalProperties"])
        choices.append(st.dictionaries(st.sampled_from(["brush-p2", "a", "B c"]), part, max_size=3))
    if "properties" not in schema:
        branches = (schema.get(keyword) for keyword in ("then", "else"))
        choices.extend(of_examples(branch) for branch in branches if isinstance(branch, dict))
    return st.one_of(choices) if choices else odd_values


def _few_of(parts, required):
    keys = st.lists(st.sampled_from(sorted(parts)), max_size=5, unique=True)
    return keys.flatmap(
        lambda chosen: st.fixed_dictionaries(
            {key: parts[key] for key in sorted({*chosen, *required})}
        )
    )


def places(value, pointer=()):
    yield pointer
    items = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else ()
    )
    for key, item in items:
        yield from places(item, (*pointer, key))


def broken(value, pointer, how, odd):
    """A copy of `value` with the part at `pointer` taken away, renamed, given twice or replaced."""
    if not pointer:
        return odd if isinstance(odd, dict | list) else value
    copy = deepcopy(value)
    around = copy
    for step in pointer[:-1]:
        around = around[step]
    last = pointer[-1]
    if how == "drop":
        del around[last]
    elif how == "rename" and isinstance(around, dict):
        around[f"{last}s"] = around.pop(last)
    elif how == "repeat" and isinstance(around, list):
        around.append(deepcopy(around[last]))
    else:
        around[last] = odd
    return copy


@st.composite
def documents(draw, kind):
    value = draw(of_examples(SCHEMAS.by_uri[f"{BASE_URI}{kind}.schema.json"]))
    for _ in range(draw(st.integers(0, 2))):
        spots = list(places(value))
        spot = spots[draw(st.integers(0, len(spots) - 1))]
        value = broken(
            value,
            spot,
            draw(st.sampled_from(["drop", "rename", "repeat", "replace"])),
            draw(odd_values),
        )
    return value


@cache
def reference_validator(kind: Kind) -> jsonschema.Draft202012Validator:
    """The reference implementation of JSON Schema, with every format checked."""
    checker = jsonschema.FormatChecker(formats=())
    for name, fits in FORMATS.items():
        checker.checks(name)(lambda value, fits=fits: not isinstance(value, str) or fits(value))
    registry = Registry().with_resources(
        (uri, DRAFT202012.create_resource(schema)) for uri, schema in SCHEMAS.by_uri.items()
    )
    return jsonschema.Draft202012Validator(
        {"$ref": uri_of(kind)}, registry=registry, format_checker=checker
    )


@pytest.mark.parametrize("kind", list(Kind))
@given(st.data())
def test_both_validators_give_one_verdict_and_every_refusal_is_explained(kind, data):
    value = data.draw(documents(kind))
    accepted = SCHEMAS.accepts(kind, value)
    assert accepted == reference_validator(kind).is_valid(value)
    # JSON is YAML, so this is a file in which each fault has a place.
    source = Source(kind=kind, path="f.yaml", ident="f")
    document, _ = parse_document(source, json.dumps(value, indent=1, ensure_ascii=False).encode())
    if document is None:
        return
    assert document.value == value
    found = explain(document, SCHEMAS)
    assert bool(found) == (not accepted)
    for diagnostic in found:
        assert diagnostic.position.line > 0
        assert diagnostic.message
        assert diagnostic.expected or diagnostic.nearest or diagnostic.remedy
    assert len(set(found)) == len(found)


def test_values_that_no_file_can_hold_are_no_way_past_a_limit():
    """NaN is neither above nor below a limit; reading refuses it before a schema sees it."""
    source = Source(kind=Kind.PART, path="f.yaml", ident="f")
    _, faults = parse_document(source, b"reorder_at: .nan\n")
    assert [fault.rule for fault in faults] == ["bad-number"]
