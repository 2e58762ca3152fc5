"""What drifts or wears: signals against a frozen baseline, and when a limit will be crossed.

Each stretch between recorded changes has a baseline of its own. A shaft speed is turned into that
at the setting in force by the ratio of the two settings, so that a changed setpoint does not look
like drift. In force is meant as of the last reading: a setting that has been approved and not
begun changes no speed yet.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from functools import cached_property
from itertools import groupby

from ledger.compute import drift as charts
from ledger.compute import ratio
from ledger.compute.drift import ChartPoint, DriftBaseline, Rule, Signal
from ledger.compute.meter import MeterLog
from ledger.compute.numbers import NotEnoughData
from ledger.compute.ratio import EfficiencyChange
from ledger.compute.speed import Speed, of_repeats, own_u_rpm
from ledger.compute.trend import BASELINE_READINGS, StripForecast, TimedReading
from ledger.model.ledger import Ledger
from ledger.model.machines import HydraulicDrive, Machine
from ledger.model.meters import DAYS_IN_YEAR, vehicle_log
from ledger.model.references import EntryRef, Place
from ledger.upkeep.drift import series as quantities
from ledger.upkeep.drift.common import (
    Days,
    Deviation,
    Parted,
    days_in_common,
    deviations,
    less_common,
    parted,
    together,
)
from ledger.upkeep.drift.outlook import (
    BeyondAlready,
    Crossing,
    Outlook,
    even_readings,
    outlook,
    trend_readings,
)
from ledger.upkeep.drift.series import SPEED, Measured, Rebase, Series, SeriesReading
from ledger.upkeep.speeds.found import (
    SpeedResult,
    band_of,
    by_machine,
    rounded_to_rpm,
    shared_errors,
)
from ledger.upkeep.speeds.ratios import drive_ratio, fit_of
from ledger.values import dataclass, replace

# At weight 0.2 the last five readings carry two thirds of the average.
_EWMA_EVIDENCE = 5

# By the quarter, month, fortnight, week, half week, working day and day.
_USUAL_PACES = (4, 12, 26, 52, 104, 260, 365)


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

    @property
    def readings(self) -> tuple[SeriesReading, ...]:
        return (*self.baseline_readings, *self.watched)

    @property
    def last_point(self) -> ChartPoint | None:
        return self.points[-1] if self.points else None


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmPrice:
    """What alarms cost: how many false ones the site will have in a year, over how many series."""

    false_alarms_per_year: float
    series: int

    @property
    def chance(self) -> float:
        """The chance of a false alarm of one series in a year."""
        return charts.chance_of_alarm(
            false_alarms_per_year=self.false_alarms_per_year, series=self.series
        )


def charted_stretches(series: Series, price: AlarmPrice) -> tuple[ChartedStretch, ...]:
    """The control charts of a series, oldest first; the last is the one in force."""
    per_year = readings_per_year([reading.timed for reading in series.readings])
    return tuple(
        _charted(stretch, price.chance, per_year, is_read_off=series.kind.is_read_off)
        for stretch in parted(series)
    )


def readings_per_year(readings: Sequence[TimedReading]) -> int:
    """The usual pace that is nearest to the one of the readings, by ratio.

    A usual one, so that one reading more moves no limit.
    """
    days = readings[-1].day - readings[0].day
    pace = DAYS_IN_YEAR * (len(readings) - 1) / max(days, 1)
    return min(_USUAL_PACES, key=lambda usual: abs(math.log(usual / pace)))


def _charted(stretch: Parted, chance: float, per_year: int, *, is_read_off: bool) -> ChartedStretch:
    since, first, rest = stretch
    lasting = quantities.lasting_errors(first)
    charted = [one.charted(lasting, is_read_off=is_read_off) for one in (*first, *rest)]
    baseline = charts.drift_baseline(
        charted[: len(first)], stated_weight=0 if is_read_off else charts.STATED_WEIGHT
    )
    points: tuple[ChartPoint, ...] = ()
    signals: tuple[DriftSignal, ...] = ()
    if isinstance(baseline, DriftBaseline):
        points = charts.chart_points(
            baseline, charted[len(first) :], chance=chance, readings_per_year=per_year
        )
        signals = _signals(charts.drift_signals(points), rest)
        # As read again: what is common to the day moves the limits and not the reading.
        points = tuple(
            point if reading.common is None else point.moved(reading.common.value)
            for point, reading in zip(points, rest, strict=True)
        )
    return ChartedStretch(
        since=since,
        baseline_readings=first,
        baseline=baseline,
        watched=rest,
        points=points,
        signals=signals,
    )


def _signals(raised: Sequence[Signal], watched: Sequence[SeriesReading]) -> tuple[DriftSignal, ...]:
    """By day; readings in a row beyond one limit become one signal."""
    beyond = [signal for signal in raised if signal.rule is Rule.BEYOND_LIMIT]
    # Neighbouring readings beyond one limit have the same index less rank.
    neighbours = groupby(enumerate(beyond), lambda pair: (pair[1].index - pair[0], pair[1].text))
    rows = [[signal for _, signal in group] for _, group in neighbours]
    found = [(row, [watched[signal.index] for signal in row]) for row in rows]
    found.extend(
        ([signal], [*watched[: signal.index + 1][-_EWMA_EVIDENCE:]])
        for signal in raised
        if signal.rule is not Rule.BEYOND_LIMIT
    )
    signals = (
        DriftSignal(
            rule=row[0].rule,
            day=watched[row[0].index].entry.day,
            count=len(row),
            value=row[-1].value,
            text=_format_row(row),
            evidence=tuple(reading.entry.ref for reading in evidence),
        )
        for row, evidence in found
    )
    return tuple(sorted(signals, key=lambda signal: (signal.day, signal.rule)))


def _format_row(row: Sequence[Signal]) -> str:
    if len(row) == 1:
        return row[0].text
    side = "above" if "above" in row[0].text else "below"
    return f"{len(row)} readings in a row {side} their normal range"


# As few as tell the level now from the level then, as many as still mean now.
NOW_READINGS = 5


def speed_series(ledger: Ledger, results: Sequence[SpeedResult]) -> tuple[Series, ...]:
    """One series for each machine whose speed was read, in walking order.

    A drive that can be set needs the setting noted beside the reading; those without are left
    out. The limits are the speed band at the line rate of the setting in force.
    """
    own = by_machine(result for result in results if result.speed is not None)
    return tuple(
        _series(ledger, machine, own[machine.ident])
        for machine in ledger.machines.values()
        if machine.ident in own
    )


def efficiency_fall(
    ledger: Ledger,
    series: Series,
    readings: Sequence[SeriesReading],
    results: Sequence[SpeedResult],
) -> EfficiencyChange | None:
    """The fall of a hydraulic motor's efficiency over the readings; None for other series.

    None too where first and last readings would overlap.
    """
    drive = ledger.machines[series.place.machine].drive
    if series.kind != SPEED or not isinstance(drive, HydraulicDrive):
        return None
    if len(readings) < BASELINE_READINGS + NOW_READINGS:
        return None
    of_ref = {result.entry.ref: result for result in results}
    then = [of_ref[reading.entry.ref] for reading in readings[:BASELINE_READINGS]]
    now = [of_ref[reading.entry.ref] for reading in readings[-NOW_READINGS:]]
    if any(not result.setting for result in (*then, *now)):
        return None
    moved = len({result.setting for result in (*then, *now)}) > 1
    fits = [fit_of(one, dial_step=drive.flow_step_lpm if moved else 0.0) for one in (then, now)]
    baseline, last = (
        ratio.efficiency_of(fit, drive.motor_cm3, reduction=drive.reduction)
        for fit in fits
        if fit is not None
    )
    return ratio.efficiency_change(baseline, last)


def _series(ledger: Ledger, machine: Machine, own: Sequence[SpeedResult]) -> Series:
    drive = ledger.setpoints.get(machine.ident)
    last_day = max(result.entry.day for result in own)
    in_force = None if drive is None else drive.on(last_day) or drive.in_force
    unit = "L/min" if isinstance(machine.drive, HydraulicDrive) else "Hz"
    noted = [result for result in own if result.setting and result.unit == unit]
    setting = None
    if machine.has_setpoint and noted:
        setting = noted[-1].setting if in_force is None else in_force.value
    slip_rpm = drive_ratio(ledger, machine, own).slip_rpm
    chosen = noted if machine.has_setpoint else own
    readings = [
        SeriesReading(
            entry=result.entry, measured=_at_setting(result.speed, result, setting, slip_rpm)
        )
        for result in chosen
        if result.speed is not None
    ]
    rate = in_force.line_rate_per_h if in_force else ledger.site.line.line_rate_per_h
    band, _ = band_of(machine, rate)
    place = Place(machine.ident)
    set_anew = [
        Rebase(day=change.first_day, what="new setting", ends_trend=False, evidence=change.evidence)
        for change in (drive.changes if drive else ())
        if change.is_approved
    ]
    return Series(
        kind=SPEED,
        place=place,
        readings=quantities.ordered(readings),
        lower=band.low if band else None,
        upper=band.high if band else None,
        rebases=tuple(
            sorted(
                (*quantities.rebases_of(ledger, SPEED, place), *set_anew),
                key=lambda r: (r.day, r.what),
            )
        ),
    )


def _at_setting(
    speed: Speed, result: SpeedResult, setting: float | None, slip_rpm: float
) -> Measured:
    """The speed that a reading means at another setting of the drive.

    An induction motor's slip may stay constant instead of going with the setting; the difference
    is the half-width of a rectangle (GUM 4.3.7), as in `compute.ratio.predict`.
    """
    speed = of_repeats(speed)
    u_own = own_u_rpm(speed)
    shared = shared_errors(replace(result, speed=speed))
    scale = 1.0 if setting is None or not result.setting else setting / result.setting
    bracket = slip_rpm * (1 - scale)
    return Measured(
        value=speed.rpm * scale,
        u=math.hypot(scale * u_own, bracket / math.sqrt(3), *(scale * one.u for one in shared)),
        step=rounded_to_rpm(result) * scale,
        shared=tuple(replace(one, u=scale * one.u) for one in shared),
    )


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
    efficiency: EfficiencyChange | None = None

    @property
    def signals(self) -> tuple[DriftSignal, ...]:
        """The signals since the last re-basing: those that nothing recorded has answered."""
        return self.stretches[-1].signals if self.stretches else ()

    @property
    def answered(self) -> int:
        """How many signals came before the last re-basing."""
        return sum(len(stretch.signals) for stretch in self.stretches[:-1])


@dataclass(frozen=True, slots=True, kw_only=True)
class CommonSignal:
    """A rule that spoke of what all brushes have in common; `percent` of their first level."""

    day: date
    percent: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """Every series long enough to judge, and those that are not, in walking order.

    `price` is what alarms cost, None where nothing is charted. `common` are the signals of what
    all speeds of a day have in common, by day.
    """

    results: tuple[DriftResult, ...]
    too_short: tuple[Series, ...]
    price: AlarmPrice | None = None
    common: tuple[CommonSignal, ...] = ()


@dataclass(frozen=True, slots=True)
class Share:
    """What one part of a site's machines adds to what all are judged by.

    `deviations` are those of each day by machine, `watched` is how many series are charted.
    """

    deviations: Mapping[str, Mapping[int, Deviation]]
    watched: int


@dataclass(frozen=True, kw_only=True)
class Shared:
    """What all series are judged by, and what they have in common. Not slotted: that is kept."""

    days: Days
    price: AlarmPrice | None

    @cached_property
    def common(self) -> tuple[CommonSignal, ...]:
        return () if self.price is None else _common_signals(together(self.days), self.price)


def share_of(every: Sequence[Series]) -> Share:
    """What some series add."""
    return Share(
        {series.place.machine: deviations(series) for series in every if series.kind == SPEED},
        sum(series.kind.is_charted for series in _by_length(every)[0]),
    )


def shared_of(ledger: Ledger, shares: Iterable[Share]) -> Shared:
    """All shares together, those of machines in walking order."""
    found: dict[str, Mapping[int, Deviation]] = {}
    watched = 0
    for share in shares:
        watched += share.watched
        found |= share.deviations
    days = days_in_common(found)
    rate = ledger.site.policy.false_alarms_per_year
    price = AlarmPrice(false_alarms_per_year=rate, series=watched) if watched else None
    return Shared(days=days, price=price)


def drift(ledger: Ledger, results: Sequence[SpeedResult]) -> Drift:
    """Judge every series of readings; from the sources alone, on no day."""
    every = every_series(ledger, results)
    shared = shared_of(ledger, [share_of(every)])
    return replace(judged(ledger, results, every, shared), common=shared.common)


def judged(
    ledger: Ledger, results: Sequence[SpeedResult], every: Iterable[Series], shared: Shared
) -> Drift:
    """Judge some series by what all are judged by, without what all have in common."""
    days, price = shared.days, shared.price
    long, too_short = _by_length(
        [less_common(series, days) if series.kind == SPEED else series for series in every]
    )
    vehicles = vehicle_log(ledger)
    of_machine = by_machine(results)
    return Drift(
        results=tuple(
            _judged(ledger, series, of_machine[series.place.machine], vehicles, price)
            for series in long
        ),
        too_short=too_short,
        price=price,
    )


def every_series(ledger: Ledger, results: Sequence[SpeedResult]) -> list[Series]:
    """In walking order."""
    rank = {machine: number for number, machine in enumerate(ledger.machines)}
    return sorted(
        (*speed_series(ledger, results), *quantities.measured_series(ledger)),
        key=lambda series: rank[series.place.machine],
    )


def _by_length(every: Sequence[Series]) -> tuple[tuple[Series, ...], tuple[Series, ...]]:
    long = tuple(one for one in every if len(one.readings) >= quantities.MIN_READINGS)
    return long, tuple(one for one in every if len(one.readings) < quantities.MIN_READINGS)


def _common_signals(of_days: Sequence[TimedReading], price: AlarmPrice) -> tuple[CommonSignal, ...]:
    first, rest = of_days[:BASELINE_READINGS], of_days[BASELINE_READINGS:]
    baseline = charts.drift_baseline(first)
    if not isinstance(baseline, DriftBaseline):
        return ()
    points = charts.chart_points(
        baseline, rest, chance=price.chance, readings_per_year=readings_per_year(of_days)
    )
    return tuple(
        CommonSignal(
            day=date.fromordinal(int(points[signal.index].day)),
            percent=signal.value - baseline.centre,
            text=signal.text,
        )
        for signal in charts.drift_signals(points)
    )


def drift_of(found: Drift, machine: str) -> Drift:
    """Only the series of one machine."""
    return replace(
        found,
        results=tuple(r for r in found.results if r.series.place.machine == machine),
        too_short=tuple(series for series in found.too_short if series.place.machine == machine),
    )


def outlook_result(series: Series, vehicles: MeterLog) -> DriftResult:
    """When a series leaves its limits, without charts."""
    since = trend_readings(series)
    recent = even_readings(since)
    return DriftResult(
        series=series,
        stretches=(),
        trend_readings=recent,
        has_bent=len(recent) < len(since),
        outlook=outlook(series, recent, vehicles),
    )


def _judged(
    ledger: Ledger,
    series: Series,
    results: Sequence[SpeedResult],
    vehicles: MeterLog,
    price: AlarmPrice | None,
) -> DriftResult:
    return replace(
        outlook_result(series, vehicles),
        stretches=charted_stretches(series, price) if price and series.kind.is_charted else (),
        efficiency=efficiency_fall(ledger, series, trend_readings(series), results),
    )


def limit_reached(result: DriftResult) -> tuple[float, date] | None:
    """The limit that a series reaches at its pace and the likeliest day; None where none shows.

    What is beyond its limit already counts as reached on the day of its last reading.
    """
    match result.outlook:
        case Crossing(limit=limit, on=date() as on) | StripForecast(limit=limit, on=date() as on):
            return limit, on
        case BeyondAlready(limit=limit):
            return limit, result.trend_readings[-1].entry.day
        case _:
            return None
