"""The field reference: every key of every kind of file, as Markdown made of the schemas.

`python -m ledger.files.reference > schemas/README.md` writes the page that the project ships.
"""

import json
import re
import sys
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from ledger.files.paths import Kind
from ledger.files.schema_fault import Place, described, scalar_text
from ledger.files.schemas import BASE_URI, Schemas, shipped_schemas, uri_of
from ledger.files.units import UNITS
from ledger.files.yaml_fast import plain_value
from ledger.values import dataclass, field


def rule_sentences(schema: Mapping[str, Any]) -> tuple[str, ...]:
    """Which keys of a mapping need, exclude or replace each other, pairs of units together."""
    rules = [rule for rule in schema.get("allOf", ()) if "if" in rule]
    apart = [rule["not"]["required"] for rule in schema.get("allOf", ()) if "not" in rule]
    sentences = [
        f"At least one of {_listed(_keys_of(one['anyOf']), 'and')} is there."
        for one in (schema, *schema.get("allOf", ()))
        if "anyOf" in one
    ]
    consequences: dict[str, list[str]] = {}
    for rule in rules:
        consequences.setdefault(_condition(rule["if"]), []).extend(_consequences(rule["then"]))
        if "else" in rule:
            consequences.setdefault("Otherwise", []).extend(_consequences(rule["else"]))
    sentences += [f"{where}: {'; '.join(what)}." for where, what in consequences.items()]
    if apart:
        pairs = "; ".join(" or ".join(_code(pair)) for pair in apart)
        sentences.append(f"Never both: {pairs}.")
    return tuple(sentences)


def _condition(condition: Mapping[str, Any]) -> str:
    if "anyOf" in condition:
        return f"With {_listed(_keys_of(condition['anyOf']), 'or')}"
    tests = condition.get("properties", {})
    for key, test in tests.items():
        if "not" in test:
            return f"Unless `{key}` is {_listed(test['not']['enum'], 'or')}"
        words = test["enum"] if "enum" in test else [test["const"]]
        return f"Where `{key}` is {_listed(words, 'or')}"
    return f"With {_listed(condition['required'], 'and')}"


def _consequences(then: Mapping[str, Any]) -> list[str]:
    found = []
    if "required" in then:
        found.append(f"{_listed(then['required'], 'and')} too")
    if "anyOf" in then:
        ways = [_listed(way["required"], "and") for way in then["anyOf"]]
        found.append(f"{' or '.join(ways)} too")
    never = [key for key, part in then.get("properties", {}).items() if part is False]
    if never:
        found.append(f"never {_listed(never, 'or')}")
    found += [
        f"`{key}` is {part['x-expected']}"
        for key, part in then.get("properties", {}).items()
        if isinstance(part, Mapping)
    ]
    return found


def _keys_of(alternatives: Iterable[Mapping[str, Any]]) -> list[str]:
    return [key for one in alternatives for key in one["required"]]


def _code(words: Iterable[Any]) -> list[str]:
    return [f"`{word}`" for word in words]


def _listed(words: Iterable[Any], joint: str) -> str:
    coded = _code(words)
    if len(coded) < 2:
        return "".join(coded)
    return f"{', '.join(coded[:-1])} {joint} {coded[-1]}"


_INTRODUCTION = """\
# The files of a site, key by key

Made from the schemas in this folder with `python -m ledger.files.reference > schemas/README.md`; \
change a schema, not this page.

An editor that knows YAML shows the same words while you type, because each file names its schema \
on the first line. Keys that are not listed here are refused, and \
`check` names the nearest right spelling. A key ends with its unit. Where two keys differ only in \
the unit, use the one that your gauge or tape shows.
"""


_UNITS = {one.ending: text for one in UNITS if (text := one.in_full or one.written)}

# Whole keys that end like a unit and are none.
_NO_UNIT = frozenset({"at", "in", "on", "labour_per_h", "down_per_h"})

_PLAIN = re.compile(r"[A-Za-z0-9/][A-Za-z0-9/ .;=#_+~@-]*|[0-9]{4}-[0-9T:+-]+|[0-9]{2}:[0-9:-]+")


def field_reference(schemas: Schemas) -> str:
    """Every key of every kind of file: whether needed, what it takes, what it means, an example."""
    parts = [_INTRODUCTION]
    for kind in Kind:
        parts.extend(_Reference(schemas).of_file(kind))
    return "\n".join(parts)


def key_rows(schemas: Schemas) -> Iterator[tuple[str, ...]]:
    """Where each key stands, the key, whether it is needed, what it takes, means, an example."""
    for kind in Kind:
        reference, schema = _Reference(schemas), schemas.by_uri[uri_of(kind)]
        for heading, mapping in reference.mappings("", schema):
            where = ", ".join(filter(None, (schema["title"], heading)))
            for cells in reference.rows(mapping):
                yield where, *cells


@dataclass(frozen=True, slots=True)
class _Reference:
    """One file's reference; `described` are the shapes that have a section already."""

    schemas: Schemas
    described: set[str] = field(default_factory=set)

    def of_file(self, kind: Kind) -> Iterator[str]:
        schema = self.schemas.by_uri[uri_of(kind)]
        # `<machine>` would be taken for HTML.
        about = schema["description"].replace("<", "\\<")
        yield f"## {schema['title']}\n\n{about}\n"
        for heading, mapping in self.mappings("", schema):
            if heading:
                yield f"### {heading}\n\n{mapping['description']}\n"
            yield self._table(mapping)
            rules = rule_sentences(mapping)
            if rules:
                yield "\n".join(f"- {rule}" for rule in rules) + "\n"

    def mappings(self, name: str, schema: Any) -> Iterator[tuple[str, Any]]:
        """Each mapping with keys of its own, outermost first, with its heading."""
        for heading, mapping in self._mappings(name, schema):
            shape = json.dumps(mapping["properties"])
            if shape not in self.described:
                self.described.add(shape)
                yield heading, mapping
                for key, part in mapping["properties"].items():
                    yield from self.mappings(key, part)

    def _mappings(self, name: str, schema: Any, heading: str = "") -> Iterator[tuple[str, Any]]:
        """The mappings with keys of their own that a value of the schema is, or is made of."""
        resolved = self._resolved(schema)
        if "$ref" in schema and "else" in resolved:
            resolved = self._shared(schema)
            heading = heading or resolved["title"]
        if "properties" in resolved and "description" in resolved:
            yield heading or (f"`{name}`" if name else ""), resolved
            return
        for part in ("then", "else"):
            if isinstance(resolved.get(part), dict):
                yield from self._mappings(name, _named(resolved[part], resolved), heading)
        for part in ("items", "additionalProperties"):
            if isinstance(resolved.get(part), dict):
                each = f"Each of `{name}`" if name else f"Each {resolved[part]['title'].lower()}"
                yield from self._mappings(name, resolved[part], heading or each)

    def _table(self, mapping: Mapping[str, Any]) -> str:
        lines = ["| Key | Needed | Takes | Meaning | Example |", "| --- | --- | --- | --- | --- |"]
        for cells in self.rows(mapping):
            cells_of_table = (cell.replace("|", "\\|") for cell in cells)
            lines += [f"| {' | '.join(cells_of_table)} |"]
        return "\n".join(lines) + "\n"

    def rows(self, mapping: Mapping[str, Any]) -> Iterator[tuple[str, ...]]:
        for key, part in mapping["properties"].items():
            yield (
                f"`{key}`",
                "yes" if key in mapping.get("required", ()) else "",
                self._takes(part, key),
                _with_default(self._resolved(part)),
                f"`{flow_text(self._example(part))}`",
            )

    def _takes(self, schema: Any, key: str) -> str:
        resolved = self._resolved(schema)
        if "enum" in resolved:
            return ", ".join(f"`{scalar_text(word)}`" for word in resolved["enum"])
        if "if" in resolved and "then" in resolved:
            return self._either(resolved, key)
        if "properties" in resolved:
            return "a mapping, see below"
        if isinstance(resolved.get("items"), dict):
            return f"a list; each {self._takes(resolved['items'], key)}"
        if isinstance(resolved.get("additionalProperties"), dict):
            return f"a mapping; each {self._takes(resolved['additionalProperties'], key)}"
        text = described(Place(self.schemas, resolved, resolved))
        return text + (f", in {unit}" if (unit := _unit_of(key)) else "")

    def _either(self, schema: Mapping[str, Any], key: str) -> str:
        """A value of one shape or another, such as one word or a list of them."""
        one, other = (self._takes(schema.get(part, {}), key) for part in ("else", "then"))
        listed = self._resolved(schema["then"]).get("items")
        if listed is not None and self._takes(listed, key) == one:
            return f"{one}; or a list of these"
        return f"{one}; or {other}" if listed is not None else f"{other}; or {one}"

    def _example(self, schema: Any) -> Any:
        own = schema.get("examples") or self._resolved(schema)["examples"]
        return own[0]

    def _resolved(self, schema: Mapping[str, Any]) -> Mapping[str, Any]:
        """The schema with what its reference says, its own words first."""
        if "$ref" not in schema:
            return schema
        own = {key: value for key, value in schema.items() if key != "$ref"}
        return {**self._shared(schema), **own}

    def _shared(self, schema: Mapping[str, Any]) -> Mapping[str, Any]:
        _, _, name = schema["$ref"].rpartition("/")
        shared: Mapping[str, Any] = self.schemas.by_uri[f"{BASE_URI}common.schema.json"]
        found: Mapping[str, Any] = shared["$defs"][name]
        return found


def flow_text(value: Any) -> str:
    """A value on one line as a person types it into a YAML file."""
    match value:
        case dict():
            inner = ", ".join(f"{flow_text(k)}: {flow_text(item)}" for k, item in value.items())
            return "{" + inner + "}"
        case list():
            return "[" + ", ".join(flow_text(item) for item in value) + "]"
        case str() if not _reads_as_itself(value):
            return json.dumps(value, ensure_ascii=False)
        case _:
            return scalar_text(value)


def _reads_as_itself(text: str) -> bool:
    is_plain = _PLAIN.fullmatch(text) is not None and " #" not in text and text == text.strip()
    return is_plain and plain_value(text) == text


def _named(part: Mapping[str, Any], around: Mapping[str, Any]) -> Mapping[str, Any]:
    """A shape that stands in a branch without words of its own takes those around it."""
    if "properties" not in part or "description" in part:
        return part
    words = {"description": around["description"]}
    return {**words, **part}


def _unit_of(key: str) -> str:
    if key in _NO_UNIT:
        return ""
    endings = (key[match.end() :] for match in re.finditer("_", key))
    known = (_UNITS.get(ending) or _quotient(ending) for ending in endings)
    return next(filter(None, known), _UNITS.get(key, ""))


def _quotient(ending: str) -> str:
    """`mm/s` for `mm_s`; nothing where a part of it is no unit."""
    parts = [_UNITS.get(part, "") for part in ending.split("_")]
    return "/".join(parts) if all(parts) else ""


def _with_default(schema: Mapping[str, Any]) -> str:
    text: str = schema["description"]
    if "default" in schema and "Default " not in text:
        return f"{text} Default {scalar_text(schema['default'])}."
    return text


if __name__ == "__main__":
    sys.stdout.write(field_reference(shipped_schemas()))
