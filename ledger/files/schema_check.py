"""Explain slowly what a schema finds wrong: each fault at its line, in the trade's words.

jsonschema finds the faults. A key that is plainly a misspelling is read as what it was meant to
be before the rest is judged, so that one slip gives one diagnostic: `secnds` is not also
reported as a missing `seconds`.

Hold documents against their schemas: accept fast, and explain only what is not accepted.

From the errors of jsonschema to faults: through choices, and with the schema's own words.
"""

from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import jsonschema
from referencing import Registry
from referencing.jsonschema import DRAFT202012

from ledger.files import schema_fault
from ledger.files.diagnostics import Diagnostic, in_reading_order
from ledger.files.document import Document
from ledger.files.paths import Kind
from ledger.files.schema_fault import (
    NEVER,
    Fault,
    Pointer,
    SchemaError,
    listed,
    mapping_of,
    name_of,
    quoted,
)
from ledger.files.schema_keywords import of_keyword, unknown_keys
from ledger.files.schemas import FORMATS, Schemas, shipped_schemas, uri_of

if TYPE_CHECKING:
    from referencing._core import Resolved


def check_document(document: Document, schemas: Schemas | None = None) -> list[Diagnostic]:
    """Everything the schema for its kind finds wrong with `document`, in reading order."""
    against = schemas or shipped_schemas()
    if against.accepts(document.kind, document.value):
        return []

    return explain(document, against)


# Keywords that lead from a value to a part of it: by a name or number that follows, or at once.
_TO_NAMED_PART = frozenset({"properties", "patternProperties", "prefixItems"})

_TO_ANY_PART = frozenset({"items", "additionalProperties", "propertyNames", "contains"})


def faults_of(error: SchemaError, origin: "Resolved[Any]") -> Iterator[Fault]:
    """The faults that `error` stands for; `origin` is the schema of the file."""
    if error.validator in {"anyOf", "oneOf"}:
        yield from _of_choices(error, origin)
        return
    remedy = annotation("x-remedy", error, origin)
    for fault in of_keyword(error, origin):
        yield Fault(
            pointer=fault.pointer,
            key=fault.key,
            rule=fault.rule,
            message=fault.message,
            expected=fault.expected or annotation("x-expected", error, origin),
            remedy=remedy or fault.remedy or schema_fault.of_rule(fault.rule, fault.nearest),
            nearest=fault.nearest,
        )


def annotation(name: str, error: SchemaError, origin: "Resolved[Any]") -> str:
    """The text that the schema gives under `name` for the value that `error` is about, or "".

    Of a schema and the one it refers to, the first speaks, being more particular; of a schema
    and a condition in it, the condition.
    """
    node, resolver = origin.contents, origin.resolver
    found = str(mapping_of(node).get(name, ""))
    steps = iter(error.absolute_schema_path)
    for step in steps:
        while isinstance(node, Mapping) and step not in node and "$ref" in node:
            resolved = resolver.lookup(node["$ref"])
            node, resolver = resolved.contents, resolved.resolver
            found = found or mapping_of(node).get(name, "")
        node = node[step]
        if step in _TO_NAMED_PART:
            node = node[next(steps)]
        if isinstance(node, Mapping) and node != NEVER:
            to_part = step in _TO_NAMED_PART or step in _TO_ANY_PART
            found = node.get(name, "" if to_part else found)
    return found


def _of_choices(error: SchemaError, origin: "Resolved[Any]") -> Iterator[Fault]:
    pointer: Pointer = tuple(error.absolute_path)
    expected = annotation("x-expected", error, origin)
    if all(set(mapping_of(branch)) == {"required"} for branch in error.validator_value):
        keys = [key for branch in error.validator_value for key in branch["required"]]
        yield Fault(
            pointer=pointer,
            rule="missing-key",
            message=f"{name_of(pointer)} lacks a key it needs",
            expected=expected or f"one of {listed(keys)}",
            remedy=annotation("x-remedy", error, origin) or "add one of them",
        )
        return
    branches: dict[Any, list[SchemaError]] = {}
    for inner in error.context or ():
        branches.setdefault(inner.relative_schema_path[0], []).append(inner)
    of_right_type = [
        inners
        for inners in branches.values()
        if not any(inner.validator == "type" and not inner.relative_path for inner in inners)
    ]
    if len(of_right_type) == 1:
        for inner in of_right_type[0]:
            yield from faults_of(inner, origin)
        return
    yield Fault(
        pointer=pointer,
        rule="not-allowed-value",
        message=f"{name_of(pointer)} cannot be {quoted(error.instance)}",
        expected=expected,
        remedy=annotation("x-remedy", error, origin) or schema_fault.of_rule("not-allowed-value"),
    )


def explain(document: Document, schemas: Schemas) -> list[Diagnostic]:
    """Every fault of `document`, in reading order; [] where jsonschema finds none."""
    validator = slow_validator(schemas, document.kind)
    origin = _registry(schemas).resolver().lookup(uri_of(document.kind))
    errors = list(validator.iter_errors(document.value))
    found = [fault for error in errors for fault in unknown_keys(error)]
    misspelt = {fault.pointer: fault.nearest for fault in found if fault.nearest}
    if misspelt:
        errors = list(validator.iter_errors(_respelt(document.value, (), misspelt)))
    guessed = {(*where[:-1], meant) for where, meant in misspelt.items()}
    # What a value of the wrong type lacks besides is no news.
    wrong_type = {tuple(error.absolute_path) for error in errors if error.validator == "type"}
    for error in errors:
        if error.validator != "type" and tuple(error.absolute_path) in wrong_type:
            continue
        for fault in faults_of(error, origin):
            # What a guessed key holds is not judged: the guess may be wrong.
            heads = {fault.pointer[:length] for length in range(len(fault.pointer) + 1)}
            if fault.rule != "unknown-key" and not heads & guessed:
                found.append(fault)
    return in_reading_order([_diagnostic(document, fault) for fault in found])


@lru_cache(maxsize=32)
def slow_validator(schemas: Schemas, kind: Kind) -> jsonschema.Draft202012Validator:
    """The validator that explains; with the given schemas only, and every format checked."""
    checker = jsonschema.FormatChecker(formats=())
    for name, fits in FORMATS.items():
        checker.checks(name)(lambda value, fits=fits: not isinstance(value, str) or fits(value))
    return jsonschema.Draft202012Validator(
        {"$ref": uri_of(kind)}, registry=_registry(schemas), format_checker=checker
    )


@lru_cache(maxsize=32)
def _registry(schemas: Schemas) -> Registry[Any]:
    # A registry that is given no way to retrieve refuses what it does not hold.
    return Registry().with_resources(
        (uri, DRAFT202012.create_resource(_spelt_out(schema)))
        for uri, schema in schemas.by_uri.items()
    )


def _spelt_out(schema: Any) -> Any:
    """The schema with `false` for a key written out: for `false` jsonschema names no place."""
    if isinstance(schema, list):
        return [_spelt_out(item) for item in schema]
    if not isinstance(schema, dict):
        return schema
    spelt = {key: _spelt_out(item) for key, item in schema.items()}
    if isinstance(properties := spelt.get("properties"), dict):
        spelt["properties"] = {
            key: NEVER if item is False else item for key, item in properties.items()
        }
    return spelt


def _respelt(value: Any, pointer: Pointer, meant: dict[Pointer, str]) -> Any:
    """A copy of `value` with the keys at the pointers of `meant` renamed."""
    if isinstance(value, dict):
        return {
            meant.get((*pointer, key), key): _respelt(item, (*pointer, key), meant)
            for key, item in value.items()
        }
    if isinstance(value, list):
        return [_respelt(item, (*pointer, n), meant) for n, item in enumerate(value)]
    return value


def _diagnostic(document: Document, fault: Fault) -> Diagnostic:
    return document.diagnose(
        fault.pointer,
        key=fault.key,
        rule=fault.rule,
        message=fault.message,
        expected=fault.expected,
        remedy=fault.remedy,
        nearest=fault.nearest,
    )
