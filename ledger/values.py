"""The dataclasses of this program, whose methods are made when they are first used.

Those of the standard library get six functions each, written and compiled as the class is
defined. That took half the time of a command's imports, and most commands use few of the classes
that they import. Here the methods of all classes are the same ones, over the class's own fields,
but for `__init__`, which has to be fast: it is written where the first value is made.

Beside them what gathers values by something that they have.
"""

import dataclasses
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import (
    KW_ONLY,
    MISSING,
    FrozenInstanceError,
    asdict,
    field,
    fields,
    is_dataclass,
    replace,
)
from functools import partial
from operator import attrgetter
from typing import TYPE_CHECKING, Any, TypeVar

__all__ = (
    "KW_ONLY",
    "MISSING",
    "asdict",
    "dataclass",
    "field",
    "fields",
    "grouped",
    "is_dataclass",
    "replace",
)

_K = TypeVar("_K")
_T = TypeVar("_T")


def grouped(things: Iterable[_T], key: Callable[[_T], _K]) -> defaultdict[_K, list[_T]]:
    """The things of each key, in their order, the keys as they come; none of any other key."""
    found: defaultdict[_K, list[_T]] = defaultdict(list)
    for one in things:
        found[key(one)].append(one)
    return found


def _dataclass(
    cls: Any = None,
    /,
    *,
    frozen: bool = False,
    eq: bool = True,
    order: bool = False,
    **layout: bool,
) -> Any:
    """As `dataclasses.dataclass`; `layout` is `slots` and `kw_only`."""
    if cls is None:
        return partial(_dataclass, frozen=frozen, eq=eq, order=order, **layout)
    if order:
        return dataclasses.dataclass(frozen=frozen, order=True, **layout)(cls)
    # Without a docstring the library would write one from a signature.
    cls.__doc__ = cls.__doc__ or cls.__name__
    own = {name for name, value in cls.__dict__.items() if value is not None}
    cls = dataclasses.dataclass(init=False, repr=False, eq=False, **layout)(cls)
    methods = {"__init__": _first_init(cls, frozen=frozen), "__repr__": _repr_of(cls)}
    if eq:
        methods |= _comparing(cls, frozen=frozen)
    if frozen:
        methods |= _freezing(cls)
    for name, method in methods.items():
        if name not in own:
            setattr(cls, name, method)
    return cls


if TYPE_CHECKING:
    from dataclasses import dataclass
else:
    dataclass = _dataclass


def _repr_of(cls: Any) -> Callable[[Any], str]:
    names = [one.name for one in fields(cls) if one.repr]

    def represent(self: Any) -> str:
        shown = [f"{name}={getattr(self, name)!r}" for name in names]
        return f"{type(self).__qualname__}({', '.join(shown)})"

    return represent


def _comparing(cls: Any, *, frozen: bool) -> dict[str, Any]:
    compared = _getter(one.name for one in fields(cls) if one.compare)
    hashed = _getter(
        one.name for one in fields(cls) if (one.compare if one.hash is None else one.hash)
    )

    def equals(self: Any, other: object) -> bool:
        return compared(self) == compared(other) if type(other) is type(self) else NotImplemented

    def hash_of(self: Any) -> int:
        return hash(hashed(self))

    return {"__eq__": equals, "__hash__": hash_of if frozen else None}


def _getter(names: Iterable[str]) -> Callable[[Any], Any]:
    """All of some attributes, as a tuple where they are several."""
    names = tuple(names)
    return attrgetter(*names) if names else lambda _: ()


def _freezing(cls: Any) -> dict[str, Any]:
    """What forbids to set a field, and anything but in a subclass; and how to be pickled."""
    names = {one.name for one in fields(cls)}

    def refuse_to_set(self: Any, name: str, value: object) -> None:
        if type(self) is cls or name in names:
            raise FrozenInstanceError(f"cannot assign to field {name!r}")
        super(cls, self).__setattr__(name, value)

    def refuse_to_delete(self: Any, name: str) -> None:
        if type(self) is cls or name in names:
            raise FrozenInstanceError(f"cannot delete field {name!r}")
        super(cls, self).__delattr__(name)

    def in_parts(self: Any) -> tuple[Any, ...]:
        return _made, (type(self), {one.name: getattr(self, one.name) for one in fields(self)})

    return {
        "__setattr__": refuse_to_set,
        "__delattr__": refuse_to_delete,
        "__reduce__": in_parts,
    }


def _made(cls: Any, values: dict[str, Any]) -> Any:
    return cls(**values)


def _first_init(cls: Any, *, frozen: bool) -> Callable[..., None]:
    """Puts the written `__init__` in its own place, and calls it."""

    def init(self: Any, *args: Any, **kwargs: Any) -> None:
        cls.__init__ = _written_init(cls, frozen=frozen)
        cls.__init__(self, *args, **kwargs)

    return init


def _written_init(cls: Any, *, frozen: bool) -> Any:
    known: dict[str, Any] = {"_set": object.__setattr__, "_missing": object()}
    by_place, by_name, body = ["self"], ["*"], []
    for one in fields(cls):
        asked = value = name = one.name
        if one.default_factory is not MISSING:
            known[f"_new_{name}"] = one.default_factory
            asked, value = f"{name}=_missing", f"_new_{name}() if {name} is _missing else {name}"
        elif one.default is not MISSING:
            known[f"_default_{name}"] = one.default
            asked = f"{name}=_default_{name}"
        (by_name if one.kw_only else by_place).append(asked)
        body.append(f"_set(self, {name!r}, {value})" if frozen else f"self.{name} = {value}")
    if hasattr(cls, "__post_init__"):
        body.append("self.__post_init__()")
    asked_for = ", ".join(by_place + (by_name if len(by_name) > 1 else []))
    exec("\n  ".join([f"def __init__({asked_for}):", *body, "pass"]), known)  # noqa: S102 - of names
    known["__init__"].__qualname__ = f"{cls.__qualname__}.__init__"
    return known["__init__"]
