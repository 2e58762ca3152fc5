"""What a page is made of, before any markup: text, links, tables, lists and pictures.

Everything typed by a person travels here as plain text and is escaped by the writer; only
`Prose` is CommonMark, and its raw HTML is shown as text.

What a plot shows, in the units of its axes; the writer turns it into a picture.

The names by which headings are linked, the same as the usual git hosts give them.

Results as plain rows of names and values, for JSON and flat tables.
"""

import re
from collections.abc import Callable, Collection, Container, Iterable, Iterator, Sequence
from enum import StrEnum
from itertools import chain, count
from typing import Any, TypeAlias, TypeVar

from ledger.values import dataclass, fields, is_dataclass, replace

_T = TypeVar("_T")


class Mark(StrEnum):
    """The shape of a point; shapes differ so that colour is never needed to tell them apart."""

    DISC = "disc"
    RING = "ring"
    SQUARE = "square"
    DIAMOND = "diamond"
    CROSS = "cross"


class Stroke(StrEnum):
    SOLID = "solid"
    DASHED = "dashed"
    DOTTED = "dotted"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """One point; `half_width` is the half length of its uncertainty bar, 0 for none."""

    x: float
    y: float
    half_width: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Samples:
    """Points of one meaning, named in the key below the plot.

    One without points keeps its place, so that the others keep their colours.
    """

    name: str
    mark: Mark
    points: Sequence[Sample]


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A line through its corners, named in the key below the plot."""

    name: str
    stroke: Stroke
    corners: Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """A shaded range of y, from `x_from` to `x_to`; None reaches the edge of the plot."""

    name: str
    low: float
    high: float
    x_from: float | None = None
    x_to: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """A dated line from top to bottom, with a short label."""

    x: float
    label: str


class AxisKind(StrEnum):
    """Plain numbers, or days as ordinals of the proleptic Gregorian calendar."""

    NUMBER = "number"
    DAY = "day"


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """`label` says the quantity and its unit, such as `shaft speed, r/min`.

    `span` is what to show. Without it the values are shown to the next whole step, days to whole
    years, so that one more value rarely moves the others.
    """

    label: str
    kind: AxisKind = AxisKind.NUMBER
    span: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """`title` and `summary` are read out where the picture cannot be seen."""

    title: str
    summary: str
    x: Axis
    y: Axis
    samples: Sequence[Samples] = ()
    curves: Sequence[Curve] = ()
    zones: Sequence[Zone] = ()
    events: Sequence[Event] = ()


@dataclass(frozen=True, slots=True)
class Text:
    """Words shown as they are."""

    text: str


@dataclass(frozen=True, slots=True)
class Strong:
    text: str


@dataclass(frozen=True, slots=True)
class Code:
    """Words as typed into a file or a shell."""

    text: str


@dataclass(frozen=True, slots=True)
class Link:
    """`to` is a page of the book, from the book's top, with an optional `#anchor`."""

    text: str
    to: str


Span: TypeAlias = Text | Strong | Code | Link

Spans: TypeAlias = str | Span | tuple[str | Span, ...]


@dataclass(frozen=True, slots=True)
class Heading:
    """Level 2 to 4; a page's title is level 1.

    `newest_first`, of level 2: the parts below it, of level 3, run back in time, so all but the
    first may be folded. `is_folded`: all below it may be. `in_columns`: its parts may stand
    beside each other.
    """

    level: int
    text: str
    newest_first: bool = False
    is_folded: bool = False
    in_columns: bool = False


@dataclass(frozen=True, slots=True)
class Paragraph:
    spans: Spans


@dataclass(frozen=True, slots=True)
class Printed(Paragraph):
    """Several blocks as `terminal.printed` gave them; for a page that a terminal alone shows."""

    spans: str


@dataclass(frozen=True, slots=True)
class Bullets:
    items: Sequence[Spans]


@dataclass(frozen=True, slots=True)
class Lines:
    """An item of several lines, the first beside its box.

    `brief` says the same where there is room for a word or two; what it leaves out is folded.
    """

    first: Spans
    others: Sequence[Spans] = ()
    brief: Spans = ""


def lines_of(item: Spans | Lines) -> Sequence[Spans]:
    """All lines of an item in full, one at least."""
    return (item.first, *item.others) if isinstance(item, Lines) else (item,)


@dataclass(frozen=True, slots=True)
class Checklist:
    """Lines with a box to tick on paper."""

    items: Sequence[Spans | Lines]


@dataclass(frozen=True, slots=True)
class Station:
    """A machine on the walk: its number, its name and the boxes of its work."""

    number: str
    name: Span
    items: Sequence[Lines]


@dataclass(frozen=True, slots=True, kw_only=True)
class Walk:
    """A pass of the walk.

    One box for `claim`, if there is one, and a box for each of `exceptions` that was not in
    order; items that are answered one by one; and other work by station, in walking order.
    """

    claim: Spans = ""
    exceptions: Sequence[Lines] = ()
    alone: Sequence[Lines] = ()
    stations: Sequence[Station] = ()


@dataclass(frozen=True, slots=True)
class Caution:
    """What can hurt, set apart from the rest."""

    lines: Sequence[Spans]


CAUTION_WORDS = "Caution."
"""Begin a caution."""


@dataclass(frozen=True, slots=True)
class Prose:
    """CommonMark as a person wrote it."""

    commonmark: str


class Align(StrEnum):
    LEFT = "left"
    RIGHT = "right"


@dataclass(frozen=True, slots=True)
class Column:
    """`is_beneath`: of lesser weight, and small below the column before it where room is short."""

    title: str
    align: Align = Align.LEFT
    is_verdict: bool = False
    is_beneath: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of as many cells as there are columns; a title alone is that of a column of words.

    `newest_first`: the rows run back in time and begin with their day or month, so the older
    may be folded. `is_strip`: the middle column is a ruler, and what lies beside it on either
    side stands in the first and the last. `names`, where given, is what each row is one of, and
    the column by whose words it is found: `("part", "Part")`.
    """

    heads: Sequence[Column | str]
    rows: Sequence[Sequence[Spans]]
    newest_first: bool = False
    is_strip: bool = False
    names: tuple[str, str] | None = None

    def __post_init__(self) -> None:
        wrong = [row for row in self.rows if len(row) != len(self.heads)]
        if wrong:
            raise ValueError(f"{len(self.heads)} columns, but a row of {len(wrong[0])}: {wrong}")

    @property
    def columns(self) -> Sequence[Column]:
        return [Column(one) if isinstance(one, str) else one for one in self.heads]

    @classmethod
    def of(
        cls,
        things: Iterable[_T],
        *columns: tuple[Column | str, Callable[[_T], Spans]],
        newest_first: bool = False,
        names: tuple[str, str] | None = None,
    ) -> "Table":
        """One row a thing, in their order; each column with the words of a thing in it."""
        return cls(
            [column for column, _ in columns],
            [tuple(cell(thing) for _, cell in columns) for thing in things],
            newest_first=newest_first,
            names=names,
        )


@dataclass(frozen=True, slots=True)
class Picture:
    """A plot as a file of its own; `path` from the book's top, ending in .svg.

    `is_small`: drawn without words in the height of a line or two, to be compared with others.
    """

    path: str
    plot: "Plot"
    is_small: bool = False


@dataclass(frozen=True, slots=True)
class SmallPlots:
    """What is compared at a glance: a few words and a small picture each, all of one year."""

    year: int
    rows: Sequence[tuple[Lines, Picture]]


Block: TypeAlias = (
    Heading
    | Paragraph
    | Bullets
    | Checklist
    | Walk
    | Caution
    | Prose
    | Table
    | Picture
    | SmallPlots
)


def pictures_of(blocks: Sequence[Block]) -> Iterator[Picture]:
    """Every picture among blocks, in their order."""
    for block in blocks:
        if isinstance(block, Picture):
            yield block
        elif isinstance(block, SmallPlots):
            yield from (picture for _, picture in block.rows)


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One page of the book; `path` from the book's top, ending in .md.

    A page that depends on the day says so in `as_of`, the words of its first line; the others
    leave it empty and change only when a source changes. One that is reached from a single page,
    or by an old address, is not in the navigation.
    """

    path: str
    title: str
    blocks: Sequence[Block]
    as_of: str = ""
    in_navigation: bool = True


def without_links(part: Any, kept: Collection[str]) -> Any:
    """A page, or a part of one, whose links lead to pages in `kept` alone; the others are words."""
    if isinstance(part, Link):
        return part if part.to.partition("#")[0] in kept else part.text
    if isinstance(part, list | tuple):
        return type(part)(without_links(one, kept) for one in part)
    if is_dataclass(part) and not isinstance(part, type):
        parts = {one.name: without_links(getattr(part, one.name), kept) for one in fields(part)}
        return replace(part, **parts)
    return part


def right(title: str) -> Column:
    """A column of numbers."""
    return Column(title, Align.RIGHT)


def beneath(title: str) -> Column:
    """A column of lesser weight."""
    return Column(title, is_beneath=True)


VERDICT = Column("Verdict", is_verdict=True)


_DROPPED = re.compile(r"[^\w\- ]")


def anchor_of(heading: str) -> str:
    """The anchor of a heading that stands once on its page: `Lock out first` is
    `lock-out-first`.
    """
    return _DROPPED.sub("", heading.strip().lower()).replace(" ", "-")


def next_anchor(heading: str, taken: Container[str]) -> str:
    """The anchor of a heading below others of its page, whose anchors are `taken`.

    Repeated ones get `-1`, `-2` and so on.
    """
    first = anchor_of(heading)
    numbered = (f"{first}-{n}" for n in count(1))
    return next(anchor for anchor in chain([first], numbered) if anchor not in taken)
