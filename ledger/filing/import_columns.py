"""What each column of a log most likely holds, by its heading and its words.

The words may name machines, tasks, people and meters of the site.
"""

import re
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from enum import StrEnum
from functools import partial
from itertools import pairwise

from ledger.files.spelling import is_word_for, key_meant, value_meant
from ledger.files.typed_moments import moments
from ledger.files.units import key_in, split_amount, stem_of, unit_typed
from ledger.filing.import_map import convertible, is_moment, usual_meaning
from ledger.filing.import_rows import plain_text
from ledger.model.ledger import Ledger
from ledger.model.readings import KIND_OF_KEY, READINGS, SETTING_ENDINGS
from ledger.model.site import Units
from ledger.values import dataclass, field, replace

_LETTER = re.compile(r"(?<![^\W_])([a-z])[\s-]+(?=[0-9])")

_EMPTY_WORDS = frozenset("the of a an and in on at for to with no".split())


def stems(text: str) -> frozenset[str]:
    """The words of a text or id without their endings: `Greased the bearings` as greas and bear.

    A letter and the number behind it are one word: `P 2`, `P-2` and `P2` are one.
    """
    words = re.findall(r"[^\W_]+", _LETTER.sub(r"\1", text.casefold()))
    return frozenset(_stem(word) for word in words if word not in _EMPTY_WORDS)


def _stem(word: str) -> str:
    return re.sub(r"(?:ings?|ed|es|s|e)$", "", word) if len(word) > 3 else word


class Names:
    """Things by all that they are called."""

    def __init__(self, called: Iterable[tuple[str, Iterable[str]]]) -> None:
        self._stems = {ident: [stems(name) for name in (ident, *names)] for ident, names in called}

    def find(self, wanted: frozenset[str]) -> tuple[str, ...]:
        """Those called just so, or else those with all these words in a name."""
        exact = [one for one, names in self._stems.items() if wanted in names]
        within = (one for one, names in self._stems.items() if any(wanted <= n for n in names))
        return tuple(exact or within) if wanted else ()

    def named_within(self, text: str) -> tuple[str, str]:
        """The one thing that some words of a text name, and the other words; "" where none does.

        A thing is named by all words of a name, or by one with a digit in it: `Hz of P2`.
        """
        wanted = stems(text)
        for one, names in self._stems.items():
            for name in names:
                both = wanted & name
                is_named = both == name or any(re.search(r"\d", word) for word in both)
                if is_named and self.find(both) == (one,):
                    return one, " ".join(word for word in text.split() if not stems(word) <= both)
        return "", text


class SiteNames:
    def __init__(self, ledger: Ledger) -> None:
        machines, site = ledger.machines.values(), ledger.site
        self.machines = Names((one.ident, [one.name]) for one in machines)
        self._stations = [(f"{one.station:g}", one.ident) for one in machines]
        points = {f"{m.ident}/{ident}": (m, p) for m in machines for ident, p in m.points.items()}
        self._points = Names((at, [f"{m.name} {p.name}"]) for at, (m, p) in points.items())
        self._words_of_point = {
            at: {word for word in stems(f"{p.ident} {p.name}") if word.isalpha()}
            for at, (_, p) in points.items()
        }
        self._tasks = Names((one.ident, [one.title]) for one in ledger.tasks.values())
        self._people = Names(
            (ident, [one.name, "".join(re.findall(r"\b\w", one.name))])
            for ident, one in site.people.items()
        )
        self._meters = Names((ident, [one.name]) for ident, one in site.meters.items())
        self._meter_idents = tuple(site.meters)

    def person(self, text: str) -> tuple[str, ...]:
        is_initials = re.fullmatch(r"(\w\.? ?){1,3}", text)
        return self._people.find(stems(re.sub(r"[. ]", "", text) if is_initials else text))

    def place(self, text: str) -> tuple[str, ...]:
        """Machines, else points, of that name; else the machines at that station.

        A point is named by a word of its own, not by that of its machine and a number.
        """
        wanted = stems(text)
        return (
            self.machines.find(wanted)
            or tuple(at for at in self._points.find(wanted) if wanted & self._words_of_point[at])
            or tuple(ident for station, ident in self._stations if station == text.strip())
        )

    def task(self, text: str) -> tuple[str, ...]:
        return self._tasks.find(stems(text))

    def meter(self, heading: str, *, is_whole: bool = False) -> str:
        """The meter that a heading names, or means by one of its words unless `is_whole`."""
        found = self._meters.find(stems(heading))
        typed = () if is_whole else re.findall(r"[^\W_]+", heading)
        meant = (value_meant(word, self._meter_idents) for word in typed)
        return found[0] if len(found) == 1 else next(filter(None, meant), "")


class Use(StrEnum):
    """What a column is taken for, in the words of the list of columns."""

    DAY = "the day"
    TIME = "the time"
    PERSON = "who did it"
    PLACE = "where"
    TASK = "which task"
    DONE = "whether it was done"
    METER = "a meter"
    READING = "a reading"
    TICK = "done or not"
    NOTE = "a remark"
    UNKNOWN = "not used"


SETTING_KEYS = tuple(f"{at}_{ending}" for ending in SETTING_ENDINGS for at in ("found", "left"))

BESIDE_WORK = ("strokes", "minutes")

_KEYS = (
    *("counted", "seconds", "bounces"),
    *BESIDE_WORK,
    *SETTING_KEYS,
    *(
        key
        for kind in READINGS
        if len(kind.amounts) == 1 and kind.amounts[0].si
        for key in kind.keys
    ),
)
"""The keys of an entry that one column of numbers fills."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """`cells` are those that are not empty, in the order of the log, and `rows` the numbers of
    their rows.

    `key` is a meter or the key of an entry; `unit` that of the log where it has to be converted.
    `place` is the machine that the heading names, `tasks` are those that it may name. Of the words
    in the cells, `words` name something of the site; nobody knows what `unknown` ones mean.
    """

    heading: str
    cells: tuple[str, ...]
    rows: tuple[int, ...] = ()
    use: Use = Use.UNKNOWN
    key: str = ""
    unit: str = ""
    place: str = ""
    tasks: tuple[str, ...] = ()
    words: Mapping[str, str] = field(default_factory=dict)
    unknown: tuple[str, ...] = ()


_HALF, _MOST = 0.5, 0.7

_CLOCK = re.compile(
    r"[0-9]{1,2}[:.h][0-9]{2}(:[0-9]{2})?(\s*[ap]\.?m\.?)?|[0-9]{1,2}\s*[ap]\.?m\.?", re.IGNORECASE
)

_AMOUNT = re.compile(r"[+-]?[0-9][0-9 .,'’]*([ -][0-9]+/[0-9]+| ?[^\W\d]+)?")

_ANSWERS = re.compile(r"\(?\b[^\W_]+/[^\W_]+\b\)?")
"""Which answers a heading asks for: `Greased (y/n)`."""

_FEW = 12
"""So many words that nobody knows, or fewer, are answers if they stand under the name of a task."""

_LONG = 12
"""Longer text names nothing, on average."""


def classify(
    rows: Sequence[Sequence[str]], headings: Sequence[str], names: SiteNames, units: Units
) -> tuple[Column, ...]:
    """The columns with a heading, in the order of the log.

    Beside a column of tasks, ticks under a heading that names none say whether it was done.
    """
    found: list[Column] = []
    for place, heading in enumerate(headings):
        if heading:
            cells = {
                n: row[place]
                for n, row in enumerate(rows)
                if any("".join(row[place : place + 1]).split())
            }
            column = Column(
                heading=heading, cells=tuple(map(plain_text, cells.values())), rows=tuple(cells)
            )
            found.append(_classified(column, names, units, {one.use for one in found}))
    if any(one.use is Use.TASK for one in found):
        return tuple(
            replace(one, use=Use.DONE)
            if one.use is Use.TICK and not (one.tasks or one.place)
            else one
            for one in found
        )
    return tuple(found)


def _classified(column: Column, names: SiteNames, units: Units, taken: Collection[Use]) -> Column:
    def share(test: Callable[[str], object]) -> float:
        return sum(map(bool, map(test, column.cells))) / max(1, len(column.cells))

    snake = "_".join(re.findall(r"[^\W_]+", column.heading.casefold()))
    if not column.cells:
        return column
    if Use.DAY not in taken and share(lambda cell: moments(cell, is_moment)) > _MOST:
        return replace(column, use=Use.DAY)
    if Use.TIME not in taken and share(_CLOCK.fullmatch) > _MOST:
        return replace(column, use=Use.TIME)
    if share(_is_number) > _HALF:
        numbers = _of_numbers(column, names, units)
        if numbers is not None:
            return numbers
    for use, key, find in (
        (Use.PERSON, "by", names.person),
        (Use.PLACE, "at", names.place),
        (Use.TASK, "task", names.task),
    ):
        is_named = partial(_is_named, find)
        if use not in taken and (is_word_for(key, snake) or share(is_named) > _MOST):
            found = {cell: find(cell) for cell in dict.fromkeys(column.cells)}
            return replace(
                column,
                use=use,
                words={cell: idents[0] for cell, idents in found.items() if len(idents) == 1},
                unknown=tuple(cell for cell, idents in found.items() if len(idents) != 1),
            )
    heading = _ANSWERS.sub("", column.heading)
    place, rest = names.machines.named_within(heading)
    tasks = names.task(heading) or names.task(rest)
    unknown = tuple(cell for cell in dict.fromkeys(column.cells) if usual_meaning(cell) is None)
    if share(lambda cell: cell not in unknown) > _HALF or (tasks and len(unknown) <= _FEW):
        return replace(column, use=Use.TICK, tasks=tasks, place=place, unknown=unknown)
    is_free = sum(map(len, column.cells)) / len(column.cells) > _LONG
    if Use.NOTE not in taken and (is_word_for("note", snake) or is_free):
        return replace(column, use=Use.NOTE)
    return column


def _is_named(find: Callable[[str], Sequence[str]], cell: str) -> bool:
    return len(find(cell)) == 1 and not cell.isdigit()


def _is_number(cell: str) -> bool:
    return bool(_AMOUNT.fullmatch(split_amount(cell)[0]))


def _of_numbers(column: Column, names: SiteNames, units: Units) -> Column | None:
    ((typed, _),) = Counter(split_amount(cell)[1] for cell in column.cells).most_common(1)
    heading = OVER_SECONDS.sub("", column.heading)
    place, rest = names.machines.named_within(heading)
    runs_on = _runs_on(column.cells)
    if runs_on and (meter := names.meter(heading, is_whole=True)):
        return replace(column, use=Use.METER, key=meter)
    for text, at in ((rest, place), (heading, "")):
        base, unit = split_heading(text)
        if key := _key_of(text, base, unit or typed):
            key, unit = _in_unit(key, unit or typed, units)
            return replace(column, use=Use.READING, key=key, unit=unit, place=at)
    if runs_on and (meter := names.meter(heading)):
        return replace(column, use=Use.METER, key=meter)
    base, unit = split_heading(heading)
    meant = (key_meant(word, KIND_OF_KEY) for word in reversed(base.casefold().split()))
    if key := next(filter(None, meant), ""):
        key, unit = _in_unit(key, unit or typed, units)
        return replace(column, use=Use.READING, key=key, unit=unit, place=place)
    return None


def _runs_on(cells: Sequence[str]) -> bool:
    """Whether numbers go one way, as a meter's do: `Cars` may be those of a day, too."""
    numbers = [int("0" + re.sub(r"[.,][0-9]{1,2}$|\D", "", cell)) for cell in cells]
    steps = [after - before for before, after in pairwise(numbers) if after != before]
    rising = sum(step > 0 for step in steps)
    return max(rising, len(steps) - rising) >= _MOST * len(steps)


OVER_SECONDS = re.compile(r"[\s,(/]*(?:in|per|over)?\s*([0-9]+) ?(?:s|secs?|seconds)\b[\s)]*")
"""How long was counted, in a heading: `Turns in 30 s`."""


def _key_of(text: str, base: str, unit: str) -> str:
    """The key that a heading means by all its words, by those without a unit, or by the unit."""
    for words in (text, base, unit):
        snake = "_".join(re.findall(r"[^\W_]+", words.casefold()))
        if key := snake if snake in _KEYS else snake and key_meant(snake, _KEYS):
            return key
    wanted = stems(base)
    alike = {
        stem_of(key): key
        for key in _KEYS
        if (stem := stems(stem_of(key))) and wanted and (wanted <= stem or stem <= wanted)
    }
    return next(iter(alike.values())) if len(alike) == 1 else ""


def _in_unit(key: str, unit: str, units: Units) -> tuple[str, str]:
    """The key in a unit; or that of the site, and the unit where it has to be converted."""
    if in_unit := unit and key_in(unit, key, _KEYS):
        return in_unit, ""
    native = _native(key, units)
    return native, convertible(unit, native)


def _native(key: str, units: Units) -> str:
    """The key in the units of the site."""
    us = units is Units.US
    if key in KIND_OF_KEY:
        return KIND_OF_KEY[key].amounts[0].key(us=us)
    return re.sub(r"_(gpm|lpm)$", "_gpm" if us else "_lpm", key)


def split_heading(text: str) -> tuple[str, str]:
    """`Strip (cm)` as `Strip` and `cm`; the text and "" where it ends with no unit."""
    found = re.fullmatch(r"(.*?)[\s,(\[]*([^\s,(\[)\]]+)[)\]]?", text.strip())
    if found is None or not unit_typed(found[2]):
        return text, ""
    return found[1], found[2]
