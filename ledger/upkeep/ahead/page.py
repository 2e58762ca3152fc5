"""The weeks ahead, and the plan of one day to print."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from functools import partial

from ledger.book import words
from ledger.book.addresses import DUE_PAGE
from ledger.book.blocks import (
    Block,
    Bullets,
    Caution,
    Checklist,
    Heading,
    Page,
    Paragraph,
    Table,
    right,
)
from ledger.book.flat import JsonRow
from ledger.compute.numbers import fixed
from ledger.compute.recurrence import is_daily
from ledger.model.ledger import Ledger
from ledger.upkeep.ahead.found import Ahead, Move, Week
from ledger.upkeep.due.found import DueWork, may_do, minutes_of, minutes_of_walk
from ledger.upkeep.lockout.found import sheets, sheets_of_walk
from ledger.upkeep.lockout.page import isolations
from ledger.upkeep.parts.found import amount_in_part_unit, stock_lines
from ledger.values import grouped

_LOCK_FIRST = (
    "Lock out and prove each machine by its own sheet before a hand goes in; the maker's manual "
    "and the rules of the site come first. This page proves nothing."
)


def ahead_page(ledger: Ledger, found: Ahead, as_of: date) -> Page:
    blocks: list[Block] = [
        Table.of(
            found.weeks,
            ("Week of", lambda week: words.format_day(week.first)),
            (right("Daily rounds"), lambda week: _hours(week.daily)),
            (right("Other work"), lambda week: _hours(week.minutes - week.daily)),
            (right("Together"), lambda week: _hours(week.minutes)),
            (right("Present"), lambda week: words.or_dash(week.present, _hours)),
            ("Short of", _short),
        ),
        Paragraph(
            "Hours by the minutes that tasks state, with the locks of each machine once a week. "
            "Each piece of work stands in the week in which it is due, its next turns as if it "
            "were done on that day."
        ),
    ]
    if found.without_hours:
        names = words.in_words([person.name for person in found.without_hours])
        blocks.append(
            Paragraph(f"Not counted as present, as site.yaml states no hours_per_week: {names}.")
        )
    kinds = sorted({kind for week in found.weeks for kind in week.by_kind}, key=sorted)
    blocks += [
        Heading(2, "By qualification"),
        Table.of(
            found.weeks,
            ("Week of", lambda week: words.format_day(week.first)),
            *((right(_kind(kind)), partial(_hours_for, kind)) for kind in kinds),
        ),
        Heading(2, "What could be moved"),
        _moves(ledger, found.moves),
        words.pointer("Work ahead"),
    ]
    return Page(path=DUE_PAGE, title="Work ahead", blocks=blocks, as_of=words.format_as_of(as_of))


def _moves(ledger: Ledger, moves: Sequence[Move]) -> Block:
    if not moves:
        return Paragraph("Nothing: no move within its window makes the fullest week emptier.")
    return Table.of(
        moves,
        ("Work", lambda move: "; ".join({one.task.title: None for one in move.work})),
        ("At", lambda move: "; ".join(_machines(ledger, move.work))),
        (right("Takes"), lambda move: words.format_minutes(move.minutes)),
        ("From the week of", lambda move: words.format_day(move.planned)),
        ("To the week of", lambda move: words.format_day(move.better)),
    )


def day_page(ledger: Ledger, work: Sequence[DueWork], day: date) -> Page:
    """What may be done on a day, daily rounds apart: order, people, parts and locks."""
    work = [one for one in work if one.is_on_the_walk and not any(map(is_daily, one.task.every))]
    nothing = Paragraph("No work but daily rounds may be done on this day.")
    blocks = list(_plan(ledger, work, day)) if work else [nothing]
    return Page(path=DUE_PAGE, title=f"Plan of {words.format_day(day)}", blocks=blocks)


def _plan(ledger: Ledger, work: Sequence[DueWork], day: date) -> Iterator[Block]:
    total = words.format_minutes(minutes_of_walk(ledger, work))
    yield Paragraph(f"{words.format_count(len(work), 'piece')} of work, about {total} with locks.")
    yield Caution([_LOCK_FIRST])
    yield Heading(2, "In walking order")
    for machine, there in grouped(work, lambda one: one.place.machine).items():
        takes = words.format_minutes(minutes_of_walk(ledger, there))
        yield Heading(3, f"{ledger.machines[machine].name}, about {takes}")
        yield Checklist([_line(ledger, one, day) for one in there])
    if locked := sheets_of_walk(sheets(ledger), work):
        yield Heading(2, "Locks")
        yield isolations(ledger, locked)
    if parts := _parts(ledger, work):
        yield Heading(2, "Parts")
        yield Bullets(parts)


def _line(ledger: Ledger, one: DueWork, day: date) -> str:
    """`Grease, top bearing, 4 min, locked out: T. Varrick or M. Osterby`; no names for anyone."""
    point = ledger.point(one.place)
    where = "" if point is None else f", {point.name or point.ident}"
    takes = f", {words.format_minutes(minutes_of([one]))}" if one.task.minutes else ""
    locked = ", locked out" if one.task.lockout else ""
    if not one.task.needs:
        return f"{one.task.title}{where}{takes}"
    people = [p for p in ledger.site.people.values() if p.is_here(day) and may_do(p, one.task)]
    who = " or ".join(person.name for person in people) or "NOBODY HERE IS QUALIFIED"
    return f"{one.task.title}{where}{takes}{locked}: {who}"


def _parts(ledger: Ledger, work: Sequence[DueWork]) -> list[str]:
    """What the work uses, and what of it should be on the shelf."""
    wanted: dict[str, float] = {}
    for one in work:
        for ident, amount in one.task.uses.items():
            in_unit = amount_in_part_unit(ledger.parts[ident], amount)
            wanted[ident] = wanted.get(ident, 0.0) + (in_unit or 0.0)
    on_hand = {line.part.ident: line.on_hand for line in stock_lines(ledger)}
    return [
        f"{part.name}: {fixed(amount, 1).removesuffix('.0')} {part.unit}, "
        f"{_shelf(amount, on_hand[ident])}{f', {part.place}' if part.place else ''}"
        for ident, amount in wanted.items()
        if (part := ledger.parts[ident])
    ]


def _shelf(wanted: float, on_hand: float | None) -> str:
    if on_hand is None:
        return "never counted"
    few = ": TOO FEW" if on_hand < wanted else ""
    return f"{fixed(on_hand, 1).removesuffix('.0')} on hand{few}"


def _hours_for(kind: frozenset[str], week: Week) -> str:
    return _hours(week.by_kind.get(kind, 0.0))


def _hours(minutes: float) -> str:
    return f"{fixed(minutes / 60, 1)} h" if minutes else words.NONE


def _kind(kind: frozenset[str]) -> str:
    return words.in_words([one.replace("-", " ") for one in sorted(kind)]) or "anyone"


def _short(week: Week) -> str:
    """`1.5 h for lockout, or lockout and height`."""
    if week.present is None:
        return "cannot tell"
    if week.short is None:
        return words.NONE
    kinds = ", or ".join(map(_kind, week.short.kinds))
    return f"{_hours(week.short.minutes - week.short.present)} for {kinds}"


def _machines(ledger: Ledger, work: Sequence[DueWork]) -> Mapping[str, None]:
    return dict.fromkeys(ledger.machines[one.place.machine].name for one in work)


def ahead_rows(found: Ahead) -> dict[str, list[JsonRow]]:
    """For JSON; minutes, and days by ISO 8601."""
    return {
        "weeks": [_week_row(week) for week in found.weeks],
        "moves": [_move_row(move) for move in found.moves],
    }


def _week_row(week: Week) -> JsonRow:
    short = week.short
    return {
        "week_of": week.first.isoformat(),
        "daily_minutes": week.daily,
        "minutes": week.minutes,
        "by_qualification": [
            {"qualified": sorted(kind), "minutes": week.by_kind[kind]}
            for kind in sorted(week.by_kind, key=sorted)
        ],
        "present_minutes": week.present,
        "short": None
        if short is None
        else {
            "qualified": [sorted(kind) for kind in short.kinds],
            "minutes": short.minutes - short.present,
        },
    }


def _move_row(move: Move) -> JsonRow:
    return {
        "work": [{"task": one.task.ident, "at": str(one.place)} for one in move.work],
        "minutes": move.minutes,
        "from_week_of": move.planned.isoformat(),
        "to_week_of": move.better.isoformat(),
    }
