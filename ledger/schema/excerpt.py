"""The part of a document that is enough to explain its faults; the rest would cost seconds.

Explaining one item takes a hundred times as long as accepting it. Of a long collection only the
first items at fault are explained; the fast validator finds them, and counts the others.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from ledger.diagnostics import MOST_OF_A_KIND
from ledger.schema import remedies
from ledger.schema.fault import Fault, Pointer, mapping_of
from ledger.schema.registry import Schemas, uri_of
from ledger.schema.words import name_of
from ledger.source.discover import Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """So many parts at fault of one collection that are not explained, and the first of them."""

    first: Pointer
    count: int
    is_unknown_key: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Excerpt:
    """`value` is the document's without the parts that need no explaining, items in their places.

    `faults` are those that the excerpt does not show any more: collections that are too long.
    """

    value: Any
    left_out: tuple[LeftOut, ...]
    faults: tuple[Fault, ...]


def excerpt(value: Any, kind: Kind, schemas: Schemas) -> Excerpt:
    """What of a document's value is to be explained: collections are cut, at the two top levels."""
    cutter = _Cutter(kind, schemas)
    schema = mapping_of(schemas.by_uri[uri_of(kind)])
    cut = cutter.cut(value, schema, (), "")
    if isinstance(cut, dict):
        properties = mapping_of(schema.get("properties"))
        cut = {
            key: cutter.cut(part, mapping_of(properties.get(key)), (key,), f"/properties/{key}")
            for key, part in cut.items()
        }
    return Excerpt(value=cut, left_out=tuple(cutter.left_out), faults=tuple(cutter.faults))


class _Cutter:
    def __init__(self, kind: Kind, schemas: Schemas) -> None:
        self._kind = kind
        self._schemas = schemas
        self.left_out: list[LeftOut] = []
        self.faults: list[Fault] = []

    def cut(self, part: Any, schema: Mapping[str, Any], pointer: Pointer, where: str) -> Any:
        """`part`, or its beginning where it is long; `where` leads to its schema in the file's."""
        if not isinstance(part, list | dict) or len(part) <= MOST_OF_A_KIND:
            return part
        if isinstance(part, dict):
            return self._mapping(part, schema, pointer, where)
        if "items" not in schema or schema.get("uniqueItems"):
            return part
        return self._list(part, schema, pointer, where)

    def _list(
        self, items: list[Any], schema: Mapping[str, Any], pointer: Pointer, where: str
    ) -> list[Any]:
        accepts = self._schemas.part_accepts(self._kind, f"{where}/items")
        at_fault = [number for number, item in enumerate(items) if not accepts(item)]
        told = self._told(at_fault, pointer)
        most = schema.get("maxItems", len(items))
        if len(items) > most:
            self.faults.append(
                Fault(
                    pointer=pointer,
                    rule="wrong-length",
                    message=f"{name_of(pointer)} has {len(items)} items",
                    expected=schema.get("x-expected", f"at most {most}"),
                    remedy=schema.get("x-remedy") or remedies.of_size("item", is_too_much=True),
                )
            )
        return items[: told[-1] + 1 if told else 1]

    def _mapping(
        self, mapping: dict[str, Any], schema: Mapping[str, Any], pointer: Pointer, where: str
    ) -> dict[str, Any]:
        known = mapping_of(schema.get("properties"))
        others = {key: value for key, value in mapping.items() if key not in known}
        rule = schema.get("additionalProperties", True)
        at_fault = list(self._at_fault(others, rule, schema, where))
        kept = {*known, *self._told(at_fault, pointer, is_unknown_key=rule is False)}
        # One that is in order stays, so that the mapping does not look empty.
        kept |= set(list(others.keys() - set(at_fault))[:1])
        return {key: value for key, value in mapping.items() if key in kept}

    def _at_fault(
        self, others: dict[str, Any], rule: Any, schema: Mapping[str, Any], where: str
    ) -> Iterator[str]:
        if rule is False:
            yield from others
            return
        accepts: list[Callable[[str], bool]] = []
        if isinstance(rule, dict):
            fits = self._schemas.part_accepts(self._kind, f"{where}/additionalProperties")
            accepts.append(lambda key: fits(others[key]))
        if "propertyNames" in schema:
            accepts.append(self._schemas.part_accepts(self._kind, f"{where}/propertyNames"))
        yield from (key for key in others if not all(accept(key) for accept in accepts))

    def _told(
        self, at_fault: list[Any], pointer: Pointer, *, is_unknown_key: bool = False
    ) -> list[Any]:
        if beyond := at_fault[MOST_OF_A_KIND:]:
            self.left_out.append(
                LeftOut(
                    first=(*pointer, beyond[0]), count=len(beyond), is_unknown_key=is_unknown_key
                )
            )
        return at_fault[:MOST_OF_A_KIND]
