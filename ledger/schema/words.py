"""Schemas and values in a person's words."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from referencing._core import Resolver

_TYPES = {
    "object": "a mapping",
    "array": "a list",
    "string": "text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "null": "nothing",
}
_BOUNDS = (
    ("minimum", "at least"),
    ("exclusiveMinimum", "above"),
    ("maximum", "at most"),
    ("exclusiveMaximum", "below"),
)
_LONGEST_LIST = 30
_LONGEST_VALUE = 40


def quoted(value: Any) -> str:
    """A value as a message shows it, cut where it is long."""
    match value:
        case str():
            short = value if len(value) <= _LONGEST_VALUE else value[: _LONGEST_VALUE - 1] + "…"
            return f"`{short}`"
        case None | bool() | int() | float():
            return f"`{scalar_text(value)}`"
        case _:
            return kind_of(value)


def scalar_text(value: Any) -> str:
    """A value as it is typed in a file."""
    words = {None: "null", True: "true", False: "false"}
    return words[value] if value is None or isinstance(value, bool) else str(value)


def kind_of(value: Any) -> str:
    """What sort of value it is."""
    match value:
        case None:
            return "empty"
        case bool():
            return "true or false"
        case int() | float():
            return "a number"
        case str():
            return "text"
        case list():
            return "a list"
        case _:
            return "a mapping"


def name_of(pointer: tuple[str | int, ...]) -> str:
    """What a message calls the value at `pointer`."""
    if not pointer:
        return "the file"
    last = pointer[-1]
    if isinstance(last, str):
        return f"`{last}`"
    owner = next((part for part in reversed(pointer) if isinstance(part, str)), "")
    return f"item {last + 1} of `{owner}`" if owner else f"item {last + 1}"


def listed(words: list[Any]) -> str:
    """Words as a list in a sentence, cut where it is long."""
    shown = [scalar_text(word) for word in words[:_LONGEST_LIST]]
    more = len(words) - len(shown)
    return ", ".join(shown) + (f" and {more} more" if more else "")


def described(schema: Any, resolver: "Resolver[Any]") -> str:
    """What a value must be to satisfy `schema`, in words; "" where the schema does not tell."""
    if not isinstance(schema, Mapping):
        return ""
    if expected := schema.get("x-expected"):
        return str(expected)
    if "enum" in schema:
        return f"one of {listed(schema['enum'])}"
    if "const" in schema:
        return scalar_text(schema["const"])
    if ref := schema.get("$ref"):
        resolved = resolver.lookup(ref)
        return described(resolved.contents, resolved.resolver)
    kinds = schema.get("type", [])
    kinds = [kinds] if isinstance(kinds, str) else kinds
    text = " or ".join(_TYPES[kind] for kind in kinds)
    bounds = [f"{word} {schema[bound]}" for bound, word in _BOUNDS if bound in schema]
    return ", ".join(part for part in (text, " and ".join(bounds)) if part)
