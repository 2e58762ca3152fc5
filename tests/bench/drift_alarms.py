"""How often drift charts alarm on steady brushes, and how early on wearing ones.

The brushes are seeded and their truth is known. They are read by the passes that a watch started
at a random moment would see in a minute, or by the time of forty turns, with the scatter of a
hand on the watch, and judged as the ledger judges them.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from random import Random

from sitegen import draws

from ledger.compute.drift import (
    DriftBaseline,
    Signal,
    chart_points,
    drift_baseline,
    drift_signals,
)
from ledger.compute.meter import MeterLog
from ledger.compute.numbers import NotEnoughData, weighted_mean
from ledger.compute.shared import Shared
from ledger.compute.speed import HAND_TIMING_U_S
from ledger.compute.trend import BASELINE_READINGS
from ledger.model.references import Place
from ledger.model.visits import (
    Entry,
    EntryContent,
    PassCount,
    SpeedReading,
    TimedTurns,
    VisitHead,
)
from ledger.upkeep.drift.common import days_in_common, deviations, less_common
from ledger.upkeep.drift.found import AlarmPrice, ChartedStretch, charted_stretches
from ledger.upkeep.drift.outlook import BeyondAlready, Crossing, even_readings, outlook
from ledger.upkeep.drift.series import (
    SPEED,
    Measured,
    Series,
    SeriesReading,
    lasting_errors,
)
from ledger.upkeep.speeds.found import speed_of

TITLE = "drift alarms"

SITES = 1000
WATCHED = 52  # a year of weekly readings
TARGET_RPM, BAND_LOW_RPM, BAND_HIGH_RPM = 80.0, 75.0, 85.0
LOSS_RPM_A_WEEK = 0.1
WEEKS_AHEAD = 10
_FIRST_DAY = date(2026, 1, 5)
SERIES = (5, 10, 20, 40)

Reader = Callable[[Random, float], SpeedReading]


def counted(rng: Random, rpm: float) -> SpeedReading:
    """The passes seen in a minute by a watch started at random."""
    seconds = 60 + rng.gauss(0, HAND_TIMING_U_S)
    return PassCount(passes=math.floor(rng.random() + rpm * seconds / 60), seconds=60.0)


def timed(rng: Random, rpm: float) -> SpeedReading:
    """The time of forty turns."""
    return TimedTurns(turns=40, seconds=40 * 60 / rpm + rng.gauss(0, HAND_TIMING_U_S))


READERS: tuple[tuple[str, Reader], ...] = (
    ("forty turns timed", timed),
    ("passes of a minute counted", counted),
)


def weekly(rng: Random, read: Reader, rpm_in: Callable[[int], float], weeks: int) -> Series:
    """A brush read once a week at one setting."""
    readings = []
    for week in range(weeks):
        raw = read(rng, rpm_in(week))
        speed = speed_of(raw, timing_u_s=HAND_TIMING_U_S)
        day = _day(week)
        entry = Entry(
            head=VisitHead(
                ident=day.isoformat(),
                when=datetime.combine(day, time(10), tzinfo=UTC),
                day=day,
                by="nobody",
            ),
            number=1,
            content=EntryContent(raw={}, places=(Place("brush"),), speed=raw),
        )
        readings.append(
            SeriesReading(
                entry=entry,
                measured=Measured(
                    value=speed.rpm,
                    u=speed.u_rpm,
                    shared=tuple(Shared(key=one.source, u=one.u_rpm) for one in speed.shared),
                ),
            )
        )
    return Series(
        kind=SPEED,
        place=Place("brush"),
        readings=tuple(readings),
        lower=BAND_LOW_RPM,
        upper=BAND_HIGH_RPM,
        rebases=(),
    )


def price_of(series: int) -> AlarmPrice:
    """One false alarm a year for the site."""
    return AlarmPrice(false_alarms_per_year=1, series=series)


def steady_share(
    read: Reader, series: int, sites: int = SITES, *, baseline: int = BASELINE_READINGS
) -> float:
    """The share of steady brushes that are falsely accused within a year of weekly readings.

    The ledger takes ten readings for a baseline; another number is asked of the charts themselves.
    """
    rng = Random(f"steady/{series}")
    accused = 0
    for _ in range(sites):
        # No two brushes turn alike, so that the steps of the counts fall differently on each.
        rpm = rng.uniform(76, 84)
        read_weekly = weekly(rng, read, lambda _, rpm=rpm: rpm, baseline + WATCHED)
        accused += bool(_signals(read_weekly, price_of(series), baseline))
    return accused / sites


def _signals(read_weekly: Series, price: AlarmPrice, baseline: int) -> Sequence[object]:
    if baseline == BASELINE_READINGS:
        (stretch,) = charted_stretches(read_weekly, price)
        return stretch.signals
    lasting = lasting_errors(read_weekly.readings[:baseline])
    charted = [reading.charted(lasting) for reading in read_weekly.readings]
    level = drift_baseline(charted[:baseline])
    if isinstance(level, NotEnoughData):
        raise TypeError(level.text)
    points = chart_points(level, charted[baseline:], chance=price.chance, readings_per_year=WATCHED)
    return drift_signals(points)


def weeks_to_signal(
    series: int, shift: Callable[[int], float], sites: int = 300, *, known: bool = False
) -> list[float]:
    """Weeks from the end of the baseline to the first signal, timed turns, sorted.

    With `known` the charts are told that the readings scatter as stated.
    """
    rng = Random(f"delay/{series}")
    u_rpm = TARGET_RPM * HAND_TIMING_U_S / (40 * 60 / TARGET_RPM)
    waited = []
    for _ in range(sites):

        def rpm_in(week: int) -> float:
            return TARGET_RPM + u_rpm * shift(week - BASELINE_READINGS)

        read_weekly = weekly(rng, timed, rpm_in, BASELINE_READINGS + 2 * WATCHED)
        (stretch,) = charted_stretches(read_weekly, price_of(series))
        signals = drift_signals(stretch.points)
        if known:
            signals = _by_known_scatter(stretch, price_of(series))
        waited.append(signals[0].index + 1.0 if signals else math.inf)
    return sorted(waited)


def _by_known_scatter(stretch: ChartedStretch, price: AlarmPrice) -> tuple[Signal, ...]:
    lasting = lasting_errors(stretch.baseline_readings)
    first, rest = (
        [reading.charted(lasting) for reading in readings]
        for readings in (stretch.baseline_readings, stretch.watched)
    )
    centre, u = weighted_mean(
        [one.value for one in first], [one.standard_uncertainty**2 for one in first]
    )
    told = DriftBaseline(
        count=len(first), centre=centre, centre_uncertainty=u, excess_sd=0.0, dof=math.inf
    )
    return drift_signals(chart_points(told, rest, chance=price.chance, readings_per_year=WATCHED))


def wandering_share(brushes: int, *, removed: bool, sites: int = 60) -> float:
    """The share of ten steady brushes accused in a year, where a slow wander is common to all.

    Half the variance of a reading is the wander's, by an autoregression of 0.7 from week to week.
    """
    rng = Random(f"wander/{removed}")
    u_rpm = TARGET_RPM * HAND_TIMING_U_S / (40 * 60 / TARGET_RPM)
    accused = 0
    for _ in range(sites):
        level = rng.gauss(0, 1)
        common = []
        for _ in range(BASELINE_READINGS + WATCHED):
            common.append(u_rpm * level)
            level = 0.7 * level + math.sqrt(1 - 0.49) * rng.gauss(0, 1)
        every = [
            weekly(rng, timed, lambda week, common=common: TARGET_RPM + common[week], len(common))
            for _ in range(brushes)
        ]
        if removed:
            every = [replace(one, place=Place(f"brush-{n}")) for n, one in enumerate(every)]
            days = days_in_common({one.place.machine: deviations(one) for one in every})
            every = [less_common(one, days) for one in every]
        for series in every:
            (stretch,) = charted_stretches(series, price_of(brushes))
            accused += bool(stretch.signals)
    return accused / (sites * brushes)


def own_wander_share(share: float, sites: int = 300) -> float:
    """The share of steady brushes accused in a year, each of which wanders by itself.

    So much of the variance of a reading is the wander's; the whole is what is stated.
    """
    rng = Random(f"own wander/{share}")
    u_rpm = TARGET_RPM * HAND_TIMING_U_S / (40 * 60 / TARGET_RPM)
    weeks = BASELINE_READINGS + WATCHED
    accused = 0
    for _ in range(sites):
        slow = draws.wander(rng, weeks, share=u_rpm * math.sqrt(share))

        def read(rng: Random, rpm: float) -> SpeedReading:
            fresh = rng.gauss(0, HAND_TIMING_U_S * math.sqrt(1 - share))
            return TimedTurns(turns=40, seconds=40 * 60 / rpm + fresh)

        series = weekly(rng, read, lambda week, slow=slow: TARGET_RPM + slow[week], weeks)
        accused += bool(charted_stretches(series, price_of(10))[0].signals)
    return accused / sites


SHIFTS: tuple[tuple[str, Callable[[int], float]], ...] = (
    ("a step of 2 sd", lambda week: 2.0 * (week >= 0)),
    ("a step of 1 sd", lambda week: 1.0 * (week >= 0)),
    ("a ramp of 0.1 sd a week", lambda week: 0.1 * max(week + 1, 0)),
    ("a ramp of 0.03 sd a week", lambda week: 0.03 * max(week + 1, 0)),
)


def figures() -> Iterator[str]:
    yield (
        f"false alarms: share of {SITES} steady brushes accused in a year of weekly readings after "
        f"a baseline of {BASELINE_READINGS}, and the chance asked (one false alarm a year a site)"
    )
    for name, read in READERS:
        told = ", ".join(
            f"{series} series {steady_share(read, series):.3f} ({price_of(series).chance:.3f})"
            for series in SERIES
        )
        yield f"  {name}: {told}"
    after_20 = ", ".join(
        f"{series} series {steady_share(timed, series, baseline=20):.3f}" for series in SERIES
    )
    yield f"  {READERS[0][0]}, after a baseline of 20: {after_20}"
    yield "weeks to a signal, median, and share signalled within 12 weeks:"
    for name, shift in SHIFTS:
        told = []
        for series in (10, 40):
            waited = weeks_to_signal(series, shift)
            early = sum(weeks <= 12 for weeks in waited) / len(waited)
            told.append(f"{series} series {waited[len(waited) // 2]:.0f} ({early:.2f})")
        yield f"  {name}: {', '.join(told)}"
    waited = weeks_to_signal(10, SHIFTS[1][1], known=True)
    yield (
        f"  {SHIFTS[1][0]}, the scatter known and not looked for in ten readings: 10 series "
        f"{waited[len(waited) // 2]:.0f} ({sum(w <= 12 for w in waited) / len(waited):.2f})"
    )
    yield (
        "ten brushes with a common slow wander, accused in a year: "
        f"{wandering_share(10, removed=False):.2f} as read, "
        f"{wandering_share(10, removed=True):.2f} with the common part taken out"
    )
    wandering = ", ".join(f"{share:g}: {own_wander_share(share):.2f}" for share in (1, 0.7, 0.5))
    yield f"brushes that wander each by itself, by the wander's share of the variance: {wandering}"
    for name, read in READERS:
        yield from _wearing(name, read)


def _wearing(name: str, read: Reader) -> Iterator[str]:
    rng = Random("wearing")
    out = round((TARGET_RPM - BAND_LOW_RPM) / LOSS_RPM_A_WEEK)
    heard: list[date] = []
    dated = held = 0
    for _ in range(SITES):
        series = weekly(rng, read, lambda week: TARGET_RPM - LOSS_RPM_A_WEEK * week, out)
        (stretch,) = charted_stretches(series, price_of(10))
        heard.extend(signal.day for signal in stretch.signals[:1])
        known = even_readings(series.readings[: out - WEEKS_AHEAD])
        found = outlook(series, known, MeterLog())
        if isinstance(found, Crossing) and found.on is not None:
            dated += 1
            earliest, latest = found.earliest or date.min, found.latest or date.max
            held += earliest <= _day(out) <= latest
        elif isinstance(found, BeyondAlready):
            dated += 1
    yield (
        f"{SITES} brushes that lose {LOSS_RPM_A_WEEK:g} r/min a week, {name}, out of their band "
        f"in week {out}:"
    )
    middle = (sorted(heard)[len(heard) // 2] - _FIRST_DAY).days // 7
    yield f"  alarmed before: {100 * len(heard) / SITES:.1f} %, half of them by week {middle}"
    yield (
        f"  dated {WEEKS_AHEAD} weeks ahead: {100 * dated / SITES:.1f} %, the true week within the "
        f"95 % interval for {100 * held / dated:.1f} %"
    )


def _day(week: int) -> date:
    return _FIRST_DAY + timedelta(weeks=week)
