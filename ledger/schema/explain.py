"""Explain slowly what a schema finds wrong: each fault at its line, in the trade's words.

jsonschema finds the faults. A key that is plainly a misspelling is read as what it was meant to
be before the rest is judged, so that one slip gives one diagnostic: `secnds` is not also
reported as a missing `seconds`.
"""

from functools import lru_cache
from itertools import islice
from typing import Any

import jsonschema
from referencing import Registry
from referencing.jsonschema import DRAFT202012

from ledger.diagnostics import CORRECT_THE_FIRST, Diagnostic, more_like, shortened
from ledger.schema.excerpt import LeftOut, excerpt
from ledger.schema.fault import NEVER, Fault, Pointer
from ledger.schema.faults import faults_of
from ledger.schema.formats import FORMATS
from ledger.schema.keyword_faults import unknown_keys
from ledger.schema.registry import Schemas, uri_of
from ledger.source.discover import Kind
from ledger.source.document import Document

# Beyond those of its long collections, no file that a person wrote has so many.
_MOST_ERRORS = 500


def explain(document: Document, schemas: Schemas) -> list[Diagnostic]:
    """Every fault of `document`, in reading order; [] where jsonschema finds none."""
    validator = slow_validator(schemas, document.kind)
    origin = _registry(schemas).resolver().lookup(uri_of(document.kind))
    shown = excerpt(document.value, document.kind, schemas)
    errors = list(islice(validator.iter_errors(shown.value), _MOST_ERRORS))
    found = [fault for error in errors for fault in unknown_keys(error)]
    misspelt = {fault.pointer: fault.nearest for fault in found if fault.nearest}
    lacking: frozenset[Fault] | None = None
    if misspelt:
        # What a guessed key would need beside it is not asked for: the guess may be wrong.
        lacking = frozenset(fault for error in errors for fault in faults_of(error, origin))
        respelt = _respelt(shown.value, (), misspelt)
        errors = list(islice(validator.iter_errors(respelt), _MOST_ERRORS))
    guessed = {(*where[:-1], meant) for where, meant in misspelt.items()}
    # What a mapping with an unknown key lacks besides is most likely what that key was meant to be.
    strangers = {fault.pointer[:-1] for fault in found if not fault.nearest}
    # What a value of the wrong type lacks besides is no news.
    wrong_type = {tuple(error.absolute_path) for error in errors if error.validator == "type"}
    for error in errors:
        if error.validator != "type" and tuple(error.absolute_path) in wrong_type:
            continue
        for fault in faults_of(error, origin):
            # What a guessed key holds is not judged: the guess may be wrong.
            heads = {fault.pointer[:length] for length in range(len(fault.pointer) + 1)}
            is_no_news = fault.rule == "missing-key" and (
                fault.pointer in strangers or (lacking is not None and fault not in lacking)
            )
            if fault.rule != "unknown-key" and not heads & guessed and not is_no_news:
                found.append(fault)
    found += shown.faults
    told = [_diagnostic(document, fault) for fault in found]
    return shortened([*told, *(_left_out(document, left) for left in shown.left_out)])


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


def _left_out(document: Document, left: LeftOut) -> Diagnostic:
    first = document.diagnose(
        left.first,
        key=left.is_unknown_key,
        rule="unknown-key" if left.is_unknown_key else "more-at-fault",
        message="there are more faults",
        remedy=CORRECT_THE_FIRST,
    )
    return more_like(first, left.count)


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
