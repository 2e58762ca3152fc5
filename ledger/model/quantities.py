"""From the keys of a checked file to the fields of the model: days, numbers, US and SI units."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from functools import cache, partial
from types import NoneType, UnionType
from typing import Any, NamedTuple, TypeAlias, TypeVar, get_args, get_origin, get_type_hints

from ledger.compute.numbers import convert, quantity_of
from ledger.files.units import UNITS
from ledger.values import MISSING, fields, is_dataclass

T = TypeVar("T")

UNIT_OF_ENDING = {one.ending: one.converts for one in UNITS if one.converts}
"""The ending of a key or of a field, and the unit that it names."""

# A factor leads from one of these to another; degrees have an offset too.
_SCALED = {e: unit for e, unit in UNIT_OF_ENDING.items() if quantity_of(unit) != "temperature"}


def filled(kind: Callable[..., T], keys: Mapping[str, Any], **known: Any) -> T:
    """A `kind` with each field from the key of its name, as the field's type; `known` as given.

    A field may state another key in its metadata, such as `from`, or `costs.planned` for one that
    stands within another. One that ends with a unit takes the key that ends with it or with
    another such unit, and converts. A field without its key keeps its default; KeyError where it
    has none.
    """
    fields_by_key, within, needed = _shape_of(kind)
    for key in keys:
        name, read = fields_by_key.get(key, _NO_FIELD)
        if name and name not in known:
            known[name] = read(keys[key])
    for outer, key, name, read in within:
        if key in (held := keys.get(outer, {})):
            known[name] = read(held[key])
    for name, key in needed:
        if name not in known:
            known[name] = keys[key]
    return kind(**known)


_Read: TypeAlias = Callable[[Any], Any]

_NO_FIELD: tuple[str, _Read] = "", str


class _Shape(NamedTuple):
    """The field that each key fills, and how it is read; keys within others; and what must be."""

    by_key: Mapping[str, tuple[str, _Read]]
    within: Sequence[tuple[str, str, str, _Read]]
    needed: Sequence[tuple[str, str]]


@cache
def _shape_of(kind: Any) -> _Shape:
    types = get_type_hints(kind)
    by_key, within, needed = {}, [], []
    for field in fields(kind):
        outer, _, own_key = field.metadata.get("key", field.name).rpartition(".")
        if outer:
            within.append((outer, own_key, field.name, _reader_of(types[field.name])))
            continue
        for key, factor in _factors_of(own_key).items():
            by_key[key] = field.name, _reader_of(types[field.name], factor)
        if field.default is MISSING and field.default_factory is MISSING:
            needed.append((field.name, own_key))
    return _Shape(by_key, within, needed)


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


def _reader_of(kind: Any, factor: float = 1.0) -> _Read:
    """How a field of a type is read of a value of a file."""
    origin, parts = get_origin(kind), get_args(kind)
    if origin is UnionType:
        return _reader_of(next(one for one in parts if one is not NoneType), factor)
    if origin is tuple:
        read_one = _reader_of(parts[0], factor)
        return lambda values: tuple(map(read_one, values))
    if kind is float:
        return lambda value: float(value) * factor
    if kind is date:
        return date.fromisoformat
    if is_dataclass(origin or kind):
        return partial(filled, kind)
    read: _Read = getattr(kind, "parse", origin or kind)
    return read


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
