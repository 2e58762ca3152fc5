"""Drift: what moves away from its baseline, what wears, and when it will leave its limits."""

from collections import Counter
from collections.abc import Iterable, Sequence

from ledger.book import words
from ledger.book.addresses import DRIFT_PAGE, WEAR_PAGE
from ledger.book.blocks import (
    Block,
    Bullets,
    Heading,
    Link,
    Page,
    Paragraph,
    Picture,
    Spans,
    Strong,
    Table,
    left,
    right,
)
from ledger.book.plain import kept
from ledger.compute.drift import DriftBaseline
from ledger.compute.numbers import shown, significant
from ledger.compute.trend import BASELINE_READINGS, NoTrend
from ledger.model.ledger import Ledger
from ledger.model.references import EntryRef
from ledger.upkeep.drift import found as drift
from ledger.upkeep.drift.common import LEAST_OTHERS
from ledger.upkeep.drift.found import AlarmPrice, CommonSignal, Drift, DriftResult, EfficiencyFall
from ledger.upkeep.drift.plot import MOST_SHOWN, drift_plot
from ledger.upkeep.drift.series import MIN_READINGS
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


def series_blocks(ledger: Ledger, result: DriftResult) -> list[Block]:
    """One series: facts, picture, and the same in tables."""
    series = result.series
    view = view_of(series, ledger.site)
    facts: list[Spans] = [
        (words.place_link(ledger, series.place), f". Limits: {format_stated(series, view)}."),
        f"{_pace_sentence(result, view)} {_capital(format_outlook(result, view))}.".lstrip(),
    ]
    if result.has_bent:
        facts.append(
            "The rate of change is not what it was. It is worked out from the newest "
            f"{len(result.trend_readings)} readings only."
        )
    facts.extend(format_doubts(result))
    if result.efficiency is not None:
        facts.append(_format_efficiency(result.efficiency))
    facts.extend(_signal_facts(result))
    blocks: list[Block] = [
        Heading(2, format_title(ledger, series)),
        Bullets(facts),
        series_picture(ledger, result),
    ]
    if len(result.signals) > _FEW_SIGNALS:
        blocks.append(_signal_table(ledger, result))
    if result.stretches:
        blocks.append(_stretch_table(result, view))
    blocks.extend(_latest(ledger, result, view))
    return blocks


def series_picture(ledger: Ledger, result: DriftResult) -> Picture:
    """The chart of one series."""
    return Picture(f"plots/drift-{result.series.ident}.svg", drift_plot(ledger, result))


def _signal_facts(result: DriftResult) -> list[Spans]:
    """Each signal of a few; of many how many, the first and the last."""
    signals = result.signals
    if len(signals) <= _FEW_SIGNALS:
        return [
            (Strong(format_signal(signal)), f" ({_format_evidence(signal.evidence)})")
            for signal in signals
        ] or ["Nothing unusual since the last change."]
    return [
        (
            Strong(f"{len(signals)} signals"),
            (
                f" since the last change; the first on {format_signal(signals[0])}; the last on "
                f"{format_signal(signals[-1])}."
            ),
        )
    ]


def _signal_table(ledger: Ledger, result: DriftResult) -> Table:
    return Table(
        (left("Unusual on"), left("What spoke"), left("From"), left("To")),
        [
            (
                words.format_day(signal.day),
                signal.text,
                words.entry_link(ledger, signal.evidence[0]),
                words.entry_link(ledger, signal.evidence[-1])
                if len(signal.evidence) > 1
                else words.NONE,
            )
            for signal in reversed(result.signals)
        ],
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


def _format_efficiency(fall: EfficiencyFall) -> str:
    then, now = (
        shown(100 * efficiency.fraction, 100 * efficiency.expanded())
        for efficiency in (fall.baseline, fall.now)
    )
    verdict = (
        "it has fallen by more than both uncertainties allow: the motor leaks inside"
        if fall.change.worn
        else "no fall beyond the uncertainties"
    )
    return (
        f"Volumetric efficiency (the share of the oil that turns the motor): {then} % in the first "
        f"{BASELINE_READINGS} readings, {now} % in the last {drift.NOW_READINGS}; "
        f"{verdict}."
    )


def _stretch_table(result: DriftResult, view: UnitView) -> Table:
    return Table(
        (
            left("Counted from"),
            left("Why"),
            right(f"First level ± U, {view.unit}"),
            right("Normal range now"),
            right("Readings"),
            right("Signals"),
        ),
        [_stretch_row(stretch, view) for stretch in reversed(result.stretches)],
    )


def _stretch_row(stretch: drift.ChartedStretch, view: UnitView) -> tuple[str, ...]:
    baseline = stretch.baseline
    readings = len(stretch.baseline_readings) + len(stretch.watched)
    since = "first reading" if stretch.since is None else words.format_day(stretch.since.day)
    limits = stretch.points[-1].limits if stretch.points else None
    return (
        since,
        words.NONE if stretch.since is None else stretch.since.what,
        shown(view.of(baseline.centre), 2 * baseline.centre_uncertainty * view.factor)
        if isinstance(baseline, DriftBaseline)
        else baseline.text,
        words.NONE if limits is None else format_limits(limits.lower, limits.upper, view),
        str(readings),
        str(len(stretch.signals)),
    )


def _latest(ledger: Ledger, result: DriftResult, view: UnitView) -> list[Block]:
    readings = result.series.readings
    limits = {
        reading.entry.ref: point.limits
        for stretch in result.stretches
        for reading, point in zip(stretch.watched, stretch.points, strict=False)
    }
    is_charted = result.series.kind.is_charted
    rows: list[tuple[Spans, ...]] = []
    for reading in reversed(readings[-_LATEST:]):
        held = limits.get(reading.entry.ref)
        range_cell = words.NONE if held is None else format_limits(held.lower, held.upper, view)
        rows.append(
            (
                words.format_day(reading.entry.day),
                format_read(reading, ledger.site),
                format_measured(reading.measured, view),
                *((range_cell,) if is_charted else ()),
                words.entry_link(ledger, reading.entry.ref),
            )
        )
    blocks: list[Block] = [
        Table(
            (
                left("Date"),
                left("Read"),
                right(f"{view.unit} ± U"),
                *((right("Normal range"),) if is_charted else ()),
                left("Entry"),
            ),
            rows,
            newest_first=True,
        )
    ]
    if len(readings) > _LATEST:
        pictured = min(len(readings), MOST_SHOWN)
        blocks.append(
            Paragraph(
                f"The newest {_LATEST} of {len(readings)} readings; the picture shows {pictured}."
            )
        )
    return blocks


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
    for result in steady:
        pictures.append(Heading(3, format_title(ledger, result.series)))
        pictures.append(series_picture(ledger, result))
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
        items = [*_common_line(common), *(line for rows in of for line in rows.signals)]
        nothing = Paragraph("Nothing unusual since the last changes.")
        blocks.extend((Heading(2, "Unusual"), Bullets(items) if items else nothing))
    if moving:
        summary = Table(_SUMMARY, moving)
        blocks.extend((Heading(2, "Series that change or stand out"), summary))
    if steady:
        blocks.extend((Heading(2, "Steady"), Paragraph(STEADY), Table(_STEADY, steady)))
    if elsewhere:
        blocks.append(_elsewhere(elsewhere))
    blocks.extend(_too_short([name for rows in of for name in rows.too_short]))
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


def _common_line(common: Sequence[CommonSignal]) -> list[Spans]:
    if not common:
        return []
    last = common[-1]
    return [
        (
            Strong("All brushes of a day together"),
            (
                f", {words.format_count(len(common), 'signal')}, the last on "
                f"{words.format_day(last.day)}: {last.text}, by "
                f"{significant(last.percent, 2)} %. Look at what they share: line "
                "voltage, oil, the watch."
            ),
        )
    ]


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


_SUMMARY = (
    left("Where, what"),
    right("Last ± U"),
    left("Limits"),
    left("Signals"),
    left("Pace"),
    left("Outlook"),
)


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


_STEADY = (
    left("Where"),
    left("What"),
    right("Readings"),
    right("Last ± U"),
    right("Normal range"),
    left("Limits"),
)


def _steady_row(ledger: Ledger, result: DriftResult) -> tuple[Spans, ...]:
    series = result.series
    view = view_of(series, ledger.site)
    points = result.stretches[-1].points if result.stretches else ()
    return (
        words.place_link(ledger, series.place),
        series.kind.name,
        str(len(series.readings)),
        f"{format_measured(series.readings[-1].measured, view)} {view.unit}",
        format_limits(points[-1].limits.lower, points[-1].limits.upper, view)
        if points
        else words.NONE,
        format_stated(series, view),
    )


def _format_kinds(names: Iterable[str]) -> str:
    """Each quantity with how many series it has, by name."""
    counts = Counter(names)
    return words.in_words([f"{name} ({counts[name]})" for name in sorted(counts)])


def _elsewhere(kinds: str) -> Block:
    """What wears by nature is told on the page of wear alone."""
    return Paragraph(
        (
            "Parts that always wear are on another page, with last readings and dates: ",
            Link("nozzles, chain, belts, cloth and dampers", WEAR_PAGE),
            f"; {kinds}.",
        )
    )


def _too_short(names: Sequence[str]) -> list[Block]:
    if not names:
        return []
    return [
        Paragraph(
            f"Not enough data yet: {words.format_count(len(names), 'series', 'series')} "
            f"with fewer than {MIN_READINGS} readings: {_format_kinds(names)}."
        )
    ]
