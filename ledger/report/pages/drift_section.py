"""One series on the drift page: its facts, its picture, and the same in tables."""

from collections.abc import Sequence

from ledger.assess.drift import DriftResult
from ledger.assess.drift_chart import ChartedStretch
from ledger.assess.drift_speed import EfficiencyFall
from ledger.compute.drift_baseline import DriftBaseline
from ledger.compute.rounding import shown
from ledger.model.ledger import Ledger
from ledger.model.references import EntryRef
from ledger.report import words
from ledger.report.blocks import (
    Block,
    Bullets,
    Heading,
    Paragraph,
    Picture,
    Spans,
    Strong,
    Table,
    left,
    right,
)
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

_LATEST = 12
_FEW_SIGNALS = 2


def series_blocks(ledger: Ledger, result: DriftResult) -> list[Block]:
    """One series: facts, picture, and the same in tables."""
    series = result.series
    view = view_of(series, ledger.site)
    facts: list[Spans] = [
        (words.place_link(ledger, series.place), f". Limits: {stated_words(series, view)}."),
        f"{_pace_sentence(result, view)} {_capital(outlook_words(result, view))}.".lstrip(),
    ]
    if result.has_bent:
        facts.append(
            f"The pace has changed, so it is that of the newest {len(result.trend_readings)} "
            "readings alone."
        )
    if result.efficiency is not None:
        facts.append(_efficiency_words(result.efficiency))
    facts.extend(_signal_facts(result))
    blocks: list[Block] = [
        Heading(2, title_words(ledger, series)),
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
    if not signals:
        return ["Nothing unusual since the last change."]
    if len(signals) <= _FEW_SIGNALS:
        return [
            (Strong(signal_words(signal)), f" ({_evidence_words(signal.evidence)})")
            for signal in signals
        ]
    return [
        (
            Strong(f"{len(signals)} signals"),
            (
                f" since the last change; the first on {signal_words(signals[0])}; the last on "
                f"{signal_words(signals[-1])}."
            ),
        )
    ]


def _signal_table(ledger: Ledger, result: DriftResult) -> Table:
    return Table(
        (left("Unusual on"), left("What spoke"), left("From"), left("To")),
        [
            (
                words.day_words(signal.day),
                signal.text,
                words.entry_link(ledger, signal.evidence[0]),
                words.entry_link(ledger, signal.evidence[-1])
                if len(signal.evidence) > 1
                else words.NONE,
            )
            for signal in reversed(result.signals)
        ],
    )


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
