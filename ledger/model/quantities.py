"""From the keys of a checked file to the fields of the model: days, numbers, US and SI units."""

from collections.abc import Callable, Mapping
from datetime import date
from functools import cache
from types import NoneType, UnionType
from typing import Any, NamedTuple, TypeVar, get_args, get_origin, get_type_hints

from ledger.compute.numbers import convert, quantity_of
from ledger.files.units import UNITS
from ledger.values import MISSING, fields

T = TypeVar("T")

UNIT_OF_ENDING = {one.ending: one.converts for one in UNITS if one.converts}
"""The ending of a key or of a field, and the unit that it names."""

# A factor leads from one of these to another; degrees have an offset too.
_SCALED = {e: unit for e, unit in UNIT_OF_ENDING.items() if quantity_of(unit) != "temperature"}


def filled(kind: Callable[..., T], keys: Mapping[str, Any], **known: Any) -> T:
    """A `kind` with each field from the key of its name, as the field's type; `known` as given.

    A field that ends with a unit takes the key that ends with it or with another such unit, and
    converts. A field without its key keeps its default; KeyError where it has none.
    """
    for field in _fields_of(kind):
        if field.name in known:
            continue
        given = [(keys[key], factor) for key, factor in field.factors.items() if key in keys]
        if given:
            known[field.name] = field.read(*given[0])
        elif field.is_needed:
            known[field.name] = keys[field.name]
    return kind(**known)


class _Field(NamedTuple):
    """A field, the keys it may come from with the factor to its unit, and how it is read."""

    name: str
    factors: Mapping[str, float]
    read: Callable[[Any, float], Any]
    is_needed: bool


@cache
def _fields_of(kind: Any) -> tuple[_Field, ...]:
    types = get_type_hints(kind)
    return tuple(
        _Field(
            field.name,
            _factors_of(field.name),
            _reader_of(types[field.name]),
            is_needed=field.default is MISSING and field.default_factory is MISSING,
        )
        for field in fields(kind)
    )


def _factors_of(name: str) -> Mapping[str, float]:
    # The longest ending counts: `m_per_s` is no time.
    ending = max((one for one in _SCALED if name.endswith(f"_{one}")), key=len, default="")
    if not ending:
        return {name: 1.0}
    unit, stem = _SCALED[ending], name.removesuffix(ending)
    return {
        stem + other: convert(1.0, of, unit)
        for other, of in _SCALED.items()
        if quantity_of(of) == quantity_of(unit)
    }


def _reader_of(kind: Any) -> Callable[[Any, float], Any]:
    if get_origin(kind) is UnionType:
        kind = next(one for one in get_args(kind) if one is not NoneType)
    if kind is float:
        return lambda value, factor: float(value) * factor
    if kind == tuple[float, float]:
        return lambda value, factor: tuple(float(one) * factor for one in value)
    make = date.fromisoformat if kind is date else get_origin(kind) or kind
    return lambda value, _: make(value)


def optional_day(text: str | None) -> date | None:
    """The day of an ISO 8601 date, or None where the file has none."""
    return None if text is None else date.fromisoformat(text)


def optional_float(value: Any) -> float | None:
    return None if value is None else float(value)


def quantity(fields: Mapping[str, Any], stem: str, endings: str, unit: str) -> float | None:
    """The value of `stem_<ending>` for the first of the space-separated endings, in `unit`.

    None where the file has none of them. `oz` is the US fluid ounce.
    """
    for ending in endings.split():
        value = fields.get(f"{stem}_{ending}")
        if value is not None:
            number = float(value)
            return number if ending == unit else convert(number, UNIT_OF_ENDING[ending], unit)
    return None
