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
    return _is_written(text, _DATE, date.fromisoformat) and _in_our_time(text)


def is_local_time(text: str) -> bool:
    """Whether `text` is a time of day, HH:MM or HH:MM:SS, without an offset."""
    return _is_written(text, _TIME, time.fromisoformat)


def is_site_instant(text: str) -> bool:
    """Whether `text` is a date and time with an offset or without one.

    2026-11-23T06:40 or 2026-11-23T06:40:10, then nothing (the site's zone), Z or +HH:MM.
    Of the years 1900 to 2199.
    """
    return _is_written(text, _INSTANT, datetime.fromisoformat) and _in_our_time(text)


FORMATS: MappingProxyType[str, Callable[[str], bool]] = MappingProxyType(
    {"date": is_date, "local-time": is_local_time, "site-instant": is_site_instant}
)


def _is_written(text: str, form: re.Pattern[str], parse: Callable[[str], object]) -> bool:
    if not form.fullmatch(text):
        return False
    try:
        parse(text)
    except ValueError:
        return False
    return True


def _in_our_time(text: str) -> bool:
    return FIRST_YEAR <= int(text[:4]) <= LAST_YEAR


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

    def accepts(self, kind: Kind, value: Any) -> bool:
        """Whether `value` is in order, as the fast validator sees it."""
        return _validator(self, uri_of(kind)).is_valid(value)

    def errors(self, kind: Kind, value: Any) -> Iterator[Any]:
        """What is wrong with `value`, as errors of jsonschema_rs."""
        return _validator(self, uri_of(kind)).iter_errors(value)

    def part_accepts(self, kind: Kind, where: str) -> Callable[[Any], bool]:
        """What tells whether a value is in order for the part of a schema at a JSON pointer."""
        return _validator(self, f"{uri_of(kind)}#{where}").is_valid

    @cached_property
    def registry(self) -> jsonschema_rs.Registry:
        return jsonschema_rs.Registry(list(self.by_uri.items()), retriever=_refuse)


@cache
def _validator(schemas: Schemas, uri: str) -> jsonschema_rs.Draft202012Validator:
    return jsonschema_rs.Draft202012Validator(
        {"$ref": uri},
        registry=schemas.registry,
        formats=dict(FORMATS),
        validate_formats=True,
        # A format that nobody checks would be a promise in the schema that is not kept.
        ignore_unknown_formats=False,
        offline=True,
    )


def uri_of(kind: Kind) -> str:
    """The URI of the schema for `kind`."""
    return f"{BASE_URI}{kind}{_SUFFIX}"


@cache
def schema_folder() -> Path:
    """The folder that holds `*.schema.json`.

    Raises FileNotFoundError, naming both places, where neither exists.
    """
    package = Path(__file__).resolve().parents[1]
    installed = package / "_schemas"
    checkout = package.parent / "schemas"
    for folder in (installed, checkout):
        if (folder / "site.schema.json").is_file():
            return folder
    raise FileNotFoundError(f"no site.schema.json in {installed} nor in {checkout}")


@cache
def shipped_schemas() -> Schemas:
    """The schemas of this program. Raises OSError or ValueError where one cannot be read."""
    files = sorted(schema_folder().glob(f"*{_SUFFIX}"))
    texts = {BASE_URI + path.name: path.read_text(encoding="utf-8") for path in files}
    return Schemas(by_uri=MappingProxyType({uri: json.loads(texts[uri]) for uri in texts}))


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
