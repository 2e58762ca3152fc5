"""Drift: what moves away from its baseline, what wears, and when it will leave its limits."""

from collections import Counter
from collections.abc import Sequence

from ledger.assess.drift import Drift, DriftResult
from ledger.assess.drift_chart import ChartedStretch
from ledger.assess.drift_series import MIN_READINGS
from ledger.assess.drift_speed import EfficiencyFall
from ledger.compute.drift_baseline import DriftBaseline
from ledger.compute.rounding import shown
from ledger.compute.stretch import BASELINE_READINGS
from ledger.model.ledger import Ledger
from ledger.model.references import EntryRef
from ledger.report import words
from ledger.report.blocks import (
    Block,
    Bullets,
    Heading,
    Page,
    Paragraph,
    Picture,
    Spans,
    Strong,
    Table,
    left,
    right,
)
from ledger.report.pages import methods
from ledger.report.pages.drift_plot import MOST_SHOWN, drift_plot
from ledger.report.pages.drift_words import (
    UnitView,
    limits_words,
    luck_words,
    measured_words,
    movement_words,
    outlook_words,
    read_words,
    signal_words,
    stated_words,
    title_words,
    view_of,
)

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
        "setting in force, so a changed setting is no drift. Strips wear by vehicles washed, and "
        "their dates follow the recent traffic."
    ),
)

_LATEST = 12


def drift_page(ledger: Ledger, found: Drift) -> Page:
    """Depends on the sources only: it says dates, never how far off they are."""
    blocks: list[Block] = [*(Paragraph(said) for said in METHOD), methods.pointer("Drift")]
    if not found.results:
        blocks.append(Paragraph(f"No series has {MIN_READINGS} readings yet."))
    else:
        blocks.extend((Heading(2, "Unusual"), _signals(ledger, found)))
        blocks.extend((Heading(2, "All series"), _summary(ledger, found)))
    blocks.extend(_too_short(found))
    for result in found.results:
        blocks.extend(series_blocks(ledger, result))
    return Page(path=PATH, title="Drift and wear", blocks=blocks)


def series_blocks(ledger: Ledger, result: DriftResult) -> list[Block]:
    """One series: facts, picture, and the same in tables."""
    series = result.series
    view = view_of(series, ledger.site)
    facts: list[Spans] = [
        (words.place_link(ledger, series.place), f". Limits: {stated_words(series, view)}."),
        f"{_pace_sentence(result, view)} {_capital(outlook_words(result, view))}.",
    ]
    if result.has_bent:
        facts.append(
            f"The pace has changed, so it is that of the newest {len(result.trend_readings)} "
            "readings alone."
        )
    if result.efficiency is not None:
        facts.append(_efficiency_words(result.efficiency))
    facts.extend(
        (Strong(signal_words(signal)), f" ({_evidence_words(signal.evidence)})")
        for signal in result.signals
    )
    if series.kind.is_charted and not result.signals:
        facts.append("Nothing unusual since the last change.")
    blocks: list[Block] = [
        Heading(2, title_words(ledger, series)),
        Bullets(facts),
        Picture(f"plots/drift-{series.ident}.svg", drift_plot(ledger, result)),
    ]
    if result.stretches:
        blocks.append(_stretch_table(result, view))
    blocks.extend(_latest(ledger, result, view))
    return blocks


def _pace_sentence(result: DriftResult, view: UnitView) -> str:
    pace = movement_words(result.outlook, view)
    luck = luck_words(result.outlook)
    if pace == words.NONE:
        return ""
    return f"{_capital(pace)}{f'; {luck}' if luck else ''}."


def _capital(said: str) -> str:
    return said[:1].upper() + said[1:]


def _evidence_words(refs: Sequence[EntryRef]) -> str:
    """All entries of a few, the ends of many."""
    if len(refs) <= 3:
        return ", ".join(map(str, refs))
    return f"{len(refs)} entries, {refs[0]} to {refs[-1]}"


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


def _summary(ledger: Ledger, found: Drift) -> Table:
    rows: list[tuple[Spans, ...]] = []
    for result in found.results:
        series = result.series
        view = view_of(series, ledger.site)
        rows.append(
            (
                words.place_link(ledger, series.place),
                series.kind.name,
                str(len(series.readings)),
                f"{measured_words(series.readings[-1].measured, view)} {view.unit}",
                stated_words(series, view),
                str(len(result.signals)) if series.kind.is_charted else "not charted",
                movement_words(result.outlook, view),
                outlook_words(result, view),
            )
        )
    return Table(
        (
            left("Where"),
            left("What"),
            right("Readings"),
            right("Last ± U"),
            left("Limits"),
            right("Signals"),
            left("Pace"),
            left("Outlook"),
        ),
        rows,
    )


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


def _efficiency_words(fall: EfficiencyFall) -> str:
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
        f"{len(fall.baseline_entries)} readings, {now} % in the last {len(fall.now_entries)}; "
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


def _stretch_row(stretch: ChartedStretch, view: UnitView) -> tuple[str, ...]:
    baseline = stretch.baseline
    readings = len(stretch.baseline_readings) + len(stretch.watched)
    since = "first reading" if stretch.since is None else words.day_words(stretch.since.day)
    limits = stretch.points[-1].limits if stretch.points else None
    return (
        since,
        words.NONE if stretch.since is None else stretch.since.what,
        shown(view.of(baseline.centre), 2 * baseline.centre_uncertainty * view.factor)
        if isinstance(baseline, DriftBaseline)
        else baseline.text,
        words.NONE if limits is None else limits_words(limits.lower, limits.upper, view),
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
        range_cell = words.NONE if held is None else limits_words(held.lower, held.upper, view)
        rows.append(
            (
                words.day_words(reading.entry.day),
                read_words(reading, ledger.site),
                measured_words(reading.measured, view),
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
