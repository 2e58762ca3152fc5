"""The program's own dataclass beside that of the standard library, on the same class bodies."""

import ast
import copy
import dataclasses
import pickle
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ledger import values

LIBRARY: Callable[..., Any] = dataclasses.dataclass
OWN: Callable[..., Any] = values.dataclass
BOTH = pytest.mark.parametrize("dataclass", [LIBRARY, OWN], ids=["library", "own"])


def bodies(dataclass: Callable[..., Any]) -> dict[str, Any]:
    @dataclass(frozen=True, slots=True, kw_only=True)
    class Reading:
        """A value."""

        at: str
        value: float = 1.5
        notes: dict[str, int] = dataclasses.field(default_factory=dict, hash=False)
        line: str = dataclasses.field(default="", compare=False)
        secret: str = dataclasses.field(default="", repr=False)

    @dataclass(frozen=True, slots=True)
    class Pair:
        """Two values by their place."""

        first: int
        second: int = 2
        _: dataclasses.KW_ONLY
        third: int = 3

    @dataclass(frozen=True, kw_only=True)
    class Base:
        """With a check of its own, and room for more."""

        low: int

        def __post_init__(self) -> None:
            if self.low < 0:
                raise ValueError("below zero")

    @dataclass(frozen=True, kw_only=True)
    class Derived(Base):
        """One more field."""

        high: int = 9

    @dataclass(slots=True)
    class Open:
        """Not frozen."""

        found: list[int] = dataclasses.field(default_factory=list)

    @dataclass(frozen=True, slots=True)
    class Empty:
        """No field."""

    @dataclass(frozen=True, slots=True)
    class Own:
        """Its own methods stay."""

        value: int

        def __eq__(self, other: object) -> bool:
            return isinstance(other, Own) and self.value % 10 == other.value % 10

        def __hash__(self) -> int:
            return self.value % 10

        def __repr__(self) -> str:
            return f"<{self.value}>"

    @dataclass(frozen=True, eq=False)
    class Single:
        """Equal to itself alone."""

        value: int

    kinds = (Reading, Pair, Base, Derived, Open, Empty, Own, Single)
    return {kind.__name__: kind for kind in kinds}


CALLS: tuple[tuple[str, tuple[Any, ...], dict[str, Any]], ...] = (
    ("Reading", (), {"at": "a"}),
    ("Reading", (), {"at": "a", "value": 2, "notes": {"n": 1}, "line": "x", "secret": "s"}),
    ("Reading", (), {"at": "a", "line": "y"}),
    ("Reading", (), {}),
    ("Reading", ("a",), {}),
    ("Reading", (), {"at": "a", "wrong": 1}),
    ("Pair", (1,), {}),
    ("Pair", (1, 2), {"third": 3}),
    ("Pair", (2, 1), {}),
    ("Pair", (1, 2, 3), {}),
    ("Base", (), {"low": 1}),
    ("Base", (), {"low": -1}),
    ("Derived", (), {"low": 1}),
    ("Derived", (), {"low": -1, "high": 2}),
    ("Open", (), {}),
    ("Open", ([1],), {}),
    ("Empty", (), {}),
    ("Own", (3,), {}),
    ("Own", (13,), {}),
    ("Single", (3,), {}),
)


def made(kinds: dict[str, Any], name: str, by_place: tuple[Any, ...], by_name: Any) -> Any:
    """A value, or the kind of error and what it says of the arguments."""
    try:
        return kinds[name](*by_place, **by_name)
    except (TypeError, ValueError) as error:
        return type(error), str(error)


def told(one: Any) -> str:
    return repr(one).replace("bodies.<locals>.", "")


def test_both_make_and_refuse_the_same():
    ours, theirs = bodies(OWN), bodies(LIBRARY)
    for call in CALLS:
        assert told(made(ours, *call)) == told(made(theirs, *call)), call


def test_both_find_the_same_equal_and_hash_alike():
    def compared(kinds: dict[str, Any]) -> list[tuple[bool, bool]]:
        found = [one for call in CALLS if not isinstance(one := made(kinds, *call), tuple)]
        hashed = [one for one in found if type(one).__hash__ is not None]
        pairs = [(one == two, False) for one in found for two in found]
        return pairs + [
            (one == two, one != two or hash(one) == hash(two)) for one in hashed for two in hashed
        ]

    ours = compared(bodies(OWN))
    assert ours == compared(bodies(LIBRARY))
    assert any(equal for equal, _ in ours)
    assert bodies(OWN)["Open"].__hash__ is None


@BOTH
def test_a_frozen_value_cannot_be_changed(dataclass: Callable[..., Any]):
    kinds = bodies(dataclass)
    for name, values_of in (("Reading", {"at": "a"}), ("Pair", {"first": 1}), ("Base", {"low": 1})):
        one = kinds[name](**values_of)
        (field, *_) = values_of
        with pytest.raises(dataclasses.FrozenInstanceError):
            setattr(one, field, 5)
        with pytest.raises(dataclasses.FrozenInstanceError):
            delattr(one, field)
        assert getattr(one, field) == values_of[field]
    kinds["Open"]().found = [2]


@BOTH
def test_a_value_is_replaced_matched_and_taken_apart(dataclass: Callable[..., Any]):
    kinds = bodies(dataclass)
    one = kinds["Reading"](at="a", notes={"n": 1})
    assert dataclasses.replace(one, value=3) == kinds["Reading"](at="a", value=3, notes={"n": 1})
    assert dataclasses.asdict(one)["notes"] == {"n": 1}
    assert [field.name for field in dataclasses.fields(kinds["Derived"])] == ["low", "high"]
    assert kinds["Pair"].__match_args__ == ("first", "second")
    assert copy.copy(one) == copy.deepcopy(one) == one


@values.dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """What goes to another process."""

    name: str
    number: int = 1


def test_a_frozen_value_can_go_to_another_process():
    assert pickle.loads(pickle.dumps(Sent(name="a", number=2))) == Sent(name="a", number=2)


def test_every_class_of_the_program_is_made_so():
    package = Path(values.__file__).parent
    found = {
        path.relative_to(package).as_posix()
        for path in package.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and node.module == "dataclasses"
    }
    assert found == {"values.py"}
