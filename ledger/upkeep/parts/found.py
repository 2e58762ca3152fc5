"""Parts: what was used each month, what should be on the shelf or is on its way, what to order."""

import math
from collections import Counter, defaultdict, deque
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import TypeAlias

from ledger.compute.reliability import reorder_point
from ledger.model.ledger import Ledger, last_day_filed
from ledger.model.references import EntryRef
from ledger.model.site import Part
from ledger.model.tasks import Amount, Task
from ledger.model.visits import Entry, StockMove
from ledger.values import dataclass, replace

ASSUMED_GRAMS_PER_STROKE = 2.0
"""Middle of the 1 to 3 g that a stroke of a hand gun gives (machinerylubrication.com 206)."""

SERVICE = 0.95
"""The chance that what is on the shelf lasts until an order comes in."""

Move: TypeAlias = tuple[Entry, StockMove]
"""What an entry says of a part: counted, ordered, received or used."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StockLine:
    """One part; amounts in the part's unit.

    `used_by_month` maps a month's first day to what was used in it. `counted` is the last count,
    of the day `counted_on`, with what was received since; None until the part was counted once.
    `lead_days` is the mean time from ordering to receiving, or what the part states where no order
    on record came in; `level_by_use` is the level that it and the uses on record ask for, None
    where the lead time is not known. `assumed_stroke` says that strokes count in it for which no
    weight is stated.
    """

    part: Part
    used_by_month: Mapping[date, float]
    counted: float | None
    counted_on: date | None
    used_since_count: float
    on_order: float
    lead_days: float | None
    level_by_use: float | None
    assumed_stroke: bool

    @property
    def on_hand(self) -> float | None:
        """What should be on the shelf; below 0 where more was used than was ever counted."""
        return None if self.counted is None else self.counted - self.used_since_count

    @property
    def level(self) -> float | None:
        """The reorder level: the part's own, else what use and lead time ask for."""
        stated = self.part.reorder_level
        return self.level_by_use if stated is None else stated

    @property
    def is_level_low(self) -> bool:
        """Whether the part's own level is below what use and lead time ask for."""
        stated, by_use = self.part.reorder_level, self.level_by_use
        return stated is not None and by_use is not None and stated < by_use

    @property
    def to_order(self) -> bool:
        """Whether what is on hand and on order lies at the reorder level or below."""
        return self._missing is not None and self._missing >= 0

    @property
    def packs_to_order(self) -> int:
        """Whole packs that lift the stock to twice the reorder level; 0 where none are needed.

        A part without a stated pack is bought by its unit.
        """
        if not self.to_order or self._missing is None:
            return 0
        wanted = self._missing + (self.level or 0.0)
        return max(1, math.ceil(wanted / (self.part.pack or 1.0)))

    @property
    def _missing(self) -> float | None:
        """By how much the level is above what is on hand and on order."""
        if self.on_hand is None or self.level is None:
            return None
        return self.level - self.on_hand - self.on_order


@dataclass(frozen=True, slots=True)
class PartUse:
    """What tasks used of a part, in its unit, and the strokes on top of it that nobody weighed.

    `months` has both by the month's first day, as in ISO 8601; `times` counts the entries, `since`
    is what was used since the last count before the `last` entry, of which that has time and name.
    """

    part: str
    months: Sequence[tuple[str, float, float]]
    times: int
    since: tuple[float, float]
    last: tuple[str, EntryRef]


class Uses:
    """Sums up what tasks use of each part; `counts` are the entries that counted it, by time."""

    def __init__(
        self, ledger: Ledger, counts: Iterable[Entry], before: Iterable[PartUse] = ()
    ) -> None:
        self._ledger = ledger
        self._counts: dict[str, list[tuple[datetime, EntryRef]]] = defaultdict(list)
        for entry in counts:
            if entry.stock is not None:
                self._counts[entry.stock.part].append((entry.when, entry.ref))
        self._months: dict[str, dict[str, tuple[float, float]]] = {}
        self._times = Counter[str]()
        self._since: dict[str, tuple[float, float]] = {}
        self._last: dict[str, tuple[str, EntryRef]] = {}
        for use in before:
            self._months[use.part] = {month: (amount, n) for month, amount, n in use.months}
            self._times[use.part] = use.times
            self._since[use.part], self._last[use.part] = use.since, use.last

    def add(self, entries: Iterable[Entry]) -> None:
        """Further entries by time."""
        for entry in entries:
            task = self._ledger.tasks.get(entry.task)
            for name in task.uses if task is not None and entry.did_work else ():
                part = self._ledger.parts.get(name)
                if task is not None and part is not None and entry.places:
                    self._add(part, entry, _given(part, amount_given(task, name, entry)))

    def _add(self, part: Part, entry: Entry, each: tuple[float, float]) -> None:
        used = each[0] * len(entry.places), each[1] * len(entry.places)
        months = self._months.setdefault(part.ident, {})
        month = str(entry.day.replace(day=1))
        months[month] = _sum(months.get(month), used)
        self._times[part.ident] += 1
        counts = self._counts[part.ident]
        while counts and counts[0] < (entry.when, entry.ref):
            del counts[0]
            self._since[part.ident] = 0.0, 0.0
        self._last[part.ident] = entry.when.isoformat(), entry.ref
        if part.opening_day is None or entry.day >= part.opening_day:
            self._since[part.ident] = _sum(self._since.get(part.ident), used)

    def found(self) -> list[PartUse]:
        """What was used in all."""
        return [
            PartUse(
                part,
                [(month, *used) for month, used in months.items()],
                self._times[part],
                self._since.get(part, (0.0, 0.0)),
                self._last[part],
            )
            for part, months in self._months.items()
        ]


def _sum(one: tuple[float, float] | None, other: tuple[float, float]) -> tuple[float, float]:
    return other if one is None else (one[0] + other[0], one[1] + other[1])


def counts_of(ledger: Ledger) -> list[Entry]:
    """The entries that say how much of a part is on hand, by time, but for those before the first.

    What a part states as its opening count is such a first one.
    """
    found = []
    for entry in ledger.events:
        stock = entry.stock
        part = ledger.parts.get(stock.part) if stock and stock.on_hand is not None else None
        if part and (part.opening_day is None or entry.day >= part.opening_day):
            found.append(entry)
    return found


def stock_lines(
    ledger: Ledger,
    unweighed_stroke_g: float = ASSUMED_GRAMS_PER_STROKE,
    by_tasks: Iterable[PartUse] | None = None,
) -> tuple[StockLine, ...]:
    """Every part by id, with all that is filed of it.

    `unweighed_stroke_g` is what a stroke is taken for where none was weighed. `by_tasks` is what
    tasks used of the parts, where that has been summed up.
    """
    if by_tasks is None:
        uses = Uses(ledger, counts_of(ledger))
        uses.add(ledger.standing_of({task.ident for task in ledger.tasks.values() if task.uses}))
        by_tasks = uses.found()
    of_part: dict[str, list[PartUse]] = defaultdict(list)
    for use in by_tasks:
        of_part[use.part].append(use)
    moves: dict[str, list[Move]] = defaultdict(list)
    for entry in ledger.events:
        if entry.stock is not None:
            moves[entry.stock.part].append((entry, entry.stock))
    return tuple(
        _line(ledger, part, of_part[ident], moves[ident], unweighed_stroke_g)
        for ident, part in ledger.parts.items()
    )


def is_strokes(amount: Amount) -> bool:
    """Whether a task states an amount in strokes of the grease gun."""
    return _singular(amount.unit) == "stroke"


def amount_in_part_unit(part: Part, amount: Amount) -> float | None:
    """An amount that a task states, in the part's unit; None where they do not meet."""
    word = _singular(amount.unit)
    if word == _singular(part.unit):
        return amount.quantity
    if word == "stroke" and part.unit == "g":
        return amount.quantity * (part.grams_per_stroke or ASSUMED_GRAMS_PER_STROKE)
    if part.pack and word == _singular(part.pack_name):
        return amount.quantity * part.pack
    return None


def _given(part: Part, amount: Amount) -> tuple[float, float]:
    """An amount in the part's unit, and the strokes that nobody weighed."""
    if is_strokes(amount) and part.unit == "g" and not part.grams_per_stroke:
        return 0.0, amount.quantity
    return amount_in_part_unit(part, amount) or 0.0, 0.0


def amount_given(task: Task, part: str, entry: Entry) -> Amount:
    """What an entry of a task gave at each place: the task's amount, or the strokes noted."""
    amount = task.uses[part]
    if is_strokes(amount) and entry.strokes is not None:
        return replace(amount, quantity=entry.strokes)
    return amount


def _singular(unit: str) -> str:
    return unit.lower().rstrip("s")


def _line(
    ledger: Ledger,
    part: Part,
    by_tasks: Sequence[PartUse],
    moves: Sequence[Move],
    unweighed_stroke_g: float,
) -> StockLine:
    def amount_of(amount: float, strokes: float) -> float:
        return amount + strokes * unweighed_stroke_g

    by_month: dict[date, float] = defaultdict(float)
    times = sum(use.times for use in by_tasks)
    for use in by_tasks:
        for month, *amounts in use.months:
            by_month[date.fromisoformat(month)] += amount_of(*amounts)
    counted, counted_on = part.opening_count, part.opening_day
    used_since = 0.0
    last_count: tuple[datetime, EntryRef] | None = None
    for entry, stock in moves:
        if stock.used:
            by_month[entry.day.replace(day=1)] += stock.used
            times += 1
        if counted_on is not None and entry.day < counted_on:
            continue
        used_since += stock.used or 0.0
        if stock.on_hand is not None:
            counted, counted_on, used_since = stock.on_hand, entry.day, 0.0
            last_count = entry.when, entry.ref
        elif stock.received is not None and counted is not None:
            counted += stock.received
    for use in by_tasks:
        last = datetime.fromisoformat(use.last[0]), use.last[1]
        if last_count is None or last_count < last:
            used_since += amount_of(*use.since)
    on_order, leads = _orders(moves)
    lead_days = sum(leads) / len(leads) if leads else part.lead_days
    return StockLine(
        part=part,
        # Sums of tenths; in which order they were added is not to be seen.
        used_by_month={month: round(used, 6) for month, used in sorted(by_month.items())},
        counted=counted,
        counted_on=counted_on,
        used_since_count=0.0 if counted is None else round(used_since, 6),
        on_order=on_order,
        lead_days=lead_days,
        level_by_use=_level_by_use(
            ledger, part, times, round(sum(by_month.values()), 6), lead_days
        ),
        assumed_stroke=part.unit == "g"
        and part.grams_per_stroke is None
        and any(
            is_strokes(task.uses[part.ident])
            for task in ledger.tasks.values()
            if part.ident in task.uses
        ),
    )


def _orders(moves: Sequence[Move]) -> tuple[float, list[int]]:
    """What is still to come, and the days that each order took that came in whole."""
    waiting: deque[tuple[date, float]] = deque()
    leads: list[int] = []
    for entry, stock in moves:
        if stock.ordered is not None:
            waiting.append((entry.day, stock.ordered))
        came = stock.received or 0.0
        while came and waiting:
            day, amount = waiting.popleft()
            if amount > came:
                waiting.appendleft((day, amount - came))
                break
            came -= amount
            leads.append(max(1, (entry.day - day).days))
    return sum(amount for _, amount in waiting), leads


def _level_by_use(
    ledger: Ledger, part: Part, times: int, amount: float, lead_days: float | None
) -> float | None:
    """The level that lasts through the lead time, in sets: what one use takes on average."""
    days = (last_day_filed(ledger) - ledger.site.record_begins).days
    least = int(part.stops_line)
    if lead_days is None or days <= 0:
        return None
    uses = reorder_point(uses=times, days=days, lead_days=lead_days, service=SERVICE)
    if uses is None:
        return None
    one = amount / times if times else 1.0
    return math.ceil(max(uses, least) * one)
