"""Wear: the last reading of nozzles, chain, belts, cloth and dampers against their limits.

What is past its limit, near it, or moves at a new pace has its picture and earlier readings.
"""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from functools import partial
from itertools import groupby
from typing import NamedTuple, TypeVar

from ledger.book import words
from ledger.book.addresses import WEAR_PAGE
from ledger.book.blocks import (
    VERDICT,
    Block,
    Bullets,
    Caution,
    Heading,
    Page,
    Paragraph,
    Picture,
    Spans,
    Strong,
    Table,
    right,
)
from ledger.book.entry_words import format_reading
from ledger.book.plain import kept
from ledger.compute.meter import MeterLog, total_on
from ledger.compute.numbers import fixed
from ledger.compute.wear import SOUND_SHARE, WearVerdict
from ledger.model.ledger import Ledger
from ledger.model.machines import NozzleRating
from ledger.model.readings import BOUNCES
from ledger.model.site import Site
from ledger.upkeep.drift.found import limit_reached
from ledger.upkeep.drift.plot import drift_plot
from ledger.upkeep.drift.series import BELT, FORCE_PER_NORMAL, STRIP_LENGTH, SeriesReading
from ledger.upkeep.drift.words import format_measured, format_movement, format_read
from ledger.upkeep.wear import plot as plots
from ledger.upkeep.wear.found import (
    ALLOWED_BOUNCES,
    FAULTS,
    KINDS,
    DamperItem,
    Fault,
    NozzleGroup,
    Wear,
    WearItem,
)
from ledger.values import dataclass

T = TypeVar("T")

_LATEST = 6


def _reading_row(ledger: Ledger, item: WearItem) -> tuple[Spans, ...]:
    """Verdict, last reading, limit, and when the limit is reached."""
    return (
        words.place_link(ledger, item.place),
        _format_verdict(item.judgement.value),
        _format_last(item, ledger.site),
        plots.format_limit(item, ledger.site),
        plots.reached_shown(item.result),
        words.format_day(item.last.entry.day),
    )


def _format_last(item: WearItem, site: Site) -> str:
    view = plots.view_of_item(item, site)
    return f"{format_measured(item.last.measured, view)} {view.unit}"


def _damper_row(ledger: Ledger, damper: DamperItem) -> tuple[Spans, ...]:
    return (
        words.place_link(ledger, damper.place),
        _format_damper(damper.verdict),
        words.format_count(damper.last.readings[BOUNCES] or 0, "bounce"),
        f"at most {ALLOWED_BOUNCES}",
        words.NONE,
        words.format_day(damper.last.day),
    )


_LAST_READINGS = "Where", VERDICT, right("Last ± U"), "Limit", "Limit reached", "Read on"


def _format_damper(verdict: WearVerdict | None) -> Spans:
    if verdict is None:
        return "renewed since, not checked yet"
    return _format_verdict("good" if verdict is WearVerdict.RETURNS else verdict.value)


def _format_verdict(verdict: str) -> Spans:
    return Strong(words.marked(verdict)) if verdict in FAULTS else words.marked(verdict)


def catch_table(ledger: Ledger, group: NozzleGroup) -> Table:
    """The last catch of each nozzle of a machine."""
    site = ledger.site

    def of_new(item: WearItem) -> str:
        point = ledger.point(item.place)
        rating = point.rating if point else None
        return plots.format_rating(rating, site) if isinstance(rating, NozzleRating) else words.NONE

    return Table.of(
        group.items,
        ("Nozzle", lambda item: words.format_point(ledger, item.place)),
        ("Read", lambda item: words.format_day(item.last.entry.day)),
        ("Caught", lambda item: _format_caught(item, site)),
        (right("Flow at rated ± U"), lambda item: plots.flow_shown(item, site)),
        ("New", of_new),
        (right("Share of new ± U"), lambda item: _format_last(item, site)),
        (VERDICT, lambda item: words.marked(item.judgement.value)),
        ("Outlook", lambda item: plots.outlook_shown(item, site)),
    )


def _format_caught(item: WearItem, site: Site) -> str:
    entries = item.last.entries
    text = "; ".join(", ".join(format_reading(entry.readings, site)) for entry in entries)
    if item.nozzle is not None and item.nozzle.catches < len(entries):
        text += " (they do not agree: the last counts)"
    return text


def share_table(ledger: Ledger, group: NozzleGroup) -> Block:
    """The shares of new flow of the newest rounds, in percent, a column a day."""
    days = sorted(
        {reading.entry.day for item in group.items for reading in item.result.series.readings}
    )[-_LATEST:]

    def share_on(day: date, item: WearItem) -> str:
        shares = [r.measured.value for r in item.result.series.readings if r.entry.day == day]
        return fixed(shares[-1], 0) if shares else words.NONE

    return Table.of(
        group.items,
        ("Share of new, %", lambda item: words.format_point(ledger, item.place)),
        *((right(words.format_day(day)), partial(share_on, day)) for day in days),
    )


def latest_table(ledger: Ledger, item: WearItem, vehicles: MeterLog | None) -> Table:
    """The newest readings of one series; with a meter, by the vehicles washed until then."""
    view = plots.view_of_item(item, ledger.site)

    def thousands(reading: SeriesReading) -> str:
        total = None if vehicles is None else total_on(vehicles, reading.entry.day)
        return words.or_dash(total, lambda total: fixed(total / 1000, 1))

    by_vehicles = ((right("Thousand vehicles"), thousands),)
    # A length is read off as it is shown; of other readings the raw numbers are worth a column.
    is_raw = item.result.series.kind in {BELT, STRIP_LENGTH}
    as_read = (("Read", lambda reading: format_read(reading, ledger.site)),)
    return Table.of(
        reversed(item.result.series.readings[-_LATEST:]),
        ("Date", lambda reading: words.format_day(reading.entry.day)),
        *(() if vehicles is None else by_vehicles),
        *(() if is_raw else as_read),
        (right(f"{view.unit} ± U"), lambda reading: format_measured(reading.measured, view)),
        ("Entry", lambda reading: words.entry_link(ledger, reading.entry.ref)),
        newest_first=True,
    )


NEAR = timedelta(days=90)
"""A limit reached within this time of the last day filed is near: time to order and to plan."""


_WHY_TOLD = (
    "Parts that need work, that cannot be judged, that at the present rate reach a limit within "
    f"{NEAR.days} days of the last visit, or that wear faster or slower than before."
)


@kept
@dataclass(frozen=True, slots=True)
class WearRows:
    """What the page says of some machines, by what wears.

    `groups` are the nozzles that are told in full and `items` what else is: whether it can wait,
    the day on which its limit is reached, its kind and its blocks. `never` are the points that
    were never measured: their kind, how many, and the machine.
    """

    faults: Sequence[tuple[str, Spans]]
    readings: Sequence[tuple[str, Sequence[Spans]]]
    groups: Sequence[Block]
    items: Sequence[tuple[bool, str, int, Sequence[Block]]]
    never: Sequence[tuple[str, int, str]]


def wear_rows(ledger: Ledger, found: Wear, *, in_full: bool = False) -> WearRows:
    """Of the machines of a ledger, or of a part of it."""
    last = ledger.overall.last_day
    soon = date.min if last is None else last + NEAR

    def is_told(item: WearItem) -> bool:
        return in_full or _stands_out(item, soon)

    of_kind = found.by_kind.items()
    groups = [group for group in found.nozzles if group.hides or any(map(is_told, group.items))]
    return WearRows(
        [(fault.kind, _format_fault(ledger, fault)) for fault in found.faults],
        [
            *((kind, _reading_row(ledger, item)) for kind, items in of_kind for item in items),
            *(("damper", _damper_row(ledger, damper)) for damper in found.dampers),
        ],
        [block for group in groups for block in _nozzles(ledger, group)],
        [
            (*_urgency(item), KINDS.index(kind), _item(ledger, found, item))
            for kind, items in of_kind
            for item in items
            if kind != "nozzle" and is_told(item)
        ],
        [
            (kind, len([*same]), ledger.machines[machine].name)
            for kind, places in found.never.items()
            for machine, same in groupby(places, key=lambda place: place.machine)
        ],
    )


def _format_fault(ledger: Ledger, fault: Fault) -> Spans:
    when = f", {fault.how} {words.format_day(fault.day)}"
    return Strong(fault.verdict.capitalize()), ": ", words.place_link(ledger, fault.place), when


def _details(of: Sequence[WearRows], *, in_full: bool) -> list[Block]:
    """What needs work first, then the soonest limit; nothing where all is steady and far off."""
    groups = [block for rows in of for block in rows.groups]
    items = sorted((item for rows in of for item in rows.items), key=lambda item: item[:3])
    if not groups and not items:
        return []
    heading = "In full" if in_full else "Past a limit, near it, or at a new pace"
    blocks: list[Block] = [Heading(2, heading)]
    if not in_full:
        blocks.append(Paragraph(_WHY_TOLD))
    blocks.extend(groups)
    for *_, of_item in items:
        blocks.extend(of_item)
    return blocks


def _stands_out(item: WearItem, soon: date) -> bool:
    """Whether its verdict is open or bad, its limit near, or its pace another than before."""
    reached = limit_reached(item.result)
    return (
        item.needs_work
        or item.judgement.value.startswith("cannot tell")
        or (reached is not None and reached[1] <= soon)
        or item.result.has_bent
    )


def _urgency(item: WearItem) -> tuple[bool, str]:
    reached = limit_reached(item.result)
    return not item.needs_work, str(date.max if reached is None else reached[1])


def _nozzles(ledger: Ledger, group: NozzleGroup) -> list[Block]:
    return [
        Heading(3, f"{ledger.machines[group.machine].name}: nozzles"),
        Paragraph(_format_average(ledger, group)),
        catch_table(ledger, group),
        Picture(f"plots/nozzles-{group.machine}.svg", plots.nozzle_plot(ledger, group)),
        share_table(ledger, group),
    ]


def _format_average(ledger: Ledger, group: NozzleGroup) -> str:
    text = f"On average {fixed(100 * group.mean_share, 0)} % of new"
    if not group.hides:
        return f"{text}."
    faulty = words.in_words(
        [
            f"{words.format_point(ledger, item.place)} ({item.judgement.value})"
            for item in group.items
            if item.needs_work
        ]
    )
    return f"{text}: the average looks sound and hides {faulty}."


def _item(ledger: Ledger, found: Wear, item: WearItem) -> list[Block]:
    vehicles = found.vehicles if item in found.by_kind["cloth"] else MeterLog()
    plot = drift_plot(ledger, item.result)
    if len(vehicles.days) > 1:
        plot = plots.cloth_plot(ledger, item, vehicles)
    return [
        Heading(3, ledger.place_name(item.place)),
        Paragraph(_format_item(ledger, item)),
        Picture(f"plots/wear-{item.result.series.ident}.svg", plot),
        latest_table(ledger, item, vehicles if vehicles.days else None),
    ]


def _format_item(ledger: Ledger, item: WearItem) -> Spans:
    """The verdict, the reading it is on, the limit, the pace and when the limit is reached."""
    pace = format_movement(item.result.outlook, plots.view_of_item(item, ledger.site))
    moves = "" if pace == words.NONE else f"It {pace}. "
    outlook = plots.outlook_shown(item, ledger.site)
    return (
        Strong(item.judgement.value.capitalize()),
        (
            f": {item.result.series.kind.name} {_format_last(item, ledger.site)}, read "
            f"{words.format_day(item.last.entry.day)}; limit "
            f"{plots.format_limit(item, ledger.site)}. {moves}{outlook[0].upper()}{outlook[1:]}."
        ),
        " Its pace has changed." if item.result.has_bent else "",
    )


_CAUTION: tuple[Spans, ...] = (
    words.SAFETY[0],
    (
        "Never catch or touch the jet of a high-pressure nozzle: it cuts and injects. Chains and "
        "belts are measured with the drive locked out; a chain keeps its tension when it stands."
    ),
)


class _Kind(NamedTuple):
    """A kind of point: its title, what is said of those never read, and how each is judged."""

    title: str
    noun: str
    unread: str
    method: str


_KINDS = {
    "nozzle": _Kind(
        "Nozzles",
        "nozzle",
        "never caught",
        "caught flow, converted to the nozzle's rated pressure (square root of the ratio), as a "
        f"share of a new one: {fixed(100 * SOUND_SHARE.low, 0)} to "
        f"{fixed(100 * SOUND_SHARE.high, 0)} % is sound, above is worn, below is clogged. Each "
        "nozzle is judged alone, for a clogged one hides wear in an average.",
    ),
    "chain": _Kind(
        "Chain",
        "chain",
        "never measured",
        "elongation against the new length of as many pitches. The maker's limit comes first "
        "(`worn_percent`). Without one, a roller chain is renewed at 3 % where its centres can be "
        "adjusted and at 1.5 % where they are fixed (chain makers' pages, after ASME B29.1). For "
        "a rivetless chain no standard gives a limit: look closely from 2 %, renew at 3 % (own "
        "rule).",
    ),
    "belt": _Kind(
        "Belts",
        "belt",
        "never measured",
        "a belt should give 1/64 of its span in the middle (TM 5-4310-339-15), under a force "
        "between the maker's normal and half as much again. The force noted is taken as the "
        f"middle of that range, {words.format_number(FORCE_PER_NORMAL)} times normal (common "
        "practice, no source). A belt just fitted is set tighter to run in.",
    ),
    "cloth": _Kind(
        "Cloth",
        "cloth point",
        "never measured",
        "strips wear by vehicles washed, so the pace is per thousand vehicles and a quiet season "
        "is not better cloth. The date follows the meter's recent rate, at 95 % confidence.",
    ),
    "damper": _Kind(
        "Dampers",
        "damper",
        "never checked",
        "bounces counted when the arm is let go. It may settle "
        f"{'once' if ALLOWED_BOUNCES == 1 else f'{ALLOWED_BOUNCES} times'}; more means a weak "
        "damper (common practice, no source).",
    ),
}


def wear_page(ledger: Ledger, found: Wear, *, in_full: bool = False) -> Page:
    """Pictures and earlier readings stand for what is past its limit, near it or moves at a new
    pace; `in_full` for everything found.
    """
    return page_of_rows([wear_rows(ledger, found, in_full=in_full)], in_full=in_full)


def page_of_rows(of: Sequence[WearRows], *, in_full: bool = False) -> Page:
    """The page of all rows, which stand in walking order.

    Depends on the sources only: it says dates, never how far off they are.
    """
    faults = [line for _, line in _by_kind(line for rows in of for line in rows.faults)]
    blocks: list[Block] = [
        Paragraph(
            "The last reading of everything that wears, its limit and a verdict. ± U holds the "
            "true value in about 95 of 100 cases. A verdict is given where the chance of being on "
            "one side is at least 95 %; otherwise it says cannot tell."
        ),
        words.pointer("Wear"),
        Caution(_CAUTION),
        Heading(2, "Needs work"),
        Bullets(faults) if faults else Paragraph("No last reading is beyond its limit."),
        *_last_readings(_by_kind(row for rows in of for row in rows.readings)),
        *_details(of, in_full=in_full),
        *_never([one for rows in of for one in rows.never]),
    ]
    return Page(path=WEAR_PAGE, title="Nozzles, chain, belts, cloth and dampers", blocks=blocks)


def _by_kind(found: Iterable[tuple[str, T]]) -> list[tuple[str, T]]:
    return sorted(found, key=lambda one: KINDS.index(one[0]))


def _last_readings(rows: Sequence[tuple[str, Sequence[Spans]]]) -> list[Block]:
    if not rows:
        return []
    kinds = [_KINDS[word] for word in dict(rows)]
    how: list[Spans] = [(Strong(kind.title), f": {kind.method}") for kind in kinds]
    return [
        Heading(2, "Last readings"),
        Paragraph(
            "Limit reached is the likeliest day at the present rate of wear, or a month where the "
            "readings are vague. A date needs readings on five days. Earlier readings are on the "
            "machine's page."
        ),
        Table(_LAST_READINGS, [row for _, row in rows]),
        Heading(3, "How each is judged"),
        Bullets(how),
    ]


def _never(found: Sequence[tuple[str, int, str]]) -> list[Block]:
    if not found:
        return []
    items = []
    for word, kind in _KINDS.items():
        of_kind = [(count, name) for one, count, name in found if one == word]
        if of_kind:
            number = words.format_count(sum(count for count, _ in of_kind), kind.noun)
            names = dict.fromkeys(name for _, name in of_kind)
            items.append(f"{number} {kind.unread}: {'; '.join(names)}")
    return [Heading(2, "Without a reading"), Bullets(items)]
