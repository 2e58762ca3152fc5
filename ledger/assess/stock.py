"""Parts: what was used each month, what should be on the shelf, what to order."""

import math
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from ledger.model.ledger import Ledger
from ledger.model.parts import Part
from ledger.model.tasks import Task
from ledger.model.visits import Entry

ASSUMED_GRAMS_PER_STROKE = 2.0
"""Middle of the 1 to 3 g that a stroke of a hand gun gives (machinerylubrication.com 206)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StockLine:
    """One part; amounts in the part's unit.

    `used_by_month` maps a month's first day to what was used in it. `on_hand` is None until the
    part was counted once. `assumed_stroke` says that strokes were taken at 2 g each for want of a
    weighed value. `counted_on` is the day of the last count it builds on.
    """

    part: Part
    used_by_month: Mapping[date, float]
    on_hand: float | None
    counted_on: date | None
    assumed_stroke: bool

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
        """Whole packs that lift the stock to twice the reorder level; 0 where none are needed."""
        if not self.to_order or not self.part.pack or self.part.reorder_level is None:
            return 0
        wanted = 2 * self.part.reorder_level - (self.on_hand or 0.0)
        return max(1, math.ceil(wanted / self.part.pack))


def stock_lines(ledger: Ledger) -> tuple[StockLine, ...]:
    """Every part by id, with all that is filed of it."""
    moves: dict[str, list[tuple[Entry, float]]] = defaultdict(list)
    for entry in ledger.standing:
        for part, amount in _used_by(ledger, entry).items():
            moves[part].append((entry, amount))
    return tuple(_line(ledger, part, moves.get(part.ident, [])) for part in ledger.parts.values())


def amount_in_part_unit(part: Part, quantity: float, unit: str) -> float | None:
    """An amount that a task states, in the part's unit; None where they do not meet."""
    word = unit.lower().rstrip("s")
    if word == part.unit.lower().rstrip("s"):
        return quantity
    if word == "stroke" and part.unit == "g":
        return quantity * (part.grams_per_stroke or ASSUMED_GRAMS_PER_STROKE)
    if part.pack and word == part.pack_name.lower().rstrip("s"):
        return quantity * part.pack
    return None


def _used_by(ledger: Ledger, entry: Entry) -> dict[str, float]:
    used: dict[str, float] = defaultdict(float)
    task = ledger.tasks.get(entry.task)
    if task is not None and entry.did_work:
        for name in task.uses:
            part = ledger.parts.get(name)
            if part is not None:
                used[name] += _task_use(part, task, entry) * len(entry.places)
    if entry.stock is not None and entry.stock.used and entry.stock.part in ledger.parts:
        used[entry.stock.part] += entry.stock.used
    return dict(used)


def _task_use(part: Part, task: Task, entry: Entry) -> float:
    amount = task.uses[part.ident]
    strokes = amount.unit.lower().rstrip("s") == "stroke"
    quantity = entry.strokes if strokes and entry.strokes is not None else amount.quantity
    return amount_in_part_unit(part, quantity, amount.unit) or 0.0


def _line(ledger: Ledger, part: Part, used: list[tuple[Entry, float]]) -> StockLine:
    by_month: dict[date, float] = defaultdict(float)
    for entry, amount in used:
        by_month[entry.day.replace(day=1)] += amount
    on_hand, counted_on = part.opening_count, part.opening_day
    amounts = {entry.ref: amount for entry, amount in used}
    for entry in ledger.standing:
        if counted_on is not None and entry.day < counted_on:
            continue
        if on_hand is not None:
            on_hand -= amounts.get(entry.ref, 0.0)
        stock = entry.stock
        if stock is None or stock.part != part.ident:
            continue
        if stock.on_hand is not None:
            on_hand, counted_on = stock.on_hand, entry.day
        elif stock.received is not None and on_hand is not None:
            on_hand += stock.received
    return StockLine(
        part=part,
        used_by_month=dict(sorted(by_month.items())),
        on_hand=on_hand,
        counted_on=counted_on,
        assumed_stroke=part.unit == "g" and part.grams_per_stroke is None,
    )
