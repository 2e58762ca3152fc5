"""From the errors of jsonschema to faults: through choices, and with the schema's own words."""

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from ledger.schema import remedies
from ledger.schema.fault import NEVER, Fault, Pointer, SchemaError, mapping_of
from ledger.schema.keyword_faults import of_keyword
from ledger.schema.words import listed, name_of, quoted

if TYPE_CHECKING:
    from referencing._core import Resolved

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
            remedy=remedy or fault.remedy or remedies.of_rule(fault.rule, fault.nearest),
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
        remedy=annotation("x-remedy", error, origin) or remedies.of_rule("not-allowed-value"),
    )
