"""What one keyword of a schema says is wrong: the words for each, before the schema's own."""

import re
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

from ledger.files import schema_fault
from ledger.files.schema_fault import (
    NEVER,
    Fault,
    Pointer,
    SchemaError,
    described,
    kind_of,
    listed,
    mapping_of,
    name_of,
    nearest_id,
    nearest_key,
    nearest_moment,
    nearest_word,
    quoted,
)
from ledger.files.schemas import FIRST_YEAR, FORMATS, LAST_YEAR

if TYPE_CHECKING:
    from referencing._core import Resolved


_BOUND_WORDS = {
    "minimum": "less than",
    "exclusiveMinimum": "not above",
    "maximum": "more than",
    "exclusiveMaximum": "not below",
}

_TEXT_LENGTH = {"minLength": "is too short", "maxLength": "is too long"}

_SIZE = frozenset({"minItems", "maxItems", "minProperties", "maxProperties", "items"})


def unknown_keys(error: SchemaError) -> Iterator[Fault]:
    """The keys that `error` says nobody knows, each with what it may have been meant to be."""
    if error.validator != "additionalProperties" or error.validator_value is not False:
        return
    schema, mapping = mapping_of(error.schema), error.instance
    allowed = schema.get("properties", {})
    for key in mapping:
        if key not in allowed:
            nearest = nearest_key(key, allowed, mapping)
            yield Fault(
                pointer=(*error.absolute_path, key),
                key=True,
                rule="unknown-key",
                message=f"there is no key {quoted(key)} here",
                expected="" if nearest else f"one of {listed(sorted(allowed))}",
                nearest=nearest,
                remedy="correct the spelling, or take the key away",
            )


def of_keyword(error: SchemaError, origin: "Resolved[Any]") -> Iterator[Fault]:
    """The faults of an error that is no choice between schemas; `origin` is the file's schema."""
    pointer: Pointer = tuple(error.absolute_path)
    value, limit, keyword = error.instance, error.validator_value, error.validator
    if keyword == "additionalProperties":
        yield from unknown_keys(error)
    elif "propertyNames" in error.absolute_schema_path and isinstance(value, str):
        yield _bad_key(error, pointer)
    elif error.schema == NEVER:
        yield Fault(
            pointer=pointer,
            key=True,
            rule="key-not-allowed-here",
            message=f"{name_of(pointer)} does not belong here",
            remedy="take the key away",
        )
    elif keyword == "required":
        yield from _missing(error, origin)
    elif keyword == "dependentRequired":
        for key in value:
            for missing in limit.get(key, ()):
                if missing not in value:
                    yield Fault(
                        pointer=(*pointer, key),
                        key=True,
                        rule="missing-key",
                        message=f"`{key}` needs `{missing}` beside it",
                        remedy=f"add `{missing}`, or take `{key}` away",
                    )
    elif keyword == "not":
        yield _conflict(error, pointer)
    elif keyword == "type":
        yield _wrong_type(error, origin)
    elif keyword in {"enum", "const"}:
        words = limit if keyword == "enum" else [limit]
        yield Fault(
            pointer=pointer,
            rule="not-allowed-value",
            message=f"{name_of(pointer)} cannot be {quoted(value)}",
            expected=f"one of {listed(words)}" if keyword == "enum" else f"{listed(words)}",
            nearest=nearest_word(value, [word for word in words if isinstance(word, str)])
            if isinstance(value, str)
            else "",
        )
    elif keyword in _BOUND_WORDS:
        yield Fault(
            pointer=pointer,
            rule="out-of-range",
            message=f"{name_of(pointer)} is {value}, {_BOUND_WORDS[keyword]} {limit}",
            expected=described(error.schema, origin.resolver),
        )
    elif keyword in {"pattern", "format"}:
        yield _bad_format(error, pointer)
    elif keyword in _TEXT_LENGTH:
        yield _wrong_length(error, pointer)
    elif keyword in _SIZE:
        yield _wrong_size(error, pointer)
    elif keyword == "uniqueItems":
        for index, item in enumerate(value):
            if item in value[:index]:
                yield Fault(
                    pointer=(*pointer, index),
                    rule="repeated-item",
                    message=f"{quoted(item)} stands in the list twice",
                    expected="each item once",
                    remedy="take one of the two away",
                )
    else:
        yield Fault(pointer=pointer, rule="not-allowed-value", message=error.message)


def _missing(error: SchemaError, origin: "Resolved[Any]") -> Iterator[Fault]:
    schema = mapping_of(error.schema)
    properties = schema.get("properties", {})
    for key in error.validator_value:
        if key not in error.instance:
            shape = described(properties.get(key), origin.resolver)
            # Beside a condition its own words tell why; the words of what is around do not.
            expected = f"{key}: {shape}" if shape else schema.get("x-expected", f"the key {key}")
            yield Fault(
                pointer=tuple(error.absolute_path),
                rule="missing-key",
                message=f"the key `{key}` is missing",
                expected=expected,
                remedy=f"add `{key}`",
            )


def _conflict(error: SchemaError, pointer: Pointer) -> Fault:
    together = mapping_of(error.validator_value).get("required", [])
    # The last of them in the file is the one that came too many.
    present = [key for key in mapping_of(error.instance) if key in together]
    if not present:
        return Fault(
            pointer=pointer,
            rule="not-allowed-value",
            message=f"{name_of(pointer)} cannot be {quoted(error.instance)}",
        )
    names = " and ".join(f"`{key}`" for key in present)
    return Fault(
        pointer=(*pointer, present[-1]),
        key=True,
        rule="conflicting-keys",
        message=f"{names} cannot stand together",
        remedy="keep one of them",
    )


def _wrong_type(error: SchemaError, origin: "Resolved[Any]") -> Fault:
    pointer: Pointer = tuple(error.absolute_path)
    value = error.instance
    kinds = (
        [error.validator_value]
        if isinstance(error.validator_value, str)
        else (error.validator_value)
    )
    is_free_text = "string" in kinds and not {"pattern", "format"} & set(error.schema)
    return Fault(
        pointer=pointer,
        rule="wrong-type",
        message=f"{name_of(pointer)} is {kind_of(value)}",
        expected=described(error.schema, origin.resolver)
        if "x-expected" not in error.schema
        else "",
        remedy=schema_fault.of_wrong_type(value, kinds, is_free_text=is_free_text),
    )


def _bad_format(error: SchemaError, pointer: Pointer) -> Fault:
    text, rule = error.instance, "bad-format"
    if error.validator == "format":
        fits = FORMATS[error.validator_value]
        nearest = nearest_moment(text, fits)
        if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}(T[0-9]{2}:[0-9]{2}.*)?", text):
            rule = "impossible-date"
            if not FIRST_YEAR <= int(text[:4]) <= LAST_YEAR:
                rule = "impossible-year"
    else:
        nearest = nearest_id(text, _fits(error.validator_value))
    return Fault(
        pointer=pointer,
        rule=rule,
        message={
            "impossible-date": f"there is no {quoted(text)} in the calendar",
            "impossible-year": f"{quoted(text)} is not in the years {FIRST_YEAR} to {LAST_YEAR}",
        }.get(rule, f"{name_of(pointer)} cannot be {quoted(text)}"),
        nearest=nearest,
    )


def _bad_key(error: SchemaError, pointer: Pointer) -> Fault:
    key = error.instance
    fits = _fits(error.validator_value) if error.validator == "pattern" else None
    words = error.validator_value if error.validator == "enum" else ()
    return Fault(
        pointer=(*pointer, key),
        key=True,
        rule="bad-key",
        message=f"{quoted(key)} cannot be a key here",
        expected=f"one of {listed(words)}" if words else "",
        nearest=nearest_id(key, fits) if fits else nearest_word(key, words),
    )


def _wrong_length(error: SchemaError, pointer: Pointer) -> Fault:
    limit, empty = error.validator_value, error.instance == ""
    is_too_long = error.validator == "maxLength"
    return Fault(
        pointer=pointer,
        rule="wrong-length",
        message=f"{name_of(pointer)} "
        + ("is empty" if empty else _TEXT_LENGTH[str(error.validator)]),
        expected="text"
        if empty
        else f"{'at most' if is_too_long else 'at least'} {limit} characters",
        remedy=schema_fault.of_size("character", is_too_much=is_too_long, is_empty=empty),
    )


def _wrong_size(error: SchemaError, pointer: Pointer) -> Fault:
    size = len(error.instance)
    part = "item" if isinstance(error.instance, list) else "key"
    if error.validator == "items":
        # `items: false` after `prefixItems`: no more than those.
        bound, is_too_much = f"at most {len(error.schema['prefixItems'])}", True
    else:
        is_too_much = error.validator.startswith("max")
        bound = f"{'at most' if is_too_much else 'at least'} {error.validator_value}"
    return Fault(
        pointer=pointer,
        rule="wrong-length",
        message=f"{name_of(pointer)} has {size} {part}{'' if size == 1 else 's'}",
        expected="" if "x-expected" in error.schema else bound,
        remedy=schema_fault.of_size(part, is_too_much=is_too_much, is_empty=size == 0),
    )


def _fits(pattern: str) -> Callable[[str], bool]:
    return lambda text: re.search(pattern, text) is not None
