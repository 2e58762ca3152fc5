"""What drifts or wears: signals against a frozen baseline, and when a limit will be crossed."""

from collections.abc import Sequence
from dataclasses import dataclass

from ledger.assess.drift_chart import ChartedStretch, DriftSignal, charted_stretches
from ledger.assess.drift_outlook import Outlook, even_readings, outlook, trend_readings
from ledger.assess.drift_series import (
    MIN_READINGS,
    Series,
    SeriesReading,
    measured_series,
)
from ledger.assess.drift_speed import EfficiencyFall, efficiency_fall, speed_series
from ledger.assess.meters import vehicle_log
from ledger.assess.speeds import SpeedResult
from ledger.compute.meter import MeterLog
from ledger.model.ledger import Ledger


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftResult:
    """One series judged. `trend_readings` are those that the outlook rests on.

    `has_bent` where the newer half of the readings moves at another pace than the older: then
    only the newer count.
    """

    series: Series
    stretches: tuple[ChartedStretch, ...]
    trend_readings: tuple[SeriesReading, ...]
    has_bent: bool
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
    return _drift(ledger, every, results)


def speed_drift(ledger: Ledger, results: Sequence[SpeedResult]) -> Drift:
    """Judge the shaft speeds alone, as `drift` does, where nothing else is asked for."""
    return _drift(ledger, speed_series(ledger, results), results)


def _drift(ledger: Ledger, every: Sequence[Series], results: Sequence[SpeedResult]) -> Drift:
    vehicles = vehicle_log(ledger)
    return Drift(
        results=tuple(
            _judged(ledger, series, results, vehicles)
            for series in every
            if len(series.readings) >= MIN_READINGS
        ),
        too_short=tuple(series for series in every if len(series.readings) < MIN_READINGS),
    )


def drift_of(found: Drift, machine: str) -> Drift:
    """Only the series of one machine."""
    return Drift(
        results=tuple(r for r in found.results if r.series.place.machine == machine),
        too_short=tuple(series for series in found.too_short if series.place.machine == machine),
    )


def _judged(
    ledger: Ledger, series: Series, results: Sequence[SpeedResult], vehicles: MeterLog
) -> DriftResult:
    since = trend_readings(series)
    recent = even_readings(since)
    return DriftResult(
        series=series,
        stretches=charted_stretches(series) if series.kind.is_charted else (),
        trend_readings=recent,
        has_bent=len(recent) < len(since),
        outlook=outlook(series, recent, vehicles),
        efficiency=efficiency_fall(ledger, series, since, results),
    )
