"""One file of a site as a value, with the place of each part of it on request."""

from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Unpack

from ledger.files.diagnostics import Diagnostic, FaultText, Position
from ledger.files.paths import Kind
from ledger.files.text import line_of
from ledger.values import dataclass, field, replace

if TYPE_CHECKING:
    from ledger.files.yaml_slow import Explained


Pointer = tuple[str | int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """A file that has been read.

    `value` is made of dict, list, str, int, float, bool and None; dates are still text. It is
    shared, so nobody changes it. `read` gives the file's text by its path, with LF line ends and
    without a leading byte order mark; it is read again where a place is asked for, since a site
    has too many files to hold their texts. `ident` is the id that the file's name gives, `digest`
    stands for path and bytes.
    """

    kind: Kind
    path: str
    ident: str
    value: Any = field(hash=False)
    read: Callable[[str], str] = field(repr=False, hash=False, compare=False)
    digest: str = ""

    @property
    def text(self) -> str:
        return self.read(self.path)

    def locate(self, pointer: Pointer, *, key: bool = False) -> Position:
        """The place of the value at `pointer` (keys and item numbers from 0), or of its key.

        Where the document has no such part, the place of the nearest part around it. A key is
        where its value is looked for if the part is an item of a list.
        """
        places = _places(self.text)
        for length in range(len(pointer), -1, -1):
            part = pointer[:length]
            wanted = places.keys if key and length == len(pointer) else places.values
            place = wanted.get(part) or places.values.get(part)
            if place is not None:
                return replace(place, path=self.path)
        return Position(path=self.path)

    def diagnose(
        self, pointer: Pointer, *, key: bool = False, **text: Unpack[FaultText]
    ) -> Diagnostic:
        """A diagnostic about the value at `pointer`, or about its key."""
        position = self.locate(pointer, key=key)
        return Diagnostic(position=position, source_line=line_of(self.text, position.line), **text)


def mapping_of(value: Any) -> Mapping[str, Any]:
    """A value of a document as a mapping, empty where it is none."""
    return value if isinstance(value, Mapping) else {}


def list_of(value: Any) -> list[Any]:
    """A value of a document as a list, empty where it is none."""
    return value if isinstance(value, list) else []


def as_list(value: Any) -> list[Any]:
    """A list as it is, what stands in place of one as its item, and nothing as no item."""
    return value if isinstance(value, list) else [] if value is None else [value]


def each_at(pointer: Pointer, value: Any) -> Iterator[tuple[Pointer, Any]]:
    """Each item of a list with its own pointer, or what stands in place of a list with its."""
    if isinstance(value, list):
        yield from (((*pointer, index), item) for index, item in enumerate(value))
    else:
        yield pointer, value


@lru_cache(maxsize=512)
def _places(text: str) -> "Explained":
    # Imported when the first place is asked for: a site without faults never pays for ruamel.
    from ledger.files.yaml_slow import located  # noqa: PLC0415

    return located(text)
