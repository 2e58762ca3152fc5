"""Parts: what was used each month, what should be on the shelf or is on its way, what to order."""

import math
from collections import defaultdict, deque
from collections.abc import Mapping, Sequence
from datetime import date

from ledger.compute.stock import reorder_point
from ledger.model.ledger import Ledger, last_day_filed
from ledger.model.site import Part
from ledger.model.tasks import Amount, Task
from ledger.model.visits import Entry
from ledger.values import dataclass, replace

ASSUMED_GRAMS_PER_STROKE = 2.0
"""Middle of the 1 to 3 g that a stroke of a hand gun gives (machinerylubrication.com 206)."""

SERVICE = 0.95
"""The chance that what is on the shelf lasts until an order comes in."""


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


def stock_lines(
    ledger: Ledger, unweighed_stroke_g: float = ASSUMED_GRAMS_PER_STROKE
) -> tuple[StockLine, ...]:
    """Every part by id, with all that is filed of it.

    `unweighed_stroke_g` is what a stroke is taken for where none was weighed.
    """
    moves: dict[str, list[tuple[Entry, float]]] = defaultdict(list)
    using = {task.ident for task in ledger.tasks.values() if task.uses}
    moving = [
        entry
        for entry in ledger.standing_of(using)
        if entry.task in using or entry.stock is not None
    ]
    for entry in moving:
        for part, amount in _used_by(ledger, entry, unweighed_stroke_g).items():
            moves[part].append((entry, amount))
    return tuple(
        _line(ledger, part, moves.get(part.ident, []), moving) for part in ledger.parts.values()
    )


def is_strokes(amount: Amount) -> bool:
    """Whether a task states an amount in strokes of the grease gun."""
    return _singular(amount.unit) == "stroke"


def amount_in_part_unit(
    part: Part, quantity: float, unit: str, unweighed_stroke_g: float = ASSUMED_GRAMS_PER_STROKE
) -> float | None:
    """An amount that a task states, in the part's unit; None where they do not meet."""
    word = _singular(unit)
    if word == _singular(part.unit):
        return quantity
    if word == "stroke" and part.unit == "g":
        return quantity * (part.grams_per_stroke or unweighed_stroke_g)
    if part.pack and word == _singular(part.pack_name):
        return quantity * part.pack
    return None


def amount_given(task: Task, part: str, entry: Entry) -> Amount:
    """What an entry of a task gave at each place: the task's amount, or the strokes noted."""
    amount = task.uses[part]
    if is_strokes(amount) and entry.strokes is not None:
        return replace(amount, quantity=entry.strokes)
    return amount


def _singular(unit: str) -> str:
    return unit.lower().rstrip("s")


def _used_by(ledger: Ledger, entry: Entry, unweighed_stroke_g: float) -> dict[str, float]:
    used: dict[str, float] = defaultdict(float)
    task = ledger.tasks.get(entry.task)
    if task is not None and entry.did_work:
        for name in task.uses:
            part = ledger.parts.get(name)
            if part is not None:
                each = amount_given(task, name, entry)
                amount = amount_in_part_unit(part, each.quantity, each.unit, unweighed_stroke_g)
                used[name] += (amount or 0.0) * len(entry.places)
    if entry.stock is not None and entry.stock.used and entry.stock.part in ledger.parts:
        used[entry.stock.part] += entry.stock.used
    return dict(used)


def _line(
    ledger: Ledger, part: Part, used: list[tuple[Entry, float]], moving: Sequence[Entry]
) -> StockLine:
    by_month: dict[date, float] = defaultdict(float)
    for entry, amount in used:
        by_month[entry.day.replace(day=1)] += amount
    counted, counted_on = part.opening_count, part.opening_day
    used_since = 0.0
    amounts = {entry.ref: amount for entry, amount in used}
    for entry in moving:
        if counted_on is not None and entry.day < counted_on:
            continue
        if counted is not None:
            used_since += amounts.get(entry.ref, 0.0)
        stock = entry.stock
        if stock is None or stock.part != part.ident:
            continue
        if stock.on_hand is not None:
            counted, counted_on, used_since = stock.on_hand, entry.day, 0.0
        elif stock.received is not None and counted is not None:
            counted += stock.received
    on_order, leads = _orders(part, moving)
    lead_days = sum(leads) / len(leads) if leads else part.lead_days
    return StockLine(
        part=part,
        used_by_month=dict(sorted(by_month.items())),
        counted=counted,
        counted_on=counted_on,
        used_since_count=used_since,
        on_order=on_order,
        lead_days=lead_days,
        level_by_use=_level_by_use(ledger, part, [amount for _, amount in used], lead_days),
        assumed_stroke=part.unit == "g"
        and part.grams_per_stroke is None
        and any(
            is_strokes(task.uses[part.ident])
            for task in ledger.tasks.values()
            if part.ident in task.uses
        ),
    )


def _orders(part: Part, moving: Sequence[Entry]) -> tuple[float, list[int]]:
    """What is still to come, and the days that each order took that came in whole."""
    waiting: deque[tuple[date, float]] = deque()
    leads: list[int] = []
    for entry in moving:
        stock = entry.stock
        if stock is None or stock.part != part.ident:
            continue
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
    ledger: Ledger, part: Part, amounts: Sequence[float], lead_days: float | None
) -> float | None:
    """The level that lasts through the lead time, in sets: what one use takes on average."""
    days = (last_day_filed(ledger) - ledger.site.record_begins).days
    least = int(part.stops_line)
    if lead_days is None or days <= 0:
        return None
    uses = reorder_point(uses=len(amounts), days=days, lead_days=lead_days, service=SERVICE)
    if uses is None:
        return None
    one = sum(amounts) / len(amounts) if amounts else 1.0
    return math.ceil(max(uses, least) * one)
