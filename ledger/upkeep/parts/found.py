"""Parts: what was used each month, what should be on the shelf, what to order."""

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from ledger.model.ledger import Ledger
from ledger.model.site import Part
from ledger.model.tasks import Amount, Task
from ledger.model.visits import Entry

ASSUMED_GRAMS_PER_STROKE = 2.0
"""Middle of the 1 to 3 g that a stroke of a hand gun gives (machinerylubrication.com 206)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StockLine:
    """One part; amounts in the part's unit.

    `used_by_month` maps a month's first day to what was used in it. `counted` is the last count,
    of the day `counted_on`, with what was received since; None until the part was counted once.
    `assumed_stroke` says that strokes count in it for which no weight is stated.
    """

    part: Part
    used_by_month: Mapping[date, float]
    counted: float | None
    counted_on: date | None
    used_since_count: float
    assumed_stroke: bool

    @property
    def on_hand(self) -> float | None:
        """What should be on the shelf; below 0 where more was used than was ever counted."""
        return None if self.counted is None else self.counted - self.used_since_count

    @property
    def to_order(self) -> bool:
        """At or below the reorder level."""
        return (
            self.on_hand is not None
            and self.part.reorder_level is not None
            and self.on_hand <= self.part.reorder_level
        )

    @property
    def packs_to_order(self) -> int:
        """Whole packs that lift the stock to twice the reorder level; 0 where none are needed.

        A part without a stated pack is bought by its unit.
        """
        if not self.to_order or self.part.reorder_level is None:
            return 0
        wanted = 2 * self.part.reorder_level - (self.on_hand or 0.0)
        return max(1, math.ceil(wanted / (self.part.pack or 1.0)))


def stock_lines(
    ledger: Ledger, unweighed_stroke_g: float = ASSUMED_GRAMS_PER_STROKE
) -> tuple[StockLine, ...]:
    """Every part by id, with all that is filed of it.

    `unweighed_stroke_g` is what a stroke is taken for where none was weighed.
    """
    moves: dict[str, list[tuple[Entry, float]]] = defaultdict(list)
    using = {task.ident for task in ledger.tasks.values() if task.uses}
    moving = [entry for entry in ledger.standing if entry.task in using or entry.stock is not None]
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
    return StockLine(
        part=part,
        used_by_month=dict(sorted(by_month.items())),
        counted=counted,
        counted_on=counted_on,
        used_since_count=used_since,
        assumed_stroke=part.unit == "g"
        and part.grams_per_stroke is None
        and any(
            is_strokes(task.uses[part.ident])
            for task in ledger.tasks.values()
            if part.ident in task.uses
        ),
    )
