"""Explain slowly what a schema finds wrong: each fault at its line, in the trade's words.

A key that is plainly a misspelling is read as what it was meant to
be before the rest is judged, so that one slip gives one diagnostic: `secnds` is not also reported
as a missing `seconds`. Explaining one item takes a hundred times as long as accepting it, so of a
long collection the first items at fault are explained, and the fast validator counts the others.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import islice
from typing import Any

from ledger.files import diagnostics, schema_fault
from ledger.files.diagnostics import MOST_OF_A_KIND, Diagnostic
from ledger.files.document import Document, Pointer, mapping_of
from ledger.files.paths import Kind
from ledger.files.schema_fault import NEVER, Fault, Place, SchemaError, name_of
from ledger.files.schema_keywords import of_keyword, unknown_keys
from ledger.files.schemas import Schemas, uri_of
from ledger.files.slips import MAX_MENDED_FAULTS, find_slip, in_place_of
from ledger.files.yaml_fast import RefusedError, accept
from ledger.values import asdict, replace

# Beyond those of its long collections, no file that a person wrote has so many.
_MOST_ERRORS = 500

# A file with more faults was not mistyped: it is of another form altogether.
_MOST_MENDED = 30


def explain_with_slips(document: Document, schemas: Schemas) -> list[Diagnostic]:
    """Every fault of `document`, a slip in the place of the faults that are gone without it."""
    found = explain(document, schemas)
    if diagnostics.count_of(found) > _MOST_MENDED:
        return found
    for line in sorted({one.position.line for one in found})[:MAX_MENDED_FAULTS]:
        found = _with_slip(found, line, document, schemas)
    return diagnostics.in_reading_order(found)


def _with_slip(
    found: list[Diagnostic], line: int, document: Document, schemas: Schemas
) -> list[Diagnostic]:
    def faults_left(text: str) -> list[Diagnostic]:
        try:
            value = accept(text)
        except RefusedError:
            return found
        return explain(replace(document, value=value, read=lambda _: text), schemas)

    def is_better(text: str) -> bool:
        left = faults_left(text)
        here, still = (
            [one for one in faults if one.position.line == line] for faults in (found, left)
        )
        # Text in quotes where no text may stand is no cure.
        is_no_cure = any(one.rule == "wrong-type" for one in still)
        return len(left) < len(found) and len(still) < len(here) and not is_no_cure

    slip = find_slip(document.text, document.path, [line], is_better)
    return found if slip is None else in_place_of(slip, found, faults_left(slip.text))


def explain(document: Document, schemas: Schemas) -> list[Diagnostic]:
    """Every fault of `document`, in reading order; [] where there is none."""
    shown = _Excerpt(document, schemas)
    errors = list(islice(errors_of(shown.value, document.kind, schemas), _MOST_ERRORS))
    found = [fault for error in errors for fault in unknown_keys(error)]
    misspelt = {fault.pointer: fault.nearest for fault in found if fault.nearest}
    lacking: frozenset[Fault] | None = None
    if misspelt:
        # What a guessed key would need beside it is not asked for: the guess may be wrong.
        lacking = frozenset(fault for error in errors for fault in faults_of(error))
        respelt = _respelt(shown.value, (), misspelt)
        errors = list(islice(errors_of(respelt, document.kind, schemas), _MOST_ERRORS))
    guessed = {(*where[:-1], meant) for where, meant in misspelt.items()}
    # What a mapping with an unknown key lacks besides is most likely what that key was meant to be.
    strangers = {fault.pointer[:-1] for fault in found if not fault.nearest}
    # What a value of the wrong type lacks besides is no news.
    wrong_type = {error.path for error in errors if error.keyword == "type"}
    for error in errors:
        if error.keyword != "type" and error.path in wrong_type:
            continue
        for fault in faults_of(error):
            # What a guessed key holds is not judged: the guess may be wrong.
            heads = {fault.pointer[:length] for length in range(len(fault.pointer) + 1)}
            is_no_news = fault.rule == "missing-key" and (
                fault.pointer in strangers or (lacking is not None and fault not in lacking)
            )
            if fault.rule != "unknown-key" and not heads & guessed and not is_no_news:
                found.append(fault)
    told = [document.diagnose(**asdict(fault)) for fault in found]
    return diagnostics.shortened([*told, *shown.faults])


def errors_of(value: Any, kind: Kind, schemas: Schemas) -> Iterator[SchemaError]:
    """What the schema of a kind finds wrong with a value."""
    root = schemas.by_uri[uri_of(kind)]
    origin = Place(schemas, root, root)
    return (_error(found, value, origin) for found in schemas.errors(kind, value))


def _error(found: Any, value: Any, origin: Place) -> SchemaError:
    """An error as jsonschema_rs tells it, told of the schemas as they are written."""
    kind = found.kind
    if kind.name == "propertyNames":
        # The key is the value of what is wrong with it.
        return replace(_error(kind.error, value, origin), value=kind.error.instance)
    path, part = _walked(found.instance_path, value)
    way = tuple(found.evaluation_path[1:])
    if kind.name != NEVER:
        keyword = way[-1]
    elif way[-1] == "items":
        # A list that is too long, as is told of the list.
        keyword = "items"
        path, part = _walked(path[:-1], value)
    else:
        keyword = NEVER
    return SchemaError(
        value=part,
        path=path,
        way=way,
        keyword=keyword,
        origin=origin,
    )


def _walked(path: Iterable[str | int], value: Any) -> tuple[Pointer, Any]:
    """The path as the value has it, and the part that it leads to.

    jsonschema_rs gives a key of digits, such as `000`, as the number.
    """
    steps: list[str | int] = []
    for step in path:
        is_there = not isinstance(value, dict) or step in value
        steps.append(step if is_there else next(one for one in value if _is_number(one, step)))
        value = value[steps[-1]]
    return tuple(steps), value


def _is_number(key: str, step: str | int) -> bool:
    return key.isdecimal() and int(key) == step


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


class _Excerpt:
    """A document's value without the parts that need no explaining, items in their places.

    Collections are cut at the two top levels. `faults` are what the value does not show any more:
    lists that are too long, and how many parts at fault were left out.
    """

    def __init__(self, document: Document, schemas: Schemas) -> None:
        self._document = document
        self._schemas = schemas
        self.faults: list[Diagnostic] = []
        schema = mapping_of(schemas.by_uri[uri_of(document.kind)])
        self.value = self._cut(document.value, schema, (), "")
        if isinstance(self.value, dict):
            parts = mapping_of(schema.get("properties"))
            self.value = {
                key: self._cut(part, mapping_of(parts.get(key)), (key,), f"/properties/{key}")
                for key, part in self.value.items()
            }

    def _cut(self, part: Any, schema: Mapping[str, Any], pointer: Pointer, where: str) -> Any:
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
        accepts = self._schemas.part_accepts(self._document.kind, f"{where}/items")
        at_fault = [number for number, item in enumerate(items) if not accepts(item)]
        explained = self._explained(at_fault, pointer)
        most = schema.get("maxItems", len(items))
        if len(items) > most:
            too_long = self._document.diagnose(
                pointer,
                rule="wrong-length",
                message=f"{name_of(pointer)} has {len(items)} items",
                expected=schema.get("x-expected", f"at most {most}"),
                remedy=schema_fault.of_size("item", is_too_much=True),
            )
            self.faults.append(too_long)
        return items[: explained[-1] + 1 if explained else 1]

    def _mapping(
        self, mapping: dict[str, Any], schema: Mapping[str, Any], pointer: Pointer, where: str
    ) -> dict[str, Any]:
        known = mapping_of(schema.get("properties"))
        others = {key: value for key, value in mapping.items() if key not in known}
        at_fault = self._at_fault(others, schema, where)
        is_unknown_key = schema.get("additionalProperties") is False
        kept = {*known, *self._explained(at_fault, pointer, is_unknown_key=is_unknown_key)}
        # One that is in order stays, so that the mapping does not look empty.
        kept |= set(list(others.keys() - set(at_fault))[:1])
        return {key: value for key, value in mapping.items() if key in kept}

    def _at_fault(self, others: dict[str, Any], schema: Mapping[str, Any], where: str) -> list[str]:
        def accepts(keyword: str) -> Callable[[Any], bool]:
            if keyword not in schema:
                return lambda _: True
            return self._schemas.part_accepts(self._document.kind, f"{where}/{keyword}")

        fits, can_be_key = accepts("additionalProperties"), accepts("propertyNames")
        return [key for key, value in others.items() if not (fits(value) and can_be_key(key))]

    def _explained(
        self, at_fault: list[Any], pointer: Pointer, *, is_unknown_key: bool = False
    ) -> list[Any]:
        """The first keys or numbers of parts at fault; the others are told as a number."""
        if beyond := at_fault[MOST_OF_A_KIND:]:
            first = self._document.diagnose(
                (*pointer, beyond[0]),
                key=is_unknown_key,
                rule="unknown-key" if is_unknown_key else "more-at-fault",
                message="there are more faults",
                remedy=diagnostics.CORRECT_THE_FIRST,
            )
            self.faults.append(diagnostics.more_like(first, len(beyond)))
        return at_fault[:MOST_OF_A_KIND]


def faults_of(error: SchemaError) -> Iterator[Fault]:
    """The faults that `error` stands for, in the schema's words where it has its own."""
    for fault in of_keyword(error):
        yield replace(
            fault,
            expected=fault.expected or error.expected,
            remedy=fault.remedy or schema_fault.of_rule(fault.rule, fault.nearest),
        )
