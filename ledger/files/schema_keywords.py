"""What one keyword of a schema says is wrong: the words for each, before the schema's own."""

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from ledger.files import schema_fault, spelling
from ledger.files.document import as_list, mapping_of
from ledger.files.schema_fault import Fault, SchemaError, described, listed, name_of, quoted
from ledger.files.schemas import FIRST_YEAR, FORMATS, LAST_YEAR
from ledger.files.typed_moments import moment_readings
from ledger.files.units import key_in, unit_of_key
from ledger.values import replace


def unknown_keys(error: SchemaError) -> Iterator[Fault]:
    """The keys that `error` says nobody knows, each with what it may have been meant to be."""
    if error.keyword != "additionalProperties":
        return
    mapping, allowed = error.value, mapping_of(error.schema).get("properties", {})
    for key, value in mapping.items():
        if key in allowed:
            continue
        nearest = spelling.nearest_key(key, allowed, mapping)
        fault = Fault(
            pointer=(*error.path, key),
            key=True,
            rule="unknown-key",
            message=f"there is no key {quoted(key)} here",
            expected="" if nearest else f"one of {listed(sorted(allowed))}",
            nearest=nearest,
            remedy="correct the spelling, or remove the key",
        )
        if value is None and key.endswith(":") and key[:-1] in allowed:
            yield replace(
                fault,
                rule="wrong-type",
                message=f"{quoted(key[:-1])} is empty",
                expected="",
                nearest="",
                remedy=schema_fault.of_wrong_type(None, (), is_free_text=False),
            )
        elif not nearest and isinstance(value, str) and value in allowed and value not in mapping:
            yield replace(
                fault,
                message=f"`{value}` is the key, and {quoted(key)} its value",
                expected="",
                remedy=f"swap the two: {value}: {key}",
            )
        else:
            yield fault


def of_keyword(error: SchemaError) -> Iterator[Fault]:
    """The faults of an error."""
    if error.keyword == "additionalProperties":
        yield from unknown_keys(error)
    elif error.keyword == "required":
        yield from _missing(error)
    elif error.keyword == "uniqueItems":
        yield from _repeated(error)
    elif error.keyword == "not":
        yield from _conflict(error)
    elif "propertyNames" in error.way:
        yield _bad_key(error)
    else:
        yield _FAULT_OF[error.keyword](error)


def _not_here(error: SchemaError) -> Fault:
    return Fault(
        pointer=error.path,
        key=True,
        rule="key-not-allowed-here",
        message=f"{name_of(error.path)} does not belong here",
        remedy="take the key away",
    )


def _none_of_several(error: SchemaError) -> Fault:
    keys = [key for one in error.limit for key in one["required"]]
    return Fault(
        pointer=error.path,
        rule="missing-key",
        message=f"{name_of(error.path)} lacks a key it needs",
        expected=error.expected or f"one of {listed(keys)}",
        remedy="add one of them",
    )


def _no_choice(error: SchemaError) -> Fault:
    is_one = error.keyword == "const"
    words = [error.limit] if is_one else error.limit
    return Fault(
        pointer=error.path,
        rule="not-allowed-value",
        message=f"{name_of(error.path)} cannot be {quoted(error.value)}",
        expected=listed(words) if is_one else f"one of {listed(words)}",
        nearest=_nearest_choice(error.value, words),
    )


def _out_of_range(error: SchemaError) -> Fault:
    beyond = f"{schema_fault.BOUNDS[error.keyword][1]} {error.limit}"
    return Fault(
        pointer=error.path,
        rule="out-of-range",
        message=f"{name_of(error.path)} is {error.value}, {beyond}",
        expected=described(error.place),
    )


def _repeated(error: SchemaError) -> Iterator[Fault]:
    for index, item in enumerate(error.value):
        if item in error.value[:index]:
            yield Fault(
                pointer=(*error.path, index),
                rule="repeated-item",
                message=f"{quoted(item)} is in the list twice",
                expected="each item once",
                remedy="remove one of the two",
            )


def _nearest_choice(value: Any, words: list[Any]) -> str:
    """The word or number of a choice that `value` was most likely meant to be, or ""."""
    known = [word for word in words if isinstance(word, str)]
    if isinstance(value, bool):
        value = "yes" if value else "no"
    if not isinstance(value, str):
        return ""
    number = spelling.nearest_number(value)[0] if len(known) < len(words) else ""
    if number in map(schema_fault.scalar_text, words):
        return number
    return spelling.value_meant(value, known) or spelling.nearest_word(value, known)


def _missing(error: SchemaError) -> Iterator[Fault]:
    schema = mapping_of(error.schema)
    for key in error.limit:
        if key not in error.value:
            is_known = key in schema.get("properties", {})
            shape = described(error.place.step("properties").step(key)) if is_known else ""
            # Beside a condition its own words tell why; the words of what is around do not.
            expected = f"{key}: {shape}" if shape else schema.get("x-expected", f"the key {key}")
            yield Fault(
                pointer=error.path,
                rule="missing-key",
                message=f"the key `{key}` is missing",
                expected=expected,
                remedy=f"add `{key}`",
            )


def _conflict(error: SchemaError) -> Iterator[Fault]:
    present = [key for key in mapping_of(error.value) if key in error.limit["required"]]
    # What is no mapping breaks such a rule too; then its type is told.
    if present:
        yield Fault(
            # The last of them in the file is the one that came too many.
            pointer=(*error.path, present[-1]),
            key=True,
            rule="conflicting-keys",
            message=" and ".join(f"`{key}`" for key in present) + " cannot be used together",
            remedy="keep one of them",
        )


def _wrong_type(error: SchemaError) -> Fault:
    pointer = error.path
    value = error.value
    kinds = as_list(error.limit)
    is_free_text = "string" in kinds and not {"pattern", "format"} & set(error.schema)
    nearest, other_unit = "", ""
    key = pointer[-1] if pointer and isinstance(pointer[-1], str) else ""
    if isinstance(value, str) and {"number", "integer"} & set(kinds):
        nearest, other_unit = spelling.nearest_number(value, key)
    elif "boolean" in kinds:
        nearest = spelling.nearest_boolean(value)
    elif "array" in kinds:
        nearest = spelling.nearest_list(value, of_numbers=_is_of_numbers(error.schema))
    elif is_free_text and isinstance(value, bool | int | float):
        nearest = f'"{schema_fault.scalar_text(value)}"'
    shown = f": {quoted(value)}" if isinstance(value, str | int | float) else ""
    remedy = schema_fault.of_wrong_type(value, kinds, is_free_text=is_free_text)
    if other_unit:
        twin = key_in(other_unit, key, schema_fault.keys_beside(error))
        remedy = (
            f"write the number alone, under `{twin}`"
            if twin
            else f"convert {other_unit} to {unit_of_key(key)}, and write the number alone"
        )
    return Fault(
        pointer=pointer,
        rule="wrong-type",
        message=f"{name_of(pointer)} is {schema_fault.kind_of(value)}{shown}"
        + (f", which is in {other_unit}" if other_unit else ""),
        expected=described(error.place) if "x-expected" not in error.schema else "",
        nearest=nearest,
        remedy=remedy,
    )


def _is_of_numbers(schema: Any) -> bool:
    items = [*mapping_of(schema).get("prefixItems", ()), mapping_of(schema).get("items")]
    return any(mapping_of(item).get("type") == "number" for item in items)


_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")

_DAY_AND_TIME = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ]([0-9]{2}):([0-9]{2}).*")

_TIME_ALONE = re.compile(
    r"\s*[0-9]{1,2}(?:[:.h][0-9]{2}(?::[0-9]{2})?)?\s*(?:[ap][.]?m[.]?)?\s*", re.IGNORECASE
)


def _bad_format(error: SchemaError) -> Fault:
    pointer, text, rule = error.path, error.value, "bad-format"
    nearest, remedy = "", ""
    message = f"{name_of(pointer)} cannot be {quoted(text)}"
    if error.keyword != "format":
        nearest = spelling.nearest_text(text, _fits(error.limit))
    else:
        name = error.limit
        readings = moment_readings(text, FORMATS[name])
        nearest = " or ".join(readings)
        clock = _DAY_AND_TIME.fullmatch(text)
        if len(readings) > 1:
            remedy = "write the day you mean: the year first, then the month, then the day"
        if name != "date" and _TIME_ALONE.fullmatch(text):
            message = f"{quoted(text)} has a time and no day"
            remedy = "write the day before it"
        elif name != "date" and _DAY.fullmatch(text) and FORMATS["date"](text):
            message = f"{quoted(text)} has a day and no time"
            remedy = "write T and the time after it"
        elif clock and not (int(clock[1]) < 24 and int(clock[2]) < 60):
            rule, message = "impossible-time", f"{quoted(text)} is not a time: a day ends at 23:59"
            remedy = "" if nearest else "write an hour from 00 to 23 and a minute from 00 to 59"
        elif clock or _DAY.fullmatch(text):
            if not nearest:
                rule, message = "impossible-date", f"there is no {quoted(text)} in the calendar"
            if not FIRST_YEAR <= int(text[:4]) <= LAST_YEAR:
                rule = "impossible-year"
                message = f"{quoted(text)} is not in the years {FIRST_YEAR} to {LAST_YEAR}"
    return Fault(pointer=pointer, rule=rule, message=message, nearest=nearest, remedy=remedy)


def _bad_key(error: SchemaError) -> Fault:
    key = error.value
    fits = _fits(error.limit) if error.keyword == "pattern" else None
    words = error.limit if error.keyword == "enum" else ()
    return Fault(
        pointer=(*error.path, key),
        key=True,
        rule="bad-key",
        message=f"{quoted(key)} cannot be a key here",
        expected=f"one of {listed(words)}" if words else "",
        nearest=spelling.nearest_text(key, fits) if fits else spelling.nearest_word(key, words),
    )


def _wrong_size(error: SchemaError) -> Fault:
    """A text, list or mapping that is too long or too short."""
    keyword, size = error.keyword, len(error.value)
    is_text = isinstance(error.value, str)
    part = "character" if is_text else "item" if isinstance(error.value, list) else "key"
    # `items: false` after `prefixItems` allows no more than those.
    limit = len(error.schema["prefixItems"]) if keyword == "items" else error.limit
    is_too_much = keyword == "items" or keyword.startswith("max")
    expected = f"{'at most' if is_too_much else 'at least'} {limit}"
    if is_text:
        expected = f"{expected} characters" if size else "text"
        what = f"is too {'long' if is_too_much else 'short'}" if size else "is empty"
    else:
        expected = "" if "x-expected" in error.schema else expected
        what = f"has {size} {part}{'' if size == 1 else 's'}"
    return Fault(
        pointer=error.path,
        rule="wrong-length",
        message=f"{name_of(error.path)} {what}",
        expected=expected,
        remedy=schema_fault.of_size(part, is_too_much=is_too_much, is_empty=size == 0),
    )


def _fits(pattern: str) -> Callable[[str], bool]:
    return lambda text: re.search(pattern, text) is not None


_FAULT_OF: Mapping[str, Callable[[SchemaError], Fault]] = {
    schema_fault.NEVER: _not_here,
    "anyOf": _none_of_several,
    "type": _wrong_type,
    **dict.fromkeys(("enum", "const"), _no_choice),
    **dict.fromkeys(schema_fault.BOUNDS, _out_of_range),
    **dict.fromkeys(("pattern", "format"), _bad_format),
    **dict.fromkeys(
        ("minLength", "maxLength", "minItems", "maxItems", "minProperties", "items"), _wrong_size
    ),
}
