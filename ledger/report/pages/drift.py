"""Drift: what moves away from its baseline, what wears, and when it will leave its limits."""

from collections import Counter
from collections.abc import Sequence

from ledger.assess.drift import Drift, DriftResult
from ledger.assess.drift_series import MIN_READINGS
from ledger.compute.forecast import NoTrend
from ledger.compute.stretch import BASELINE_READINGS
from ledger.model.ledger import Ledger
from ledger.report import words
from ledger.report.blocks import (
    Block,
    Bullets,
    Heading,
    Link,
    Page,
    Paragraph,
    Spans,
    Strong,
    Table,
    left,
    right,
)
from ledger.report.pages import wear
from ledger.report.pages.drift_section import series_blocks, series_picture
from ledger.report.pages.drift_words import (
    does_move,
    limits_words,
    measured_words,
    movement_words,
    outlook_words,
    signal_words,
    stated_words,
    title_words,
    view_of,
)
from ledger.report.pages.method import pointer

PATH = "drift.md"

METHOD = (
    (
        "Something unusual means that readings have left the level that they had at first: go and "
        "look. It does not say what has moved, and a steady machine raises a false alarm now and "
        "then. After a changed setting or a recorded repair the level is taken anew from the next "
        f"{BASELINE_READINGS} readings."
    ),
    (
        "The pace is that of the readings since the part was last renewed, or since the pace "
        "changed. A date for a limit holds if it goes on like that. Speeds are those at the "
        "setting in force, so a changed setting is no drift."
    ),
)

STEADY = "Neither a rise nor a fall shows, and nothing was unusual."


def drift_page(ledger: Ledger, found: Drift) -> Page:
    """Depends on the sources only: it says dates, never how far off they are."""
    blocks: list[Block] = [*(Paragraph(said) for said in METHOD), pointer("Drift")]
    charted = [result for result in found.results if result.series.kind.is_charted]
    telling = [result for result in charted if not is_steady(result)]
    steady = [result for result in charted if is_steady(result)]
    if not found.results:
        blocks.append(Paragraph(f"No series has {MIN_READINGS} readings yet."))
    else:
        blocks.extend((Heading(2, "Unusual"), _signals(ledger, found)))
    if telling:
        blocks.extend((Heading(2, "What moves or stands out"), _summary(ledger, telling)))
    if steady:
        blocks.extend((Heading(2, "Steady"), Paragraph(STEADY), _steady(ledger, steady)))
    blocks.extend(_elsewhere(found))
    blocks.extend(_too_short(found))
    for result in telling:
        blocks.extend(series_blocks(ledger, result))
    if steady:
        blocks.append(Heading(2, "Pictures of the steady ones"))
    for result in steady:
        blocks.extend(
            (Heading(3, title_words(ledger, result.series)), series_picture(ledger, result))
        )
    return Page(path=PATH, title="Drift and wear", blocks=blocks)


def is_steady(result: DriftResult) -> bool:
    """Whether neither a rise nor a fall shows, and nothing was ever unusual."""
    return (
        isinstance(result.outlook, NoTrend)
        and not does_move(result.outlook)
        and not result.signals
        and not result.answered
    )


def _signals(ledger: Ledger, found: Drift) -> Block:
    """A line a series: since when, how often, and what spoke last."""
    items: list[Spans] = []
    for result in found.results:
        if not result.signals:
            continue
        last = result.signals[-1]
        count = len(result.signals)
        since = (
            f", {words.count_words(count, 'signal')} since "
            f"{words.day_words(result.signals[0].day)}, the last on "
            if count > 1
            else ", on "
        )
        items.append(
            (
                Strong(title_words(ledger, result.series)),
                f"{since}{signal_words(last)} (",
                words.entry_link(ledger, last.evidence[-1]),
                ").",
            )
        )
    return Bullets(items) if items else Paragraph("Nothing unusual since the last changes.")


def _summary(ledger: Ledger, results: Sequence[DriftResult]) -> Table:
    rows: list[tuple[Spans, ...]] = []
    for result in results:
        series = result.series
        view = view_of(series, ledger.site)
        rows.append(
            (
                (words.place_link(ledger, series.place), f": {series.kind.name}"),
                f"{measured_words(series.readings[-1].measured, view)} {view.unit}",
                stated_words(series, view),
                _count_words(result),
                movement_words(result.outlook, view),
                outlook_words(result, view),
            )
        )
    return Table(
        (
            left("Where, what"),
            right("Last ± U"),
            left("Limits"),
            left("Signals"),
            left("Pace"),
            left("Outlook"),
        ),
        rows,
    )


def _count_words(result: DriftResult) -> str:
    """Since the last change and, where a repair or another setting answered some, before it."""
    count = str(len(result.signals))
    return f"{count}, {result.answered} before" if result.answered else count


def _steady(ledger: Ledger, results: Sequence[DriftResult]) -> Table:
    rows: list[tuple[Spans, ...]] = []
    for result in results:
        series = result.series
        view = view_of(series, ledger.site)
        points = result.stretches[-1].points if result.stretches else ()
        rows.append(
            (
                words.place_link(ledger, series.place),
                series.kind.name,
                str(len(series.readings)),
                f"{measured_words(series.readings[-1].measured, view)} {view.unit}",
                limits_words(points[-1].limits.lower, points[-1].limits.upper, view)
                if points
                else words.NONE,
                stated_words(series, view),
            )
        )
    return Table(
        (
            left("Where"),
            left("What"),
            right("Readings"),
            right("Last ± U"),
            right("Normal range"),
            left("Limits"),
        ),
        rows,
    )


def _elsewhere(found: Drift) -> list[Block]:
    """What wears by nature is told on the page of wear alone."""
    counts = Counter(
        result.series.kind.name for result in found.results if not result.series.kind.is_charted
    )
    if not counts:
        return []
    said = words.in_words([f"{name} ({counts[name]})" for name in sorted(counts)])
    return [
        Paragraph(
            (
                "What wears by nature stands with its last readings and dates under ",
                Link("nozzles, chain, belts, cloth and dampers", wear.PATH),
                f": {said}.",
            )
        )
    ]


def _too_short(found: Drift) -> list[Block]:
    if not found.too_short:
        return []
    counts = Counter(series.kind.name for series in found.too_short)
    said = words.in_words([f"{name} ({counts[name]})" for name in sorted(counts)])
    return [
        Paragraph(
            f"Not enough data yet: {words.count_words(len(found.too_short), 'series', 'series')} "
            f"with fewer than {MIN_READINGS} readings: {said}."
        )
    ]
