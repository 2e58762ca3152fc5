"""The schemas, the formats that they name, and whether a document is in order by them.

Nothing but the files of the folder is ever fetched.
"""

import json
import re
from collections.abc import Callable, Iterator, Mapping
from datetime import date, datetime, time
from functools import cache, cached_property
from pathlib import Path
from types import MappingProxyType
from typing import Any

import jsonschema_rs

from ledger.files.diagnostics import Diagnostic, program_fault
from ledger.files.document import Document
from ledger.files.paths import Kind
from ledger.files.resources import schema_folder
from ledger.values import dataclass

_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")

_TIME = re.compile(r"[0-9]{2}:[0-9]{2}(?::[0-9]{2})?")

_INSTANT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(?::[0-9]{2})?(?:Z|[+-][0-9]{2}:[0-9]{2})?"
)


# No record of a wash lies outside, and a day's or a year's arithmetic on what lies inside cannot
# leave the calendar of the years 1 to 9999.
FIRST_YEAR, LAST_YEAR = 1900, 2199


def is_date(text: str) -> bool:
    """Whether `text` is a day of the calendar, YYYY-MM-DD (ISO 8601; RFC 3339 full-date).

    Of the years 1900 to 2199.
    """
    return (
        _DATE.fullmatch(text) is not None
        and _parses(date.fromisoformat, text)
        and _in_our_time(text)
    )


def is_local_time(text: str) -> bool:
    """Whether `text` is a time of day, HH:MM or HH:MM:SS, without an offset."""
    return _TIME.fullmatch(text) is not None and _parses(time.fromisoformat, text)


def is_site_instant(text: str) -> bool:
    """Whether `text` is a date and time with an offset or without one.

    2026-11-23T06:40 or 2026-11-23T06:40:10, then nothing (the site's zone), Z or +HH:MM.
    Of the years 1900 to 2199.
    """
    return (
        _INSTANT.fullmatch(text) is not None
        and _parses(datetime.fromisoformat, text)
        and _in_our_time(text)
    )


def is_date_time(text: str) -> bool:
    """Whether `text` is a date and time with seconds and an offset (RFC 3339 date-time)."""
    has_offset = text.endswith("Z") or text[-6:-5] in {"+", "-"}
    return is_site_instant(text) and has_offset and text[16:17] == ":"


FORMATS: MappingProxyType[str, Callable[[str], bool]] = MappingProxyType(
    {
        "date": is_date,
        "date-time": is_date_time,
        "local-time": is_local_time,
        "site-instant": is_site_instant,
    }
)


def _in_our_time(text: str) -> bool:
    return FIRST_YEAR <= int(text[:4]) <= LAST_YEAR


def _parses(parse: Callable[[str], object], text: str) -> bool:
    try:
        parse(text)
    except ValueError:
        return False
    return True


#: Where the schemas are said to live, so that they can name each other by file name. The top
#: level domain `invalid` can never be resolved (RFC 6761 section 6.4).
BASE_URI = "https://tunnelbook.invalid/schemas/"

_SUFFIX = ".schema.json"


class RemoteReferenceError(Exception):
    """A schema refers to something that is not in its folder."""


@dataclass(frozen=True, eq=False)
class Schemas:
    """The schemas of one folder by URI, and the validators they make, built when first used."""

    by_uri: Mapping[str, Any]

    def has(self, kind: Kind) -> bool:
        """Whether there is a schema for `kind`."""
        return uri_of(kind) in self.by_uri

    def accepts(self, kind: Kind, value: Any) -> bool:
        """Whether `value` is in order, as the fast validator sees it."""
        return self._fast[kind].is_valid(value)

    def errors(self, kind: Kind, value: Any) -> Iterator[Any]:
        """What is wrong with `value`, as errors of jsonschema_rs."""
        return self._fast[kind].iter_errors(value)

    def named(self, name: str) -> Any:
        """The schema in a file of the folder."""
        return self.by_uri[BASE_URI + name]

    def part_accepts(self, kind: Kind, where: str) -> Callable[[Any], bool]:
        """What tells whether a value is in order for the part of a schema at a JSON pointer."""
        return self._validator(f"{uri_of(kind)}#{where}").is_valid

    @cached_property
    def _fast(self) -> dict[Kind, jsonschema_rs.Draft202012Validator]:
        return {kind: self._validator(uri_of(kind)) for kind in Kind if self.has(kind)}

    @cached_property
    def _registry(self) -> jsonschema_rs.Registry:
        return jsonschema_rs.Registry(list(self.by_uri.items()), retriever=_refuse)

    def _validator(self, uri: str) -> jsonschema_rs.Draft202012Validator:
        return jsonschema_rs.Draft202012Validator(
            {"$ref": uri},
            registry=self._registry,
            formats=dict(FORMATS),
            validate_formats=True,
            # A format that nobody checks would be a promise in the schema that is not kept.
            ignore_unknown_formats=False,
            offline=True,
        )


def uri_of(kind: Kind) -> str:
    """The URI of the schema for `kind`."""
    return f"{BASE_URI}{kind}{_SUFFIX}"


def load_schemas(folder: Path) -> Schemas:
    """The `*.schema.json` of `folder`. Raises OSError or ValueError where one cannot be read."""
    return Schemas(
        by_uri=MappingProxyType(
            {
                BASE_URI + path.name: json.loads(path.read_text(encoding="utf-8"))
                for path in sorted(folder.glob("*" + _SUFFIX))
            }
        )
    )


@cache
def shipped_schemas() -> Schemas:
    """The schemas of this program."""
    return load_schemas(schema_folder())


def check_document(document: Document, schemas: Schemas | None = None) -> list[Diagnostic]:
    """Everything the schema for its kind finds wrong with `document`, in reading order.

    Whatever goes wrong is told of this document, so that the others are still held against theirs.
    """
    against = schemas or shipped_schemas()
    try:
        if against.accepts(document.kind, document.value):
            return []
        # Imported when the first document is refused: a site without faults never pays for it.
        from ledger.files.schema_explain import explain_with_slips  # noqa: PLC0415

        return explain_with_slips(document, against)
    except Exception as error:  # noqa: BLE001 - the guard around one file
        return [program_fault(document.path, error)]


# Fewer than the schema allows, so that the length of the list need not be asked about.
_FEW_ENTRIES = 100


def accepts_lines(document: Document, known: set[int]) -> bool:
    """Whether a visit is in order; False where it takes a whole look to say.

    `known` are the identities of entries accepted before: lines that are alike are read as one
    and the same value.
    """
    entries = document.value.get("entries") if isinstance(document.value, dict) else None
    if document.kind is not Kind.VISIT or not isinstance(entries, list):
        return False
    new = [entry for entry in entries if id(entry) not in known]
    head = {**document.value, "entries": new or entries[:1]}
    try:
        if len(entries) > _FEW_ENTRIES or not shipped_schemas().accepts(Kind.VISIT, head):
            return False
    except Exception:  # noqa: BLE001 - told by the whole look
        return False
    known.update(map(id, new))
    return True


def _refuse(uri: str) -> Any:
    raise RemoteReferenceError(f"{uri} is not among the schemas, and nothing is fetched")
