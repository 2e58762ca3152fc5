"""Parts of pages as text and back, so that they can be kept from one run to the next.

Values of dataclasses, words of a list, tuples and days differ from plain JSON by their name.
Of a picture its words are kept and the hash of what is drawn, which is a file of its own.
"""

import json
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from enum import StrEnum
from functools import cache, partial
from typing import Any, TypeVar

from ledger.book import blocks
from ledger.book.blocks import Axis, Picture, Plot
from ledger.files.survey import content_hash
from ledger.values import dataclass, fields, is_dataclass

T = TypeVar("T")

_TUPLE, _TUPLES, _DAY = "", "rows", "day"


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPlot(Plot):
    """A plot that was drawn before, and the hash of its file."""

    drawn: str


_NO_AXIS = Axis(label="")

_KNOWN: dict[str, type] = {}

_READ: dict[str, Callable[[Any], Any]] = {
    _TUPLE: tuple,
    _TUPLES: lambda rows: [*map(tuple, rows)],
    _DAY: date.fromisoformat,
}
"""How what stands for a value is read, by the name that it has."""


def kept(kind: type[T]) -> type[T]:
    """Let values of a dataclass, a named tuple or a list of words be written; for other rooms."""
    _KNOWN[kind.__name__] = kind
    _READ[kind.__name__] = kind if issubclass(kind, StrEnum) else partial(_made, kind)
    return kind


def _made(kind: Any, held: Sequence[Any]) -> Any:
    return kind(**dict(zip(_fields(kind), held, strict=True)))


for _kind in (*vars(blocks).values(), KeptPlot):
    if isinstance(_kind, type) and (is_dataclass(_kind) or issubclass(_kind, StrEnum)):
        kept(_kind)


def to_text(value: object, drawn: dict[str, bytes] | None = None) -> str:
    """Raises TypeError for what is not known here.

    `drawn` are pictures by their paths: each is drawn once and put there.
    """
    return json.dumps(_plain(value, {} if drawn is None else drawn), separators=(",", ":"))


def from_text(text: str) -> Any:
    """The value written by `to_text`, equal to it but for what pictures show."""
    return json.loads(text, object_hook=_value)


def _plain(value: Any, drawn: dict[str, bytes]) -> Any:
    if type(value) in _AS_IT_IS:
        return value
    if type(value) is list:
        if {*map(type, value)} == {tuple}:
            return {_TUPLES: [_each(one, drawn) for one in value]}
        return _each(value, drawn)
    if type(value) is tuple:
        return {_TUPLE: _each(value, drawn)}
    if type(value) is date:
        return {_DAY: value.isoformat()}
    name = type(value).__name__
    if _KNOWN.get(name) is not type(value):
        if isinstance(value, StrEnum):
            return value.value
        raise TypeError(f"cannot be kept: {type(value)}")
    if isinstance(value, StrEnum):
        return {name: value.value}
    if isinstance(value, Picture):
        value = Picture(value.path, kept_plot(value, drawn), value.is_small)
    return {name: _each((getattr(value, one) for one in _fields(value.__class__)), drawn)}


_AS_IT_IS = frozenset({str, int, float, bool, type(None)})


def _each(values: Iterable[Any], drawn: dict[str, bytes]) -> list[Any]:
    return [one if type(one) in _AS_IT_IS else _plain(one, drawn) for one in values]


@cache
def _fields(kind: Any) -> tuple[str, ...]:
    return kind._fields if issubclass(kind, tuple) else tuple(one.name for one in fields(kind))


def _value(named: dict[str, Any]) -> Any:
    ((name, held),) = named.items()
    return _READ[name](held)


def kept_plot(picture: Picture, drawn: dict[str, bytes]) -> KeptPlot:
    """The words of a picture's plot, and the hash of what it shows, which is put among `drawn`."""
    plot = picture.plot
    if isinstance(plot, KeptPlot):
        return plot
    # Whoever prints one machine draws nothing.
    from ledger.book import svg  # noqa: PLC0415

    if picture.path not in drawn:
        drawn[picture.path] = svg.draw(picture).encode()
    shown = content_hash(drawn[picture.path])
    return KeptPlot(title=plot.title, summary=plot.summary, x=_NO_AXIS, y=_NO_AXIS, drawn=shown)
