"""Grease that a point got by the record, against the plan and against what its bearing wants."""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta

from ledger.compute import grease
from ledger.compute.grease import Bounds, GreaseBalance, GreaseInterval, GreaseVerdict, total_g
from ledger.compute.numbers import NotEnoughData
from ledger.model.ledger import Ledger
from ledger.model.machines import Point
from ledger.model.meters import Pace
from ledger.model.references import Place
from ledger.model.site import Part
from ledger.model.tasks import Amount, Task
from ledger.model.visits import Entry
from ledger.upkeep.parts import found as stock
from ledger.values import dataclass

PERIOD = timedelta(days=365)
"""The record is judged over its last year: grease of older days is long pushed out."""


LEAST_GREASINGS = 3
"""Planned greasings before a share says more than that one came early or late."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GreaseTask:
    """A task that greases a point: with what, how much each time, and how often in days."""

    task: Task
    part: Part
    amount: Amount
    each_g: Bounds
    interval_days: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class GreaseGiven:
    """What a point got from `first` to `last`.

    `of_plan` holds it against the tasks' own amounts; the gun's stroke drops out of that share.
    `of_least` holds it against one charge of the bearing in each grease life of the handbook,
    `of_most` against one charge at each interval in force; None where those cannot be said.
    """

    first: date
    last: date
    greasings: int
    given_g: Bounds
    of_plan: GreaseBalance
    of_least: GreaseBalance | None
    of_most: GreaseBalance | None

    @property
    def verdict(self) -> GreaseVerdict:
        """Under below half of plan or bearing, over above twice; cannot tell where both may be."""
        return grease.grease_verdict(
            [self.of_plan, *([self.of_least] if self.of_least else [])],
            [self.of_plan, *([self.of_most] if self.of_most else [])],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class GreaseSupply:
    """One grease: what was used, and what is left.

    `used_a_week_g` is over the last twelve months of the record, None without visits.
    `cartridges` is None where the part was never counted or has no pack; `weeks_left` also
    where nothing was used.
    """

    part: Part
    used_a_week_g: Bounds | None
    used_by_month_g: Mapping[date, Bounds]
    counted_on: date | None
    cartridges: Bounds | None
    weeks_left: Bounds | None


def grease_tasks(ledger: Ledger, pace: Pace) -> Mapping[Place, Sequence[GreaseTask]]:
    """The tasks that grease each place, the most frequent first."""
    found: dict[Place, list[GreaseTask]] = {}
    for task in ledger.tasks.values():
        for part, amount, each_g in _greases(ledger, task):
            greasing = GreaseTask(
                task=task,
                part=part,
                amount=amount,
                each_g=each_g,
                interval_days=pace.interval_days(task),
            )
            for place in task.places:
                found.setdefault(place, []).append(greasing)
    for tasks in found.values():
        tasks.sort(key=lambda one: (one.interval_days or math.inf, one.task.ident))
    return found


def _greases(ledger: Ledger, task: Task) -> Iterator[tuple[Part, Amount, Bounds]]:
    """What a task greases with, in grams too: parts counted in grams of which it uses grams,
    strokes or any unit that makes grams.
    """
    for name, amount in task.uses.items():
        part = ledger.parts.get(name)
        each_g = None if part is None else _mass_g(part, amount)
        if part is not None and each_g is not None:
            yield part, amount, each_g


def grease_given(
    ledger: Ledger,
    point: Point,
    place: Place,
    tasks: Sequence[GreaseTask],
    charge_g: float | None,
    interval: GreaseInterval | None,
    done: Iterable[Entry],
) -> GreaseGiven | NotEnoughData | None:
    """What the record says that a point got; None where no task with an interval greases it.

    `done` is what was done at its machine in the last two years, by time.
    """
    timed = [(one, one.interval_days) for one in tasks if one.interval_days is not None]
    begin, last = ledger.overall.first_day, ledger.overall.last_day
    if not timed or interval is None or begin is None or last is None:
        return None
    first = max(begin, point.in_service, last - PERIOD + timedelta(days=1))
    days = ledger.machines[place.machine].days_in_use(first, last)
    shortest = min(span for _, span in timed)
    if days < LEAST_GREASINGS * shortest:
        return NotEnoughData(
            what="planned greasings",
            have=max(0, int(days / shortest)),
            need=LEAST_GREASINGS,
            why="one that came early or late would rule the share",
        )
    given = [
        (one, entry.ref, stock.amount_given(one.task, one.part.ident, entry))
        for entry in done
        if entry.did_work and place in entry.places and first <= entry.day <= last
        for one in tasks
        if one.task.ident == entry.task
    ]
    given_g = total_g(mass for one, _, amount in given if (mass := _mass_g(one.part, amount)))
    nominal_g = sum(_nominal(one, amount) for one, _, amount in given)
    planned_g = sum(_nominal(one, one.amount) * shortest / span for one, span in timed)
    return GreaseGiven(
        first=first,
        last=last,
        greasings=len({ref for _, ref, _ in given}),
        given_g=given_g,
        of_plan=grease.grease_balance(
            Bounds(low=nominal_g, high=nominal_g), planned_g, days, shortest
        ),
        of_least=_against(given_g, charge_g, days, interval.handbook_days),
        of_most=_against(given_g, charge_g, days, interval.days),
    )


def grease_supplies(
    ledger: Ledger, by_tasks: Sequence[stock.PartUse] | None = None
) -> tuple[GreaseSupply, ...]:
    """Every part that a task greases with, by id; `by_tasks` as for `stock_lines`."""
    greases = {
        part.ident for task in ledger.tasks.values() for part, _, _ in _greases(ledger, task)
    }
    if not greases:
        return ()
    by_bound = [
        {line.part.ident: line for line in stock.stock_lines(ledger, stroke_g, by_tasks)}
        for stroke_g in grease.UNWEIGHED_STROKE_G
    ]
    return tuple(_supply(ledger, *(lines[name] for lines in by_bound)) for name in sorted(greases))


def _supply(ledger: Ledger, low: stock.StockLine, high: stock.StockLine) -> GreaseSupply:
    """One grease, by a stroke that weighs as little and as much as one may."""
    months = {
        month: Bounds(low=amount, high=high.used_by_month[month])
        for month, amount in low.used_by_month.items()
    }
    used_a_week_g = _used_a_week_g(ledger, months)
    cartridges = weeks_left = None
    if low.counted is not None and (pack := low.part.pack):
        cartridges = grease.cartridges_left(
            on_hand=max(0.0, low.counted) / pack,
            used_g=Bounds(low=low.used_since_count, high=high.used_since_count),
            cartridge_g=pack,
        )
        if used_a_week_g is not None and used_a_week_g.low > 0:
            # What is left and what goes each week hang on one stroke: a heavy one empties both.
            by_light = cartridges.high * pack / used_a_week_g.low
            by_heavy = cartridges.low * pack / used_a_week_g.high
            weeks_left = Bounds(low=min(by_light, by_heavy), high=max(by_light, by_heavy))
    return GreaseSupply(
        part=low.part,
        used_a_week_g=used_a_week_g,
        used_by_month_g=months,
        counted_on=low.counted_on,
        cartridges=cartridges,
        weeks_left=weeks_left,
    )


def _used_a_week_g(ledger: Ledger, months: Mapping[date, Bounds]) -> Bounds | None:
    """Over the twelve months that end with the last day's own; None without a visit."""
    last = ledger.overall.last_day
    if last is None:
        return None
    begin = date(last.year - 1, last.month + 1, 1) if last.month < 12 else date(last.year, 1, 1)
    used_g = total_g(mass for month, mass in months.items() if month >= begin)
    weeks = ((last - max(begin, ledger.overall.first_day or begin)).days + 1) / 7
    return Bounds(low=used_g.low / weeks, high=used_g.high / weeks)


def _against(
    given_g: Bounds, charge_g: float | None, days: int, interval_days: float | None
) -> GreaseBalance | None:
    if charge_g is None or interval_days is None:
        return None
    return grease.grease_balance(given_g, charge_g, days, interval_days)


def _mass_g(part: Part, amount: Amount) -> Bounds | None:
    """Grams of an amount, within bounds where the gun was not weighed; None for no grease."""
    if part.unit != "g":
        return None
    if stock.is_strokes(amount):
        return grease.mass_of_strokes_g(amount.quantity, grams_per_stroke=part.grams_per_stroke)
    grams = stock.amount_in_part_unit(part, amount)
    return None if grams is None else Bounds(low=grams, high=grams)


def _nominal(one: GreaseTask, amount: Amount) -> float:
    """Grams with one weight for every stroke, so that a share of strokes is free of the gun."""
    stroke_g = one.part.grams_per_stroke or stock.ASSUMED_GRAMS_PER_STROKE
    return amount.quantity * stroke_g if stock.is_strokes(amount) else one.each_g.low
