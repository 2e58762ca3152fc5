"""Control charts of a series: a frozen baseline for each stretch between recorded changes."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from ledger.assess.drift_series import (
    Rebase,
    Series,
    SeriesKind,
    SeriesReading,
)
from ledger.compute.drift import ChartPoint, Rule, Signal, chart_points, drift_signals
from ledger.compute.drift_baseline import DriftBaseline, drift_baseline
from ledger.compute.not_enough_data import NotEnoughData
from ledger.compute.stretch import stretches
from ledger.model.references import EntryRef
from ledger.model.visits import PassCount

# At weight 0.2 the last five readings carry two thirds of the average.
_EWMA_EVIDENCE = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftSignal:
    """A rule that spoke; readings in a row beyond the same limit are one signal.

    `day` is that of the first such reading, `count` how many there were, `value` that of the
    last, in the series' unit. `evidence` are the entries that it rests on.
    """

    rule: Rule
    day: date
    count: int
    value: float
    text: str
    evidence: tuple[EntryRef, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartedStretch:
    """The readings since one re-basing, held against their own frozen baseline.

    `points` stand for `watched`, one each.
    """

    since: Rebase | None
    baseline_readings: tuple[SeriesReading, ...]
    baseline: DriftBaseline | NotEnoughData
    watched: tuple[SeriesReading, ...]
    points: tuple[ChartPoint, ...]
    signals: tuple[DriftSignal, ...]


def charted_stretches(series: Series) -> tuple[ChartedStretch, ...]:
    """The control charts of a series, oldest first; the last is the one in force."""
    parted = stretches(
        [reading.timed for reading in series.readings],
        change_days=[rebase.day.toordinal() for rebase in series.rebases],
    )
    # Of several on one day a renewed part says more than a changed setting.
    by_day = {
        rebase.day.toordinal(): rebase
        for rebase in sorted(series.rebases, key=lambda rebase: rebase.ends_trend)
    }
    charted = []
    begin = 0
    for stretch in parted:
        middle = begin + len(stretch.baseline)
        end = middle + len(stretch.watched)
        since = None if stretch.since_day is None else by_day[int(stretch.since_day)]
        charted.append(
            _charted(series.kind, since, series.readings[begin:middle], series.readings[middle:end])
        )
        begin = end
    return tuple(charted)


def _charted(
    kind: SeriesKind,
    since: Rebase | None,
    first: tuple[SeriesReading, ...],
    rest: tuple[SeriesReading, ...],
) -> ChartedStretch:
    baseline = drift_baseline([reading.timed for reading in first])
    points: tuple[ChartPoint, ...] = ()
    signals: tuple[DriftSignal, ...] = ()
    if not isinstance(baseline, NotEnoughData):
        timed = [reading.timed for reading in rest]
        points = chart_points(baseline, timed)
        raised = [
            signal
            for signal in drift_signals(baseline, timed)
            if not (
                signal.rule is Rule.RUN_ON_ONE_SIDE and _is_stepped(kind, signal, rest, baseline)
            )
        ]
        signals = _signals(raised, rest, baseline.centre)
    return ChartedStretch(
        since=since,
        baseline_readings=first,
        baseline=baseline,
        watched=rest,
        points=points,
        signals=signals,
    )


def _is_stepped(
    kind: SeriesKind, signal: Signal, watched: Sequence[SeriesReading], baseline: DriftBaseline
) -> bool:
    """Whether a run holds readings that come in steps and so repeat themselves on one side.

    A dial's graduation, or whole passes: a steady 80.9 r/min counts 81 in a minute nine times out
    of ten, always above its mean. The published chance of a run is for readings that scatter
    evenly; the other two rules hold for steps as well, and take their place.
    """
    run = _evidence(signal, watched, baseline.centre)
    return kind.is_graduated or any(isinstance(r.entry.speed, PassCount) for r in run)


def _signals(
    raised: Sequence[Signal], watched: Sequence[SeriesReading], centre: float
) -> tuple[DriftSignal, ...]:
    found = [
        _signal(signal, _evidence(signal, watched, centre), watched)
        for signal in raised
        if signal.rule is not Rule.BEYOND_LIMIT
    ]
    beyond = [signal for signal in raised if signal.rule is Rule.BEYOND_LIMIT]
    # Neighbouring readings beyond one limit have the same index less rank.
    numbered = enumerate(beyond)
    for _, group in groupby(numbered, lambda pair: (pair[1].index - pair[0], pair[1].text)):
        row = [signal for _, signal in group]
        entries = [watched[signal.index] for signal in row]
        found.append(
            DriftSignal(
                rule=Rule.BEYOND_LIMIT,
                day=entries[0].entry.day,
                count=len(row),
                value=row[-1].value,
                text=_beyond_words(row),
                evidence=tuple(reading.entry.ref for reading in entries),
            )
        )
    return tuple(sorted(found, key=lambda signal: (signal.day, signal.rule)))


def _beyond_words(row: Sequence[Signal]) -> str:
    if len(row) == 1:
        return row[0].text
    side = "above" if "above" in row[0].text else "below"
    return f"{len(row)} readings in a row {side} their normal range"


def _signal(
    signal: Signal, evidence: Sequence[SeriesReading], watched: Sequence[SeriesReading]
) -> DriftSignal:
    return DriftSignal(
        rule=signal.rule,
        day=watched[signal.index].entry.day,
        count=1,
        value=signal.value,
        text=signal.text,
        evidence=tuple(reading.entry.ref for reading in evidence),
    )


def _evidence(
    signal: Signal, watched: Sequence[SeriesReading], centre: float
) -> Sequence[SeriesReading]:
    if signal.rule is Rule.EWMA_BEYOND_LIMIT:
        return watched[max(0, signal.index + 1 - _EWMA_EVIDENCE) : signal.index + 1]
    above = watched[signal.index].measured.value > centre
    begin = signal.index
    while begin > 0 and (watched[begin - 1].measured.value > centre) == above:
        begin -= 1
    return watched[begin : signal.index + 1]
