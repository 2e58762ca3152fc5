"""One fault of a document by its schema, and the words for schemas, values and remedies."""

from collections.abc import Collection, Mapping
from functools import cached_property, reduce
from typing import Any

from ledger.files.document import Pointer, as_list, mapping_of
from ledger.files.schemas import BASE_URI, Schemas
from ledger.values import dataclass, replace


@dataclass(frozen=True, slots=True)
class Place:
    """A part of a schema, and the file `root` that references in it start from."""

    schemas: Schemas
    root: Any
    part: Any

    def step(self, step: str | int) -> "Place":
        return replace(self, part=self.part[step])

    def referred(self) -> "Place":
        """What `$ref` leads to."""
        name, _, pointer = self.part["$ref"].partition("#")
        root = self.schemas.by_uri[BASE_URI + name] if name else self.root
        steps = filter(None, pointer.split("/"))
        return replace(self, root=root, part=reduce(lambda part, step: part[step], steps, root))


@dataclass(frozen=True)
class SchemaError:
    """What a `keyword` of a schema, or the schema `false`, finds wrong with the value at `path`.

    `way` leads from the schema of the file to the keyword, through references.
    """

    value: Any
    path: Pointer
    way: Pointer
    keyword: str
    origin: Place

    @cached_property
    def steps(self) -> tuple[tuple[str | int, Place], ...]:
        """Each keyword on the way, and what it leads to; the name of a part is passed over."""
        found, place, way = [], self.origin, iter(self.way)
        for step in way:
            place = place.referred() if step == "$ref" else place.step(step)
            if step in _TO_NAMED_PART:
                place = place.step(next(way))
            found.append((step, place))
        return tuple(found)

    @property
    def place(self) -> Place:
        """The schema that has the keyword, or that is `false`."""
        places = (self.origin, *(place for _, place in self.steps))
        return places[-1 if self.keyword == NEVER else -2]

    @property
    def schema(self) -> Any:
        return self.place.part

    @property
    def limit(self) -> Any:
        """What stands behind the keyword."""
        return self.steps[-1][1].part

    @property
    def expected(self) -> str:
        """What the schema says is right for the value, or "".

        Of a schema and the one it refers to, the first speaks, being more particular; of a schema
        and a condition in it, the condition.
        """
        found = str(mapping_of(self.origin.part).get("x-expected", ""))
        for step, place in self.steps:
            if step == "$ref":
                found = found or mapping_of(place.part).get("x-expected", "")
            elif isinstance(place.part, Mapping):
                found = place.part.get("x-expected", "" if step in _TO_A_PART else found)
        return found


NEVER = "falseSchema"
"""The keyword of an error that the schema `false` gives."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing wrong with the value at `pointer`, or with its key where `key` says so.

    `schema_explain` gives none without a remedy.
    """

    pointer: Pointer
    rule: str
    message: str
    key: bool = False
    expected: str = ""
    remedy: str = ""
    nearest: str = ""


_OF_RULE = {
    "bad-format": "write it in the form that is expected",
    "bad-key": "give the key one of the names that are expected",
    "impossible-date": "correct the day or the month",
    "impossible-year": "correct the year",
    "not-allowed-value": "write one of the values that are expected",
    "out-of-range": "check the number, and the unit in the key",
    "wrong-type": "write what is expected in its place",
}

_OF_KIND = {
    "array": "write a list: [one, two], or a line with `- ` before each item",
    "object": "write keys with values: {key: value}, or a line `key: value` for each",
    "boolean": "write true or false",
}


_MEANT = {
    "bad-format": "write it in that form",
    "bad-key": "correct the key",
    "impossible-time": "write it as the next day's 00:00",
    "not-allowed-value": "correct the spelling",
}


def of_rule(rule: str, nearest: str = "") -> str:
    """The remedy for any fault of a rule, or for one where what was meant can be told.

    KeyError for a rule that always says its own.
    """
    return (nearest and _MEANT.get(rule)) or _OF_RULE[rule]


def of_wrong_type(value: object, kinds: Collection[str], *, is_free_text: bool) -> str:
    """For a value that is none of `kinds`, the types of JSON Schema that may stand there."""
    if value is None:
        return "write a value after the colon, or remove the key"
    if is_free_text and not isinstance(value, dict | list):
        return "put it in quotes"
    if isinstance(value, str) and {"number", "integer"} & set(kinds):
        return "write the number alone, without a unit, quotes or leading zeros"
    return next((_OF_KIND[kind] for kind in kinds if kind in _OF_KIND), of_rule("wrong-type"))


def of_size(kind: str, *, is_too_much: bool, is_empty: bool = False) -> str:
    """For a text, list or mapping of the wrong length; `kind` names what there is too much of."""
    if is_too_much:
        return "shorten it" if kind == "character" else f"take {kind}s out"
    if is_empty:
        return "write something, or remove it"
    return f"add the {kind}s that are missing"


_TYPES = {
    "object": "a mapping",
    "array": "a list",
    "string": "text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "null": "nothing",
}

BOUNDS = {
    "minimum": ("at least", "less than"),
    "exclusiveMinimum": ("above", "not above"),
    "maximum": ("at most", "more than"),
}
"""The words for each bound of a number that is kept, and for one that is not."""

_LONGEST_LIST = 30

_LONGEST_VALUE = 40


def quoted(value: Any) -> str:
    """A value as a message shows it, cut where it is long."""
    if isinstance(value, list | dict):
        return kind_of(value)
    text = scalar_text(value)
    is_long = isinstance(value, str) and len(text) > _LONGEST_VALUE
    return f"`{text[: _LONGEST_VALUE - 1]}…`" if is_long else f"`{text}`"


def scalar_text(value: Any) -> str:
    """A value as it is typed in a file."""
    words = {None: "null", True: "true", False: "false"}
    return words[value] if value is None or isinstance(value, bool) else str(value)


_KINDS = {
    type(None): "empty",
    bool: "true or false",
    int: "a number",
    float: "a number",
    str: "text",
    list: "a list",
    dict: "a mapping",
}


def kind_of(value: Any) -> str:
    """What sort of value it is."""
    return _KINDS[type(value)]


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


def described(place: Place) -> str:
    """What a value must be to satisfy a schema, in words; "" where the schema does not tell."""
    schema = place.part
    if expected := schema.get("x-expected"):
        return str(expected)
    if "enum" in schema:
        return f"one of {listed(schema['enum'])}"
    if "const" in schema:
        return scalar_text(schema["const"])
    if "$ref" in schema:
        return described(place.referred())
    text = " or ".join(_TYPES[kind] for kind in as_list(schema.get("type")))
    bounds = [f"{word} {schema[bound]}" for bound, (word, _) in BOUNDS.items() if bound in schema]
    return ", ".join(part for part in (text, " and ".join(bounds)) if part)


# Keywords that lead from a value to a part of it: by a name or number that follows, or at once.
_TO_NAMED_PART = frozenset({"properties", "prefixItems"})

_TO_A_PART = _TO_NAMED_PART | {"items", "additionalProperties", "propertyNames"}


def keys_beside(error: SchemaError) -> Collection[str]:
    """The keys that may stand beside the one whose value is at fault."""
    around, keys = error.origin, ()
    for step, place in error.steps:
        if step == "properties":
            keys = around.part[step]
        around = place
    return keys
