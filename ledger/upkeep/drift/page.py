"""Drift: what moves away from its baseline, what wears, and when it will leave its limits."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence

from ledger.book import words
from ledger.book.addresses import DRIFT_PAGE, WEAR_PAGE
from ledger.book.blocks import (
    Block,
    Bullets,
    Column,
    Heading,
    Link,
    Page,
    Paragraph,
    Picture,
    Spans,
    Strong,
    Table,
    right,
)
from ledger.book.plain import kept
from ledger.compute.drift import DriftBaseline
from ledger.compute.numbers import shown, significant
from ledger.compute.ratio import EfficiencyChange
from ledger.compute.trend import BASELINE_READINGS, NoTrend
from ledger.model.ledger import Ledger
from ledger.model.references import EntryRef
from ledger.upkeep.drift import found as drift
from ledger.upkeep.drift.common import LEAST_OTHERS
from ledger.upkeep.drift.found import (
    AlarmPrice,
    ChartedStretch,
    CommonSignal,
    Drift,
    DriftResult,
    DriftSignal,
)
from ledger.upkeep.drift.plot import MOST_SHOWN, drift_plot
from ledger.upkeep.drift.series import MIN_READINGS, SeriesReading
from ledger.upkeep.drift.words import (
    UnitView,
    does_move,
    format_chance_of_luck,
    format_doubts,
    format_limits,
    format_measured,
    format_movement,
    format_outlook,
    format_read,
    format_signal,
    format_stated,
    format_title,
    view_of,
)
from ledger.values import dataclass

_LATEST = 12

_FEW_SIGNALS = 2


def series_blocks(ledger: Ledger, result: DriftResult) -> Iterator[Block]:
    """One series: facts, picture, and the same in tables."""
    view = view_of(result.series, ledger.site)
    yield Heading(2, format_title(ledger, result.series))
    yield Bullets(list(_facts(ledger, result, view)))
    yield series_picture(ledger, result)
    if len(result.signals) > _FEW_SIGNALS:
        yield _signal_table(ledger, result)
    if result.stretches:
        yield _stretch_table(result, view)
    yield from _latest(ledger, result, view)


def _facts(ledger: Ledger, result: DriftResult, view: UnitView) -> Iterator[Spans]:
    series, signals = result.series, result.signals
    yield words.place_link(ledger, series.place), f". Limits: {format_stated(series, view)}."
    yield f"{_pace_sentence(result, view)} {_capital(format_outlook(result, view))}.".lstrip()
    if result.has_bent:
        yield (
            "The rate of change is not what it was. It is worked out from the newest "
            f"{len(result.trend_readings)} readings only."
        )
    yield from format_doubts(result)
    if result.efficiency is not None:
        yield _format_efficiency(result.efficiency)
    if not signals:
        yield "Nothing unusual since the last change."
    elif len(signals) <= _FEW_SIGNALS:
        for one in signals:
            yield Strong(format_signal(one)), f" ({_format_evidence(one.evidence)})"
    else:
        first, last = format_signal(signals[0]), format_signal(signals[-1])
        since = f" since the last change; the first on {first}; the last on {last}."
        yield Strong(f"{len(signals)} signals"), since


def series_picture(ledger: Ledger, result: DriftResult) -> Picture:
    """The chart of one series."""
    return Picture(f"plots/drift-{result.series.ident}.svg", drift_plot(ledger, result))


def _signal_table(ledger: Ledger, result: DriftResult) -> Table:
    def until(signal: DriftSignal) -> Spans:
        several = len(signal.evidence) > 1
        return words.entry_link(ledger, signal.evidence[-1]) if several else words.NONE

    return Table.of(
        reversed(result.signals),
        ("Unusual on", lambda signal: words.format_day(signal.day)),
        ("What spoke", lambda signal: signal.text),
        ("From", lambda signal: words.entry_link(ledger, signal.evidence[0])),
        ("To", until),
        newest_first=True,
    )


def _pace_sentence(result: DriftResult, view: UnitView) -> str:
    pace = format_movement(result.outlook, view)
    luck = format_chance_of_luck(result.outlook)
    if pace == words.NONE:
        return ""
    return f"{_capital(pace)}{f'; {luck}' if luck else ''}."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _format_evidence(refs: Sequence[EntryRef]) -> str:
    """All entries of a few, the ends of many."""
    if len(refs) <= 3:
        return ", ".join(map(str, refs))
    return f"{len(refs)} entries, {refs[0]} to {refs[-1]}"


def _format_efficiency(change: EfficiencyChange) -> str:
    then, now = (
        shown(100 * efficiency.fraction, 100 * efficiency.expanded())
        for efficiency in (change.first, change.now)
    )
    verdict = (
        "it has fallen by more than both uncertainties allow: the motor leaks inside"
        if change.worn
        else "no fall beyond the uncertainties"
    )
    return (
        f"Volumetric efficiency (the share of the oil that turns the motor): {then} % in the first "
        f"{BASELINE_READINGS} readings, {now} % in the last {drift.NOW_READINGS}; "
        f"{verdict}."
    )


def _stretch_table(result: DriftResult, view: UnitView) -> Table:
    def level(stretch: ChartedStretch) -> str:
        first = stretch.baseline
        if not isinstance(first, DriftBaseline):
            return first.text
        return shown(view.of(first.centre), 2 * first.centre_uncertainty * view.factor)

    def since(stretch: ChartedStretch) -> str:
        return words.format_day(stretch.since.day) if stretch.since else "first reading"

    return Table.of(
        reversed(result.stretches),
        ("Counted from", since),
        ("Why", lambda stretch: stretch.since.what if stretch.since else words.NONE),
        (right(f"First level ± U, {view.unit}"), level),
        (right("Normal range now"), lambda stretch: format_limits(stretch.last_point, view)),
        (right("Readings"), lambda stretch: str(len(stretch.readings))),
        (right("Signals"), lambda stretch: str(len(stretch.signals))),
    )


def _latest(ledger: Ledger, result: DriftResult, view: UnitView) -> Iterator[Block]:
    readings = result.series.readings
    points = {
        reading.entry.ref: point
        for stretch in result.stretches
        for reading, point in zip(stretch.watched, stretch.points, strict=False)
    }
    columns: list[tuple[Column | str, Callable[[SeriesReading], Spans]]] = [
        ("Date", lambda one: words.format_day(one.entry.day)),
        ("Read", lambda one: format_read(one, ledger.site)),
        (right(f"{view.unit} ± U"), lambda one: format_measured(one.measured, view)),
        (right("Normal range"), lambda one: format_limits(points.get(one.entry.ref), view)),
        ("Entry", lambda one: words.entry_link(ledger, one.entry.ref)),
    ]
    if not result.series.kind.is_charted:
        del columns[3]
    yield Table.of(readings[: -_LATEST - 1 : -1], *columns, newest_first=True)
    if len(readings) > _LATEST:
        pictured = min(len(readings), MOST_SHOWN)
        yield Paragraph(
            f"The newest {_LATEST} of {len(readings)} readings; the picture shows {pictured}."
        )


METHOD = (
    (
        "Unusual means that the readings have left the level they had at first: go and look. The "
        "page cannot say what has moved. After a changed setting or a recorded repair, the next "
        f"{BASELINE_READINGS} readings set a new level."
    ),
    (
        "The rate of change is that of the readings since the part was last renewed, or since the "
        "rate changed. A date for a limit assumes that this rate goes on. Speeds are those at the "
        "setting in force, so a changed setting is no drift."
    ),
)


STEADY = "Neither a rise nor a fall shows, and nothing was unusual."


@kept
@dataclass(frozen=True, slots=True)
class DriftRows:
    """What the page says of some machines: rows and blocks, and the quantities listed elsewhere."""

    signals: Sequence[Spans]
    moving: Sequence[Sequence[Spans]]
    steady: Sequence[Sequence[Spans]]
    sections: Sequence[Block]
    pictures: Sequence[Block]
    elsewhere: Sequence[str]
    too_short: Sequence[str]


def drift_rows(ledger: Ledger, found: Drift) -> DriftRows:
    """Of the series of a ledger, or of a part of it."""
    charted = [result for result in found.results if result.series.kind.is_charted]
    moving = [result for result in charted if not is_steady(result)]
    steady = [result for result in charted if is_steady(result)]
    pictures: list[Block] = []
    for one in steady:
        pictures += [Heading(3, format_title(ledger, one.series)), series_picture(ledger, one)]
    return DriftRows(
        [_signal_line(ledger, result) for result in found.results if result.signals],
        [_summary_row(ledger, result) for result in moving],
        [_steady_row(ledger, result) for result in steady],
        [block for result in moving for block in series_blocks(ledger, result)],
        pictures,
        [one.series.kind.name for one in found.results if not one.series.kind.is_charted],
        [series.kind.name for series in found.too_short],
    )


def drift_page(ledger: Ledger, found: Drift) -> Page:
    """Depends on the sources only: it says dates, never how far off they are."""
    return page_of_rows(found.price, found.common, [drift_rows(ledger, found)])


def page_of_rows(
    price: AlarmPrice | None, common: Sequence[CommonSignal], of: Sequence[DriftRows]
) -> Page:
    """The page of all rows, which stand in walking order."""
    blocks: list[Block] = [*(Paragraph(text) for text in METHOD), words.pointer("Drift")]
    if price is not None:
        blocks.insert(2, Paragraph(_format_price(price)))
    moving = [row for rows in of for row in rows.moving]
    steady = [row for rows in of for row in rows.steady]
    elsewhere = _format_kinds(name for rows in of for name in rows.elsewhere)
    if not (moving or steady or elsewhere):
        blocks.append(Paragraph(f"No series has {MIN_READINGS} readings yet."))
    else:
        items = [_common_line(common)] if common else []
        items += [line for rows in of for line in rows.signals]
        nothing = Paragraph("Nothing unusual since the last changes.")
        blocks.extend((Heading(2, "Unusual"), Bullets(items) if items else nothing))
    if moving:
        summary = Table(_SUMMARY, moving)
        blocks.extend((Heading(2, "Series that change or stand out"), summary))
    if steady:
        blocks.extend((Heading(2, "Steady"), Paragraph(STEADY), Table(_STEADY, steady)))
    if elsewhere:
        # What wears by nature is told on the page of wear alone.
        wear = Link("nozzles, chain, belts, cloth and dampers", WEAR_PAGE)
        told = "Parts that always wear are on another page, with last readings and dates: "
        blocks.append(Paragraph((told, wear, f"; {elsewhere}.")))
    if too_short := [name for rows in of for name in rows.too_short]:
        blocks.append(
            Paragraph(
                f"Not enough data yet: {words.format_count(len(too_short), 'series', 'series')} "
                f"with fewer than {MIN_READINGS} readings: {_format_kinds(too_short)}."
            )
        )
    blocks.extend(block for rows in of for block in rows.sections)
    if steady:
        blocks.append(Heading(2, "Pictures of the steady series"))
    blocks.extend(block for rows in of for block in rows.pictures)
    return Page(path=DRIFT_PAGE, title="Drift and wear", blocks=blocks)


def _format_price(price: AlarmPrice) -> str:
    """What a false alarm's chance is, of one series and of the site."""
    alarms = words.format_number(price.false_alarms_per_year)
    return (
        f"Series watched: {price.series}. A steady series "
        f"raises a false alarm about {significant(100 * price.chance, 2)} times in 100 years, and "
        f"all together about {alarms} a year, as the site's policy allows. This assumes that "
        "readings on different days are independent. If readings wander slowly, false alarms come "
        f"about five times as often. If more than {LEAST_OTHERS} speeds were read on a day, the "
        "change that they share is removed first."
    )


def is_steady(result: DriftResult) -> bool:
    """Whether neither a rise nor a fall shows, and nothing was ever unusual."""
    return (
        isinstance(result.outlook, NoTrend)
        and not does_move(result.outlook)
        and not result.signals
        and not result.answered
    )


def _common_line(common: Sequence[CommonSignal]) -> Spans:
    last = common[-1]
    return (
        Strong("All brushes of a day together"),
        (
            f", {words.format_count(len(common), 'signal')}, the last on "
            f"{words.format_day(last.day)}: {last.text}, by {significant(last.percent, 2)} %. Look "
            "at what they share: line voltage, oil, the watch."
        ),
    )


def _signal_line(ledger: Ledger, result: DriftResult) -> Spans:
    """Since when, how often, and what spoke last."""
    last = result.signals[-1]
    count = len(result.signals)
    since = (
        f", {words.format_count(count, 'signal')} since "
        f"{words.format_day(result.signals[0].day)}, the last on "
        if count > 1
        else ", on "
    )
    return (
        Strong(format_title(ledger, result.series)),
        f"{since}{format_signal(last)} (",
        words.entry_link(ledger, last.evidence[-1]),
        ").",
    )


_SUMMARY = ("Where, what", right("Last ± U"), "Limits", "Signals", "Pace", "Outlook")


def _summary_row(ledger: Ledger, result: DriftResult) -> tuple[Spans, ...]:
    series = result.series
    view = view_of(series, ledger.site)
    return (
        (words.place_link(ledger, series.place), f": {series.kind.name}"),
        f"{format_measured(series.readings[-1].measured, view)} {view.unit}",
        format_stated(series, view),
        _format_count(result),
        format_movement(result.outlook, view),
        format_outlook(result, view),
    )


def _format_count(result: DriftResult) -> str:
    """Since the last change and, where a repair or another setting answered some, before it."""
    count = str(len(result.signals))
    return f"{count}, {result.answered} before" if result.answered else count


_STEADY = ("Where", "What", right("Readings"), right("Last ± U"), right("Normal range"), "Limits")


def _steady_row(ledger: Ledger, result: DriftResult) -> tuple[Spans, ...]:
    series = result.series
    view = view_of(series, ledger.site)
    point = result.stretches[-1].last_point if result.stretches else None
    return (
        words.place_link(ledger, series.place),
        series.kind.name,
        str(len(series.readings)),
        f"{format_measured(series.readings[-1].measured, view)} {view.unit}",
        format_limits(point, view),
        format_stated(series, view),
    )


def _format_kinds(names: Iterable[str]) -> str:
    """Each quantity with how many series it has, by name."""
    counts = Counter(names)
    return words.in_words([f"{name} ({counts[name]})" for name in sorted(counts)])
