"""How often drift charts alarm on steady brushes, and how early on wearing ones.

The brushes are seeded and their truth is known. They are read by the passes that a watch started
at a random moment would see in a minute, or by the time of forty turns, with the scatter of a
hand on the watch, and judged as the ledger judges them.
"""

import math
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, time, timedelta
from random import Random

from run_length import (
    ewma_run_length,
    ewma_signal_chance,
    individuals_run_length,
    individuals_signal_chance,
)

from ledger.compute.drift import EWMA_WEIGHT, EWMA_WIDTH, RUN, SIGMAS, Rule
from ledger.compute.meter import MeterLog
from ledger.compute.speed import HAND_TIMING_U_S
from ledger.compute.trend import BASELINE_READINGS
from ledger.model.references import EntryRef, Place
from ledger.model.visits import Entry, EntryContent, PassCount, SpeedReading, TimedTurns
from ledger.upkeep.drift.found import charted_stretches
from ledger.upkeep.drift.outlook import BeyondAlready, Crossing, even_readings, outlook
from ledger.upkeep.drift.series import SPEED, Measured, Series, SeriesReading
from ledger.upkeep.speeds.found import speed_of

TITLE = "drift alarms"

SITES = 1000
WATCHED = 52  # a year of weekly readings
TARGET_RPM, BAND_LOW_RPM, BAND_HIGH_RPM = 80.0, 75.0, 85.0
LOSS_RPM_A_WEEK = 0.1
WEEKS_AHEAD = 10
_FIRST_DAY = date(2026, 1, 5)
_NEVER = 40.0  # limits so wide that only the run is left

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

RULES = (
    (Rule.BEYOND_LIMIT, "a reading beyond 3 sigma"),
    (Rule.RUN_ON_ONE_SIDE, "a run on one side"),
    (Rule.EWMA_BEYOND_LIMIT, "the weighted average"),
)


def weekly(rng: Random, read: Reader, rpm_in: Callable[[int], float], weeks: int) -> Series:
    """A brush read once a week at one setting."""
    readings = []
    for week in range(weeks):
        raw = read(rng, rpm_in(week))
        speed = speed_of(raw, timing_u_s=HAND_TIMING_U_S)
        day = _day(week)
        entry = Entry(
            ref=EntryRef(day.isoformat(), 1),
            when=datetime.combine(day, time(10), tzinfo=UTC),
            day=day,
            by="nobody",
            content=EntryContent(raw={}, places=(Place("brush"),), speed=raw),
        )
        readings.append(
            SeriesReading(entry=entry, measured=Measured(value=speed.rpm, u=speed.u_rpm))
        )
    return Series(
        kind=SPEED,
        place=Place("brush"),
        readings=tuple(readings),
        lower=BAND_LOW_RPM,
        upper=BAND_HIGH_RPM,
        rebases=(),
    )


def steady_shares(read: Reader, sites: int = SITES) -> dict[Rule, float]:
    """The share of steady brushes that each rule accuses within a year of weekly readings."""
    rng = Random("steady")
    accused = dict.fromkeys(Rule, 0)
    for _ in range(sites):
        # No two brushes turn alike, so that the steps of the counts fall differently on each.
        rpm = rng.uniform(76, 84)
        series = weekly(rng, read, lambda _, rpm=rpm: rpm, BASELINE_READINGS + WATCHED)
        (stretch,) = charted_stretches(series)
        for rule in {signal.rule for signal in stretch.signals}:
            accused[rule] += 1
    return {rule: count / sites for rule, count in accused.items()}


def published_chances() -> dict[Rule, float]:
    """The chances within a year by the published run lengths, which suppose a known centre."""
    return {
        Rule.BEYOND_LIMIT: 1 - math.erf(SIGMAS / math.sqrt(2)) ** WATCHED,
        Rule.RUN_ON_ONE_SIDE: individuals_signal_chance(WATCHED, run=RUN, sigmas=_NEVER),
        Rule.EWMA_BEYOND_LIMIT: ewma_signal_chance(WATCHED, weight=EWMA_WEIGHT, width=EWMA_WIDTH),
    }


def figures() -> Iterator[str]:
    for name, read in READERS:
        yield from _steady(name, read)
    yield (
        "mean readings to a false alarm, published: "
        f"{individuals_run_length(run=RUN):.0f} for limits and runs together, "
        f"{ewma_run_length(weight=EWMA_WEIGHT, width=EWMA_WIDTH):.0f} for the average"
    )
    for name, read in READERS:
        yield from _wearing(name, read)


def _steady(name: str, read: Reader) -> Iterator[str]:
    shares, published = steady_shares(read), published_chances()
    yield (
        f"{SITES} steady brushes, {name} once a week, {WATCHED} readings after a baseline of "
        f"{BASELINE_READINGS}; falsely accused by:"
    )
    for rule, words in RULES:
        chance = published[rule]
        spread = 2 * math.sqrt(chance * (1 - chance) / SITES)
        yield (
            f"  {words}: {100 * shares[rule]:.1f} % "
            f"(published run length: {100 * chance:.1f} % ± {100 * spread:.1f} %)"
        )


def _wearing(name: str, read: Reader) -> Iterator[str]:
    rng = Random("wearing")
    out = round((TARGET_RPM - BAND_LOW_RPM) / LOSS_RPM_A_WEEK)
    heard: list[date] = []
    dated = held = 0
    for _ in range(SITES):
        series = weekly(rng, read, lambda week: TARGET_RPM - LOSS_RPM_A_WEEK * week, out)
        (stretch,) = charted_stretches(series)
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
