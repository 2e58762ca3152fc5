"""One fault of a document, and what is used of an error of jsonschema to tell it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

Pointer = tuple[str | int, ...]

#: The schema `false`, in the form that lets an error name the key it is about.
NEVER: Mapping[str, Any] = {"not": {}}


class SchemaError(Protocol):
    """What is used of a `jsonschema.exceptions.ValidationError`, whose own types say "or unset"."""

    @property
    def validator(self) -> Any: ...
    @property
    def validator_value(self) -> Any: ...
    @property
    def instance(self) -> Any: ...
    @property
    def schema(self) -> Any: ...
    @property
    def message(self) -> str: ...
    @property
    def absolute_path(self) -> Any: ...
    @property
    def relative_path(self) -> Any: ...
    @property
    def absolute_schema_path(self) -> Any: ...
    @property
    def relative_schema_path(self) -> Any: ...
    @property
    def context(self) -> Any: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing wrong with the value at `pointer`, or with its key where `key` says so.

    `ledger.schema.faults` gives none without a remedy.
    """

    pointer: Pointer
    rule: str
    message: str
    key: bool = False
    expected: str = ""
    remedy: str = ""
    nearest: str = ""


def mapping_of(node: Any) -> Mapping[str, Any]:
    """A schema or value as a mapping, empty where it is none."""
    return node if isinstance(node, Mapping) else {}
