"""What drifts or wears: signals against a frozen baseline, and when a limit will be crossed."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from typing import TypeAlias

from ledger.assess.drift_series import (
    MIN_READINGS,
    STRIP_LENGTH,
    Rebase,
    Series,
    SeriesKind,
    SeriesReading,
    measured_series,
)
from ledger.assess.drift_speed import EfficiencyFall, efficiency_fall, speed_series
from ledger.assess.speeds import SpeedResult
from ledger.compute.drift import ChartPoint, Rule, Signal, chart_points, drift_signals
from ledger.compute.drift_baseline import DriftBaseline, drift_baseline
from ledger.compute.forecast import LimitCrossing, NoTrend, limit_crossing
from ledger.compute.meter import MeterLog, MeterReading, meter_log
from ledger.compute.not_enough_data import NotEnoughData
from ledger.compute.stretch import stretches
from ledger.compute.strip_wear import StripForecast, StripReading, strip_forecast
from ledger.compute.trend import RobustSlope, robust_slope
from ledger.model.ledger import Ledger
from ledger.model.references import EntryRef

MOST_TREND_READINGS = 150
"""A trend is judged by the newest readings, about three years of weekly ones: older wear is past,
and every pair of readings is compared."""

HORIZON = timedelta(days=3653)
"""No date further than ten years past the last reading is given: no part's wear is that even."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """When the true value leaves its limits, if wear goes on as it did.

    A day is None where it lies beyond the horizon, or where the readings set no such end.
    """

    limit: float
    on: date | None
    earliest: date | None
    latest: date | None
    slope: RobustSlope


@dataclass(frozen=True, slots=True, kw_only=True)
class NoLimit:
    """There is a slope, in the unit per day, but no limit is stated to hold it against."""

    slope: RobustSlope


Outlook: TypeAlias = Crossing | StripForecast | NoTrend | NoLimit | NotEnoughData


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftResult:
    """One series judged. `trend_readings` are those that the outlook rests on."""

    series: Series
    stretches: tuple[ChartedStretch, ...]
    trend_readings: tuple[SeriesReading, ...]
    outlook: Outlook
    efficiency: EfficiencyFall | None = None

    @property
    def signals(self) -> tuple[DriftSignal, ...]:
        """The signals since the last re-basing: those that nothing recorded has answered."""
        return self.stretches[-1].signals if self.stretches else ()

    @property
    def answered(self) -> int:
        """How many signals came before the last re-basing."""
        return sum(len(stretch.signals) for stretch in self.stretches[:-1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """Every series long enough to judge, and those that are not, in walking order."""

    results: tuple[DriftResult, ...]
    too_short: tuple[Series, ...]


def drift(ledger: Ledger, results: Sequence[SpeedResult]) -> Drift:
    """Judge every series of readings; from the sources alone, on no day."""
    rank = {ident: number for number, ident in enumerate(ledger.machines)}
    every = sorted(
        (*speed_series(ledger, results), *measured_series(ledger)),
        key=lambda series: rank[series.place.machine],
    )
    vehicles = _vehicle_log(ledger)
    return Drift(
        results=tuple(
            _judged(ledger, series, results, vehicles)
            for series in every
            if len(series.readings) >= MIN_READINGS
        ),
        too_short=tuple(series for series in every if len(series.readings) < MIN_READINGS),
    )


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


def trend_readings(series: Series) -> tuple[SeriesReading, ...]:
    """The newest readings since the part was last renewed."""
    renewed = max((rebase.day for rebase in series.rebases if rebase.ends_trend), default=date.min)
    since = [reading for reading in series.readings if reading.entry.day >= renewed]
    return tuple(since[-MOST_TREND_READINGS:])


def outlook(series: Series, readings: Sequence[SeriesReading], vehicles: MeterLog) -> Outlook:
    """When the series leaves its limits; strips by the vehicles washed where they are counted."""
    timed = [reading.timed for reading in readings]
    if series.kind == STRIP_LENGTH and series.lower is not None and vehicles.days:
        lengths = [
            StripReading(on=r.entry.day, length_mm=r.measured.value, u_mm=r.measured.u)
            for r in readings
        ]
        return strip_forecast(lengths, limit_mm=series.lower, vehicles=vehicles)
    if series.lower is None and series.upper is None:
        slope = robust_slope(timed)
        if isinstance(slope, NotEnoughData):
            return slope
        if slope.lower <= 0 <= slope.upper:
            return NoTrend(slope=slope, text="no trend: the slope may be nought")
        return NoLimit(slope=slope)
    found = limit_crossing(timed, lower=series.lower, upper=series.upper)
    if not isinstance(found, LimitCrossing):
        return found
    last = readings[-1].entry.day
    return Crossing(
        limit=found.limit,
        on=_day(found.day, last),
        earliest=_day(found.earliest_day, last),
        latest=_day(found.latest_day, last),
        slope=found.slope,
    )


def _judged(
    ledger: Ledger, series: Series, results: Sequence[SpeedResult], vehicles: MeterLog
) -> DriftResult:
    recent = trend_readings(series)
    return DriftResult(
        series=series,
        stretches=charted_stretches(series) if series.kind.is_charted else (),
        trend_readings=recent,
        outlook=outlook(series, recent, vehicles),
        efficiency=efficiency_fall(ledger, series, recent, results),
    )


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
            if not (kind.is_graduated and signal.rule is Rule.RUN_ON_ONE_SIDE)
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
    return f"{len(row)} readings in a row {side} their control limits"


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


def _day(ordinal: float, last: date) -> date | None:
    """The day of an ordinal; None from the horizon on, and where the readings set no bound."""
    if not math.isfinite(ordinal) or ordinal < 1:
        return None
    if ordinal >= (last + HORIZON).toordinal():
        return None
    return date.fromordinal(math.floor(ordinal))


def _vehicle_log(ledger: Ledger) -> MeterLog:
    """The first meter of the site that counts vehicles."""
    for meter in ledger.site.meters.values():
        if meter.counts == "vehicles":
            return meter_log(
                MeterReading(on=visit.day, reading=visit.meters[meter.ident])
                for visit in ledger.visits
                if meter.ident in visit.meters
            )
    return MeterLog()
